"""Block sheets: what each subgroup trains, one printed page each, shared and different at a glance."""

from __future__ import annotations

import os
from collections.abc import Mapping
from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING

import pandas as pd

from cmjlab.errors import StudyError
from cmjlab.files.atomic_write import atomic_write
from cmjlab.report.blocks.rule_words import rule_words
from cmjlab.report.blocks.templates import stylesheet, template_engine
from cmjlab.report.build.stops import find_stops
from cmjlab.report.build.subgroups import StudySubgroups, study_subgroups
from cmjlab.report.sheets.block_kilos import Kilos, kilos
from cmjlab.report.sheets.block_tables import kilos_table
from cmjlab.report.sheets.stops import sheet_stops
from cmjlab.stats.subgroups.rules import ELSE
from cmjlab.stats.subgroups.subgroups import CLOSE_CALL
from cmjlab.stats.targets.wanted import read_targets
from cmjlab.study.folder.block_rows import EVERYBODY, cell, weeks_range
from cmjlab.words.catalog import Words, read_words

if TYPE_CHECKING:
    from cmjlab.study.study import Study

#: Columns of a sheet; sets and repetitions share one.
COLUMNS = ("start_position", "range", "intent", "load", "dose")


@dataclass(frozen=True)
class Cell:
    """One cell: what stands in it, and whether another subgroup has the same."""

    content: str
    shared: bool


@dataclass(frozen=True)
class Line:
    """One exercise of a sheet; ``only`` when no other subgroup does it."""

    exercise: str
    cells: tuple[Cell, ...]
    only: bool


@dataclass(frozen=True)
class Sheet:
    """One printed page.

    Attributes
    ----------
    subgroup : str
    lines : tuple of Line
        The exercises.
    athletes : tuple of str
    reasons : tuple of str
        The rules of the subgroup; nothing about a single person.
    people : tuple of str
        Who was moved and who is a close call: for coaches, not for the wall.
    targets : tuple of str
    kilos : tuple of Kilos
        Loads of the exercises with a percentage of a maximum.
    """

    subgroup: str
    lines: tuple[Line, ...]
    athletes: tuple[str, ...] = ()
    reasons: tuple[str, ...] = ()
    people: tuple[str, ...] = ()
    targets: tuple[str, ...] = ()
    kilos: tuple[Kilos, ...] = ()


def block_sheets(
    block: pd.DataFrame, subgroups: list[str], words: Words | None = None
) -> tuple[Sheet, ...]:
    """Return the sheets of a block, without athletes: which cells are shared, which differ.

    Parameters
    ----------
    block : pandas.DataFrame
        As ``study.block``: exercise, subgroup (or "all"), start_position, range, intent, load,
        sets, reps, and weeks where a row holds in some weeks only. Rows stay in their order.
    subgroups : list of str
    words : Words, optional
        Default: the words of cmjlab.

    Raises
    ------
    StudyError
        No rows, a subgroup that does not exist, or an exercise that stands twice for a subgroup.
    """
    if block.empty:
        raise StudyError("block.csv has no rows; write exercise × subgroup there, then run again.")
    words = words or read_words()
    rows = {g: _rows_of(block, g, words) for g in subgroups}
    strange = sorted(set(block["subgroup"].dropna().astype(str)) - {*subgroups, EVERYBODY})
    if strange:
        raise StudyError(
            f"block.csv: there is no subgroup {strange[0]!r}; subgroups are {', '.join(subgroups)}"
            f" (or '{EVERYBODY}'). Correct the name there or in subgroups.csv."
        )
    return tuple(Sheet(g, _lines(rows, g)) for g in subgroups)


def _rows_of(block: pd.DataFrame, subgroup: str, words: Words) -> dict[str, tuple[str, ...]]:
    """Return exercise -> cells of one subgroup; its own rows count before those for everybody."""
    found: dict[str, dict[str, tuple[str, ...]]] = {}
    own = {cell(e) for e in block.loc[block["subgroup"].astype(str) == subgroup, "exercise"]}
    for row in block.to_dict("records"):
        name, whose = cell(row["exercise"]), cell(row["subgroup"])
        if whose != subgroup and not (whose == EVERYBODY and name not in own):
            continue
        weeks = cell(row.get("weeks"))
        mine = found.setdefault(name, {})
        if weeks in mine or (mine and "" in (weeks, *mine)):
            raise StudyError(
                f"block.csv: {name!r} stands twice for {whose!r}; keep one row, name them apart, or"
                " give each its weeks (column weeks, e.g. 1-4 and 5-8)."
            )
        mine[weeks] = _cells(row)
    return {name: _over_weeks(by_weeks, words) for name, by_weeks in found.items()}


def _over_weeks(by_weeks: dict[str, tuple[str, ...]], words: Words) -> tuple[str, ...]:
    """Return the cells of an exercise; what differs from week to week says in which."""
    if len(by_weeks) == 1:
        return next(iter(by_weeks.values()))
    out = []
    for place in range(len(COLUMNS)):
        contents = {weeks: cells[place] for weeks, cells in by_weeks.items()}
        if len(set(contents.values())) == 1:
            out.append(next(iter(contents.values())))
        else:
            parts = (
                words.say("block_sheet.in_weeks", weeks=_weeks_text(weeks), what=text or "–")
                for weeks, text in contents.items()
            )
            out.append("; ".join(parts))
    return tuple(out)


def _weeks_text(weeks: str) -> str:
    first, last = weeks_range(weeks) or (0, 0)
    return f"{first}" if first == last else f"{first}–{last}"


def _cells(row: dict[object, object]) -> tuple[str, ...]:
    sets, reps = _text(row.get("sets")), _text(row.get("reps"))
    dose = f"{sets} × {reps}" if sets and reps else sets or reps
    return (*(_text(row.get(c)) for c in COLUMNS[:-1]), dose)


def _text(value: object) -> str:
    text = cell(value)
    return text.replace(" - ", "–").replace("-", "–") if _is_range(text) else text


def _is_range(value: object) -> bool:
    """Return whether a text is a range of numbers such as 3-5, printed with a dash."""
    first, _, rest = str(value).strip().partition("-")
    return bool(rest) and first.strip().replace(".", "").isdigit() and rest.strip()[:1].isdigit()


def _lines(rows: dict[str, dict[str, tuple[str, ...]]], subgroup: str) -> tuple[Line, ...]:
    others = [r for g, r in rows.items() if g != subgroup]
    out = []
    for exercise, cells in rows[subgroup].items():
        elsewhere = [r[exercise] for r in others if exercise in r]
        shared = [
            bool(elsewhere) and all(b[i] == cell for b in elsewhere) for i, cell in enumerate(cells)
        ]
        out.append(
            Line(
                exercise,
                tuple(Cell(c, s) for c, s in zip(cells, shared, strict=True)),
                only=bool(others) and not elsewhere,
            )
        )
    return tuple(out)


def _reasons(groups: StudySubgroups, subgroup: str, words: Words) -> tuple[str, ...]:
    """Return the rules by which athletes are in this subgroup."""
    placement = groups.results.get("placement")
    if placement is None:
        return (words.say("block_sheet.from_roster"),)
    rules = placement.points["rules"]
    out = []
    for row in rules[rules["subgroup"] == subgroup].to_dict("records"):
        key = "block_sheet.rule_else" if row["rule"] == ELSE else "block_sheet.rule"
        rule = rule_words(str(row["rule"]), words)
        out.append(words.say(key, rule=rule, session=groups.session, reason=row["reason"] or "–"))
    return tuple(out)


def _people(
    groups: StudySubgroups, subgroup: str, words: Words, names: Mapping[str, str]
) -> tuple[str, ...]:
    """Return who was moved into this subgroup and why, and whose call is close."""
    placement = groups.results.get("placement")
    if placement is None:
        return ()
    people = placement.points["placements"]
    mine = people[people["subgroup"] == subgroup]
    out = [
        words.say("block_sheet.moved", athlete=_called(row["athlete"], names), reason=row["reason"])
        for row in mine[mine["moved"] == "yes"].to_dict("records")
    ]
    close = mine[(mine["call"] == CLOSE_CALL) & (mine["moved"] != "yes")]
    if len(close):
        who = [_called(a, names) for a in close["athlete"]]
        out.append(words.say("block_sheet.close", athletes=who))
    return tuple(out)


def _called(athlete: object, names: Mapping[str, str]) -> str:
    return names.get(str(athlete), str(athlete))


def _targets(study: Study, subgroup: str, words: Words) -> tuple[str, ...]:
    """Return what the emphasis of a subgroup is for, one sentence per target."""
    out = []
    for target in read_targets(study.targets, study.plan.change_that_matters):
        if target.subgroup == subgroup:
            key = "block_sheet.target_why" if target.why else "block_sheet.target"
            out.append(words.say(key, aim=target.aim, why=target.why.rstrip(".")))
    return tuple(out)


def filled_sheets(
    study: Study, groups: StudySubgroups, words: Words, names: Mapping[str, str]
) -> tuple[Sheet, ...]:
    """Return the sheets of a study, with athletes, reasons, targets and kilos.

    Parameters
    ----------
    study : Study
    groups : StudySubgroups
    words : Words
    names : mapping of athlete to name
        Empty: ids.

    Raises
    ------
    StudyError
        block.csv is empty or does not fit the subgroups; there are no subgroups.
    """
    if not groups.subgroups:
        raise StudyError("no subgroups: write subgroups.csv, or the column group of athletes.csv.")
    out = []
    for sheet in block_sheets(study.block, groups.subgroups, words):
        subgroup, athletes = sheet.subgroup, tuple(groups.members(sheet.subgroup))
        out.append(
            replace(
                sheet,
                athletes=athletes,
                reasons=_reasons(groups, subgroup, words),
                people=_people(groups, subgroup, words, names),
                targets=_targets(study, subgroup, words),
                kilos=kilos(study, subgroup, athletes),
            )
        )
    return tuple(out)


def write_block_sheets(
    study: Study,
    out: str | os.PathLike[str] | None = None,
    *,
    groups: StudySubgroups | None = None,
    names: Mapping[str, str] | None = None,
) -> Path:
    """Write the block sheets of a study: an overview page for coaches, then one page per subgroup.

    Parameters
    ----------
    study : Study
    out : path, optional
        HTML file; default ``block_sheets.html`` in the results folder.
    groups : StudySubgroups, optional
        When it is at hand.
    names : mapping of athlete to name, optional
        Shown in place of the ids; they are private, give them only when asked.

    Returns
    -------
    Path

    Raises
    ------
    StudyError
        block.csv is empty or does not fit the subgroups; there are no subgroups.
    """
    groups = groups or study_subgroups(study)
    words = read_words(study.folder / "words.toml")
    sheets = filled_sheets(study, groups, words, names or {})
    tables = {
        s.subgroup: tuple(kilos_table(k, study, words, names or {}) for k in s.kilos)
        for s in sheets
    }
    stops = find_stops(study)
    stopped = {s.subgroup: sheet_stops(stops, groups, s.subgroup, words) for s in sheets}
    text = template_engine().get_template("block_sheet.html.j2").render(
        sheets=sheets, exercises=overview(sheets), tables=tables, names=names or {},
        stopped=stopped, stop_on_wall=words.say("stopped.sheet_on_wall"),
        weeks=range(1, study.settings.weeks_of_block + 1), **page_values(study, words),
    )  # fmt: skip
    path = Path(out) if out is not None else Path(study.results) / "block_sheets.html"
    atomic_write(path, text)
    return path


def page_values(study: Study, words: Words) -> dict[str, object]:
    """Return what every block sheet shows: title, words, cautions, style."""
    from cmjlab import __version__

    return {
        "title": study.title,
        "words": words.part("block_sheet"),
        "cautions": words.part("cautions"),
        "language": words.say("page.language"),
        "version": __version__,
        "css": stylesheet("sheet.css") + stylesheet("block.css"),
    }


def overview(sheets: tuple[Sheet, ...]) -> list[tuple[str, list[str], list[list[str]]]]:
    """Return (exercise, cells all share, cells that differ per subgroup) for the first page."""
    out = []
    for name in dict.fromkeys(line.exercise for s in sheets for line in s.lines):
        found = [next((x for x in s.lines if x.exercise == name), None) for s in sheets]
        lines = [x for x in found if x is not None]
        common = (
            [c.content for c in lines[0].cells if c.shared and c.content]
            if len(lines) == len(sheets)
            else []
        )
        apart = [
            []
            if x is None
            else [c.content for c in x.cells if c.content and c.content not in common]
            for x in found
        ]
        out.append((name, common, apart))
    return out
