"""What the reader remarks on: every code of a note.

A note is an assumption or a finding that a person should be able to see. The codes are
fixed, so that programs and tests can rely on them; the texts are for people.
"""

from __future__ import annotations

from cmjlab.recording import ReadingNote

#: code -> what it means.
NOTE_CODES: dict[str, str] = {
    "bad_cells": "cells of a used column hold no number; these samples are nan",
    "blank_lines": "empty lines inside the data were skipped",
    "calibration_matrix": "a force platform's calibration matrix was applied",
    "clock_time": "time is written as clock time; seconds count from the first sample",
    "columns_not_used": "columns of the file that the recording does not carry",
    "comment_lines": "comment lines inside the data were skipped",
    "counter_only": "the file counts samples; lost samples cannot be seen in such a counter",
    "damaged_rows": "rows with a wrong number of cells; these samples are nan",
    "decimal_comma": "the comma is the decimal mark",
    "encoding_assumed": "the bytes are not UTF-8; a Western European encoding was taken",
    "end_mark": "what follows an end-of-file mark inside the file was ignored",
    "fixed_width": "columns were cut at fixed positions",
    "footer": "lines behind the data were left out",
    "force_column_assumed": "the only column of numbers was taken as vertical force",
    "force_level": "the standing force is unusual for a person; check the unit",
    "gap": "samples are lost; they are nan on the uniform clock",
    "identical_plates": "two plates hold exactly the same values",
    "last_line_cut": "the last line is cut short and was left out",
    "more_data": "the file holds more data than its header announces; the rest was left out",
    "no_platform": "the file declares no force platform; channels were chosen by their labels",
    "padding": "zero bytes at the end of the file were ignored",
    "platform_axes": "the corners of a force platform are not believed; its own axis was taken",
    "plates_by_order": "plates were numbered in the order of their columns",
    "plates_joined": "plates were added up as left and right, as the layout says",
    "rate_agrees": "the rate written in the file agrees with its time column",
    "rate_from_file": "the rate was taken from what is written in the file",
    "rate_given": "the rate was given by a person",
    "rate_overridden": "the rate given by a person replaces the one written in the file",
    "rate_rounded": "the time column is rounded; the whole rate that fits it was taken",
    "repeated_rows": "rows that repeat the row before, time included, were left out",
    "rows_missing": "the file holds fewer rows than its header announces",
    "scale_given": "newtons per unit of the file were given by a person",
    "sheet": "one sheet of several holds the data",
    "sign_reversed": "pushing down is negative in the file; the sign was reversed",
    "thousands": "marks that group thousands were removed",
    "time_jitter": "time stamps scatter around the uniform clock",
    "time_unit_assumed": "the unit of time is not written; only one gives a possible rate",
    "total_column": "a column was taken as the sum of the plates because its values are",
    "total_minus_sum": "the total differs from the sum of the plates",
    "unit_assumed": "the unit of force is not written; the values fit newtons only",
    "unit_converted": "force was converted to newtons",
    "vertical_axis": "the vertical component was chosen by its values, not by its name",
    "zeroed_with_athlete": "the plates seem to have been zeroed with the athlete on them",
    "zero_range": "the file names frames for zeroing the plates; this was not done",
}


def note(code: str, text: str) -> ReadingNote:
    """Return a note; the code must be one of :data:`NOTE_CODES`."""
    if code not in NOTE_CODES:
        raise KeyError(f"no note code {code!r}")
    return ReadingNote(code, text)
