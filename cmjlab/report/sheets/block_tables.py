"""Kilos as a person reads them on a block sheet: cells, marks with their notes, and what to do."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING

from cmjlab.report.sheets.block_kilos import Kilos, Row
from cmjlab.report.sheets.kilos import BarLoad
from cmjlab.words.catalog import Words

if TYPE_CHECKING:
    from cmjlab.study.study import Study

#: Marks behind a load, and the note below the table that explains each.
_MARKS = {"below_bar": "*", "below_range": "†"}


@dataclass(frozen=True)
class Line:
    """One athlete of a table of kilos: cells of the weeks, or a sentence in their place."""

    athlete: str
    maximum: str
    cells: tuple[str, ...]
    sentence: str


@dataclass(frozen=True)
class Table:
    """A table of kilos, ready to print."""

    exercise: str
    source: str
    aims: tuple[str, ...]
    lines: tuple[Line, ...]
    notes: tuple[str, ...]

    @property
    def known(self) -> bool:
        """Whether anybody has kilos here; else the notes are enough."""
        return any(not line.sentence for line in self.lines)


def kilos_table(found: Kilos, study: Study, words: Words, names: Mapping[str, str]) -> Table:
    """Return the kilos of one exercise as text.

    Parameters
    ----------
    found : Kilos
    study : Study
        For the bar of the notes.
    words : Words
    names : mapping of athlete to name
        Empty: ids.
    """
    lines = tuple(
        Line(
            names.get(row.athlete, row.athlete),
            "" if row.maximum is None else f"{row.maximum.kg:g}",
            tuple(week_text(w) for w in row.weeks),
            without_kilos(found, row, words),
        )
        for row in found.rows
    )
    aims = tuple("" if p is None else f"{p:.0f} %" for p in found.percents)
    return Table(found.exercise, _source(found, words), aims, lines, notes(found, study, words))


def _source(found: Kilos, words: Words) -> str:
    """Return whose maxima these are and when they were had."""
    if found.measure is None:
        return ""
    known = [r.maximum for r in found.rows if r.maximum is not None]
    sessions = list(dict.fromkeys(m.session for m in known))
    hows = list(dict.fromkeys(m.how for m in known if m.how))
    if not known:
        return ""
    text = words.say("block_sheet.source", measure=in_words(found.measure), sessions=sessions)
    return f"{text} ({words.say('block_sheet.had', hows=hows)})" if hows else text


def without_kilos(found: Kilos, row: Row, words: Words) -> str:
    """Return why an athlete has no kilos, "" when there are some; :func:`notes` say what to do."""
    if not row.reason:
        return ""
    if found.measure is None:
        return words.say("block_sheet.whose_maximum")
    return words.say(f"block_sheet.{row.reason}", measure=in_words(found.measure))


def in_words(measure: str) -> str:
    """Return the name of a maximum in words: squat_1rm becomes "squat 1RM"."""
    return measure.replace("_", " ").replace("1rm", "1RM")


def mark_of(week: BarLoad | None) -> str:
    """Return which note belongs to a load, "" when none does."""
    if week is None:
        return ""
    if week.kg is None:
        return "below_bar"
    return "" if week.inside or week.exact else "below_range"


def week_text(week: BarLoad | None) -> str:
    """Return the load of a week with its mark; "–" where block.csv gives none."""
    if week is None:
        return "–"
    kg = int(week.target_kg) if week.kg is None else week.kg
    return f"{kg:g}{_MARKS.get(mark_of(week), '')}"


def notes(found: Kilos, study: Study, words: Words) -> tuple[str, ...]:
    """Return what to do for athletes without kilos, and the notes on the marks that occur."""
    marks = {mark_of(week) for row in found.rows for week in row.weeks}
    bar = study.settings.block.bar_kg
    missing = {row.reason for row in found.rows if row.reason}
    to_do = [words.say("block_sheet.until_then")] if missing else []
    if missing:
        key = "say_whose" if found.measure is None else "test_it"
        to_do.insert(0, words.say(f"block_sheet.{key}"))
    below = (
        f"{sign} {words.say(f'block_sheet.{name}', bar=bar)}"
        for name, sign in _MARKS.items()
        if name in marks
    )
    return (*([" ".join(to_do)] if to_do else []), *below)
