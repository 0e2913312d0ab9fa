"""A published table as a person typed it: read, checked and brought into our units.

A number is what rounds to what is printed: "0.35" is anything from 0.345 to 0.355, "0.350" a tenth
of that. All cells that cannot be used are told at once.
"""

from __future__ import annotations

import csv
import io
import math
import re
from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from os import PathLike
from pathlib import Path
from typing import Any

import pandas as pd

from cmjlab.catalog import METRICS
from cmjlab.checks import closest, listed, suggestion
from cmjlab.errors import ArgumentError
from cmjlab.files.atomic_write import atomic_write
from cmjlab.results import Note
from cmjlab.scrutiny.paper.read_words import (
    DIFFERENCES,
    KINDS,
    defined_otherwise,
    metric_of,
    statistic_of,
    unit_of,
)
from cmjlab.scrutiny.paper.written_units import factor
from cmjlab.study.folder.cells import Cells, read_cells
from cmjlab.study.folder.problems import Problems
from cmjlab.study.folder.user_tables import ROW, from_cells, to_number
from cmjlab.tables.published import EXAMPLE, PUBLISHED


@dataclass(frozen=True)
class Printed:
    """A printed number: its value and half a unit of its last digit, nan where nothing is printed."""

    value: float = float("nan")
    half: float = 0.0

    def times(self, by: float) -> Printed:
        """Return it in another unit."""
        return Printed(self.value * by, self.half * abs(by))


@dataclass(frozen=True)
class PaperRow:
    """One number of a paper, in the units of our tables; ``n`` and ``k`` are 0 where not stated."""

    number: int
    metric: str
    statistic: str
    value: Printed
    unit: str
    sd: Printed
    low: Printed
    high: Printed
    level: float
    p: Printed
    n: int
    n_other: int
    k: int
    average: bool
    places: Mapping[str, str]
    source: str
    notes: tuple[Note, ...] = field(default=())


@dataclass(frozen=True)
class Around:
    """What a study has: its measures, sessions and groups."""

    metrics: tuple[str, ...]
    sessions: tuple[str, ...]
    groups: tuple[str, ...]


def paper_template(path: str | PathLike[str]) -> Path:
    """Write the empty table that is filled in from a published one, with an example as a remark.

    Parameters
    ----------
    path : str or path
        File to write; one that exists is never overwritten.

    Returns
    -------
    Path
        The file. Its columns are those of ``cmjlab.tables.published.PUBLISHED``: metric and statistic
        (keys, or words of the trade), the value with its decimals as printed, its unit, what tells its
        precision (sd and n, an interval, or p), what of the study it is set beside, and the source.

    Raises
    ------
    ArgumentError
        The file exists.

    Examples
    --------
    >>> import tempfile
    >>> import cmjlab as cj
    >>> with tempfile.TemporaryDirectory() as folder:
    ...     path = cj.paper_template(f"{folder}/paper.csv")
    ...     header = path.read_text("utf-8-sig").split(",")[:3]
    >>> header
    ['metric', 'statistic', 'value']
    """
    place = Path(path)
    if place.exists():
        raise ArgumentError(
            f"{place.name}: exists already. Name another file; none is overwritten."
        )
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\r\n")
    writer.writerow(PUBLISHED.names)
    example = [EXAMPLE.get(name, "") for name in PUBLISHED.names]
    writer.writerow([f"# {example[0]}", *example[1:]])
    for column in PUBLISHED.columns:
        writer.writerow([f"# {column.name}: {column.description}"])
    atomic_write(place, b"\xef\xbb\xbf" + out.getvalue().encode("utf-8"))
    return place


def read_paper(
    paper: str | PathLike[str] | pd.DataFrame, around: Around
) -> tuple[list[PaperRow], list[Note]]:
    """Return the rows of a paper's table, and notes on the table as a whole.

    Raises
    ------
    ReadError
        The file cannot be read as a table.
    StudyError
        Cells that cannot be used: all of them, with row, column, what was found and what to do.
    """
    cells = _cells(paper) if isinstance(paper, pd.DataFrame) else read_cells(Path(paper))
    problems = Problems()
    frame = from_cells(cells, PUBLISHED, problems)
    rows = [_row(r, around, (cells.path.name, problems)) for r in frame.to_dict("records")]
    if not len(frame) and not problems.fails:
        problems.add("fail", "no_rows", where=(cells.path.name, "", ""), found="no row of numbers",
                     expected="a row for each published number",
                     remedy="Fill in a row without # at its beginning.")  # fmt: skip
    problems.stop_if_failed(cells.path.name)
    notes = [
        Note("paper_table_row", {"text": _line(p)})
        for p in problems.rows
        if p["severity"] == "warn"
    ]
    if cells.numeric:
        notes.append(Note("paper_zeros_lost"))
    return [r for r in rows if r is not None], notes


def _line(problem: Mapping[str, str]) -> str:
    return f"{problem['column']}: {problem['found']}. {problem['remedy']}"


def _cells(frame: pd.DataFrame) -> Cells:
    """Return a table of Python as cells of text."""
    rows = [["" if pd.isna(v) else _as_text(v) for v in r] for r in frame.itertuples(index=False)]
    header = [str(c) for c in frame.columns]
    return Cells(Path("paper"), header, rows, list(range(2, len(rows) + 2)))


def _as_text(value: Any) -> str:
    return f"{value:.12g}" if isinstance(value, float) else str(value)


def printed(text: str) -> Printed:
    """Return a number with half a unit of its last printed digit.

    Raises
    ------
    ValueError
        It is no number; the arguments are what was found, what is expected and what to do.

    Examples
    --------
    >>> printed("0,35"), printed("120")
    (Printed(value=0.35, half=0.005), Printed(value=120.0, half=0.5))
    """
    plain = text.strip()
    value = to_number(plain)
    mantissa, _, power = plain.replace(",", ".").lower().partition("e")
    decimals = len(mantissa.partition(".")[2])
    return Printed(value, float(f"{0.5 * 10.0 ** (int(power or 0) - decimals):.6g}"))


class _Cell:
    """The cells of one row, with the place where a problem is told."""

    def __init__(self, row: Mapping[Any, Any], to: tuple[str, Problems]) -> None:
        self._row, (self._file, self._problems) = row, to

    def text(self, name: str) -> str:
        value = self._row.get(name)
        return "" if value is None or pd.isna(value) else str(value).strip()

    def whole(self, name: str) -> int:
        value = self._row.get(name)
        return 0 if value is None or pd.isna(value) else int(value)

    def number(self, name: str) -> Printed:
        text = self.text(name)
        bare = re.sub(r"^(p\s*)?[<=≤]\s*", "", text) if name == "p" else text
        if not bare:
            return Printed()
        try:
            return printed(bare)
        except ValueError as problem:
            found, expected, remedy = problem.args
            self.fail(name, found, expected, remedy)
            return Printed()

    def fail(self, name: str, found: str, expected: str, remedy: str) -> None:
        self._problems.add(
            "fail", f"bad_{name}", where=(self._file, self._row[ROW], name), found=found or "empty",
            expected=expected, remedy=remedy,
        )  # fmt: skip


def _row(row: Mapping[Any, Any], around: Around, to: tuple[str, Problems]) -> PaperRow | None:
    """Return one row, None when it cannot be used; why has been told."""
    cell = _Cell(row, to)
    how = cell.text("how")
    metric = metric_of(cell.text("metric"), how, around.metrics) if cell.text("metric") else ""
    read = statistic_of(cell.text("statistic"), how, cell.text("unit"))
    if cell.text("metric") and not metric:
        _unknown_metric(cell, around)
    if cell.text("statistic") and not read.key:
        cell.fail("statistic", cell.text("statistic"), listed(_NAMES, most=20),
                  f"Write one of these.{suggestion(cell.text('statistic'), _NAMES)}")  # fmt: skip
    made = PaperRow(
        number=int(row[ROW]), metric=metric, statistic=read.key, value=cell.number("value"),
        unit="", sd=cell.number("sd"), low=cell.number("low"), high=cell.number("high"),
        level=(float(row["level"]) if pd.notna(row["level"]) else 95.0) / 100,
        p=cell.number("p"), n=cell.whole("n"), n_other=cell.whole("n_other"),
        k=cell.whole("sessions"), average=read.average,
        places={name: cell.text(name) for name in _PLACES}, source=cell.text("source"),
    )  # fmt: skip
    _places(made, cell, around)
    _possible(made, cell)
    if not metric or not read.key:
        return None
    return _noted(_in_our_unit(made, cell), cell, read.assumed)


_NAMES = ("mean", "sd", "icc", "cv", "typical error", "change", "percent change", "difference")
_PLACES = ("session", "since", "group", "other_group", "how")


def _unknown_metric(cell: _Cell, around: Around) -> None:
    words = cell.text("metric")
    near = closest(words, around.metrics)
    cell.fail(
        "metric", words, "a key of 'cmjlab glossary', or words that mean one metric only",
        f"Look it up with 'cmjlab glossary \"{words}\"' and write its key."
        + (f" Did you mean {near!r}?" if near else ""),
    )  # fmt: skip


def _places(row: PaperRow, cell: _Cell, around: Around) -> None:
    """Sessions and groups must be those of the study, in their ids."""
    for name in ("session", "since"):
        word = row.places[name]
        if word and word not in around.sessions:
            cell.fail(name, word, f"a session of this study: {listed(around.sessions)}",
                      f"Write its id, or leave it empty.{suggestion(word, around.sessions)}")  # fmt: skip
    for name in ("group", "other_group"):
        word = row.places[name]
        if word and word not in around.groups:
            cell.fail(name, word, f"a group or sex of this study: {listed(around.groups) or 'none'}",
                      f"Write it as in athletes.csv.{suggestion(word, around.groups)}")  # fmt: skip
        elif not word and row.statistic in DIFFERENCES:
            cell.fail(name, "", f"a group of this study: {listed(around.groups) or 'none'}",
                      "A difference needs both groups.")  # fmt: skip


def _possible(row: PaperRow, cell: _Cell) -> None:
    """Numbers that cannot be: an ICC above 1, a spread below zero, limits the wrong way round."""
    value, scale = row.value.value, KINDS[row.statistic].scale if row.statistic else ""
    if scale == "icc" and not -1 <= value <= 1:
        cell.fail("value", cell.text("value"), "an ICC between -1 and 1", "Correct the cell.")
    if scale == "ratio" and value <= 0:
        cell.fail("value", cell.text("value"), "a number above 0", "Correct the cell.")
    if row.sd.value <= 0:
        cell.fail("sd", cell.text("sd"), "a number above 0", "Correct the cell, or leave it empty.")
    if row.high.value <= row.low.value:
        cell.fail("high", cell.text("high"), "a number above the lower limit", "Correct the row.")
    if not (math.isnan(row.p.value) or 0 <= row.p.value <= 1):
        cell.fail("p", cell.text("p"), "a number between 0 and 1", "Correct the cell.")


def _in_our_unit(row: PaperRow, cell: _Cell) -> PaperRow:
    """Return the row with its numbers in the unit of our tables."""
    kind = KINDS[row.statistic]
    unit, written = unit_of(kind, row.metric), cell.text("unit")
    by: float | None = 1.0
    own = kind.unit == "metric" and row.metric not in METRICS
    if kind.unit == "metric" and not own:
        by = factor(written, unit)
    elif not own and written not in ("", kind.unit):
        by = None
    if by is None:
        cell.fail("unit", written, f"the unit as printed, one of the quantity {unit}" if unit else "no unit",
                  "Write it as cm, ms, N, W/kg, m/s, %; a value in body weights is not converted.")  # fmt: skip
        return row
    scaled = {name: getattr(row, name).times(by) for name in ("value", "sd", "low", "high")}
    notes = row.notes
    if own:
        notes += (Note("paper_own_measure", {"metric": row.metric}),)
    if by != 1.0:
        notes += (Note("paper_unit", {"written": written, "ours": unit}),)
    return replace(row, unit=unit, notes=notes, **scaled)


def _noted(row: PaperRow, cell: _Cell, assumed: str) -> PaperRow:
    """Return the row with notes on what was read into it."""
    notes = list(row.notes)
    asked, how = cell.text("metric"), row.places["how"]
    if asked != row.metric:
        notes.append(
            Note("paper_metric", {"words": asked, "metric": row.metric, "key": row.metric})
        )
    other = defined_otherwise(row.metric, how)
    if other:
        values = {"metric": row.metric, "other": other, "key": other}
        notes.append(Note("paper_defined_otherwise", values))
    if assumed:
        notes.append(Note(f"paper_{assumed}_unstated"))
    if row.average:
        notes.append(Note("paper_icc_average"))
    if row.statistic == "icc_a1" and math.isnan(row.low.value):
        notes.append(Note("paper_icc_agreement"))
    if row.statistic == "cv_mean_percent" and row.k:
        notes.append(Note("paper_cv_mean"))
    return replace(row, notes=tuple(notes))
