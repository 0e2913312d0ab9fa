"""Block sheets for single athletes: one printed page each, with weeks, kilos and tick boxes."""

from __future__ import annotations

import os
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

from cmjlab.files.atomic_write import atomic_write
from cmjlab.report.blocks.templates import template_engine
from cmjlab.report.build.subgroups import StudySubgroups, study_subgroups
from cmjlab.report.sheets.block import Sheet, filled_sheets, page_values
from cmjlab.report.sheets.block_kilos import Kilos, Row
from cmjlab.report.sheets.block_tables import notes, week_text, without_kilos
from cmjlab.words.catalog import Words, read_words

if TYPE_CHECKING:
    from cmjlab.study.study import Study

#: Weeks beside each other on a page; more go below.
_WEEKS_BESIDE = 8


@dataclass(frozen=True)
class Exercise:
    """One exercise of a person: how it is done, and one text for every week ("" for a tick only).

    Attributes
    ----------
    name, dose, load : str
    how : tuple of str
        Start position, range and intent.
    weeks : tuple of str
        Kilos, or "" where the load is in ``load``.
    sentence : str
        Why there are no kilos and what to do, "" when there is nothing to say.
    """

    name: str
    how: tuple[str, ...]
    load: str
    dose: str
    weeks: tuple[str, ...]
    sentence: str


@dataclass(frozen=True)
class Person:
    """One printed page."""

    name: str
    subgroup: str
    targets: tuple[str, ...]
    exercises: tuple[Exercise, ...]
    notes: tuple[str, ...]


def person(
    sheet: Sheet, athlete: str, study: Study, words: Words, names: Mapping[str, str]
) -> Person:
    """Return the page of one athlete of a subgroup's sheet.

    Parameters
    ----------
    sheet : Sheet
        As :func:`cmjlab.report.sheets.block.filled_sheets` returns it.
    athlete : str
        One of its athletes.
    study : Study
    words : Words
    names : mapping of athlete to name
        Empty: ids.
    """
    own = {k.exercise: (k, next(r for r in k.rows if r.athlete == athlete)) for k in sheet.kilos}
    weeks = study.settings.weeks_of_block
    exercises = []
    for line in sheet.lines:
        *how, load, dose = (c.content for c in line.cells)
        cells, sentence = _weeks(own.get(line.exercise), weeks, words)
        exercises.append(
            Exercise(line.exercise, tuple(h for h in how if h), load, dose, cells, sentence)
        )
    mine = [Kilos(k.exercise, k.measure, k.percents, (row,)) for k, row in own.values()]
    below = dict.fromkeys(n for k in mine for n in notes(k, study, words))
    return Person(
        names.get(athlete, athlete), sheet.subgroup, sheet.targets, tuple(exercises), tuple(below)
    )


def _weeks(
    found: tuple[Kilos, Row] | None, weeks: int, words: Words
) -> tuple[tuple[str, ...], str]:
    if found is None:
        return ("",) * weeks, ""
    kilos, row = found
    if row.reason:
        return ("",) * weeks, without_kilos(kilos, row, words)
    return tuple(week_text(w) for w in row.weeks), ""


def write_person_sheets(
    study: Study,
    out: str | os.PathLike[str] | None = None,
    *,
    groups: StudySubgroups | None = None,
    names: Mapping[str, str] | None = None,
) -> Path:
    """Write one page per athlete into one file: exercises, kilos of every week, boxes to tick.

    Parameters
    ----------
    study : Study
    out : path, optional
        HTML file; default ``block_sheets_each.html`` in the results folder.
    groups : StudySubgroups, optional
        When it is at hand.
    names : mapping of athlete to name, optional
        Shown in place of the ids; they are private, give them only when asked.

    Raises
    ------
    StudyError
        block.csv is empty or does not fit the subgroups; there are no subgroups.
    """
    groups = groups or study_subgroups(study)
    words = read_words(study.folder / "words.toml")
    shown = names or {}
    people = [
        person(sheet, athlete, study, words, shown)
        for sheet in filled_sheets(study, groups, words, shown)
        for athlete in sheet.athletes
    ]
    weeks = list(range(study.settings.weeks_of_block))
    bands = [weeks[i : i + _WEEKS_BESIDE] for i in range(0, len(weeks), _WEEKS_BESIDE)]
    text = template_engine().get_template("block_each.html.j2").render(
        people=people, bands=bands, **page_values(study, words)
    )  # fmt: skip
    path = Path(out) if out is not None else Path(study.results) / "block_sheets_each.html"
    atomic_write(path, text)
    return path
