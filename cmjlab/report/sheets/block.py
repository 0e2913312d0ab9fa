"""Block sheets: what each subgroup trains, one printed page each, shared and different at a glance."""

from __future__ import annotations

import os
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

import pandas as pd

from cmjlab.errors import StudyError
from cmjlab.files.atomic_write import atomic_write
from cmjlab.report.blocks.rule_words import rule_words
from cmjlab.report.blocks.templates import stylesheet, template_engine
from cmjlab.report.build.subgroups import StudySubgroups, study_subgroups
from cmjlab.stats.subgroups.rules import ELSE
from cmjlab.stats.subgroups.subgroups import CLOSE_CALL
from cmjlab.stats.targets.wanted import read_targets
from cmjlab.words.catalog import Words, read_words

if TYPE_CHECKING:
    from cmjlab.study.study import Study

#: Word in column subgroup for a row that everybody does.
EVERYBODY = "all"
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
    """One printed page."""

    subgroup: str
    athletes: tuple[str, ...]
    reasons: tuple[str, ...]
    targets: tuple[str, ...]
    lines: tuple[Line, ...]


def block_sheets(block: pd.DataFrame, subgroups: list[str]) -> tuple[Sheet, ...]:
    """Return the sheets of a block, without athletes: which cells are shared, which differ.

    Parameters
    ----------
    block : pandas.DataFrame
        As ``study.block``: exercise, subgroup (or "all"), start_position, range, intent, load,
        sets, reps. Rows stay in their order.
    subgroups : list of str

    Raises
    ------
    StudyError
        No rows, a subgroup that does not exist, or an exercise that stands twice for a subgroup.
    """
    if block.empty:
        raise StudyError("block.csv has no rows; write exercise × subgroup there, then run again.")
    rows = {g: _rows_of(block, g) for g in subgroups}
    strange = sorted(set(block["subgroup"].dropna().astype(str)) - {*subgroups, EVERYBODY})
    if strange:
        raise StudyError(
            f"block.csv: there is no subgroup {strange[0]!r}; subgroups are {', '.join(subgroups)}"
            f" (or '{EVERYBODY}'). Correct the name there or in subgroups.csv."
        )
    return tuple(Sheet(g, (), (), (), _lines(rows, g)) for g in subgroups)


def _rows_of(block: pd.DataFrame, subgroup: str) -> dict[str, tuple[str, ...]]:
    """Return exercise -> cells of one subgroup; its own row counts before one for everybody."""
    out: dict[str, tuple[str, ...]] = {}
    own = set()
    for row in block.to_dict("records"):
        name, whose = _text(row["exercise"]), _text(row["subgroup"])
        if whose not in (subgroup, EVERYBODY):
            continue
        if whose == subgroup:
            if name in own:
                raise StudyError(
                    f"block.csv: {name!r} stands twice for {subgroup!r}; keep one row or name them apart."
                )
            own.add(name)
        elif name in own:
            continue
        out[name] = _cells(row)
    return out


def _cells(row: dict[object, object]) -> tuple[str, ...]:
    sets, reps = _text(row.get("sets")), _text(row.get("reps"))
    dose = f"{sets} × {reps}" if sets and reps else sets or reps
    return (*(_text(row.get(c)) for c in COLUMNS[:-1]), dose)


def _text(value: object) -> str:
    if value is None or pd.isna(value):  # type: ignore[call-overload]
        return ""
    return (
        str(value).strip().replace(" - ", "–").replace("-", "–")
        if _is_range(value)
        else str(value).strip()
    )


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
    """Return why athletes are in this subgroup: rules, moves, calls that are close."""
    placement = groups.results.get("placement")
    if placement is None:
        return (words.say("block_sheet.from_roster"),)
    rules = placement.points["rules"]
    out = []
    for row in rules[rules["subgroup"] == subgroup].to_dict("records"):
        key = "block_sheet.rule_else" if row["rule"] == ELSE else "block_sheet.rule"
        rule = rule_words(str(row["rule"]), words)
        out.append(words.say(key, rule=rule, session=groups.session, reason=row["reason"] or "–"))
    people = placement.points["placements"]
    mine = people[people["subgroup"] == subgroup]
    moved = mine[mine["moved"] == "yes"]
    for row in moved.to_dict("records"):
        out.append(words.say("block_sheet.moved", athlete=row["athlete"], reason=row["reason"]))
    close = mine[(mine["call"] == CLOSE_CALL) & (mine["moved"] != "yes")]
    if len(close):
        out.append(words.say("block_sheet.close", athletes=list(close["athlete"])))
    return tuple(out)


def _targets(study: Study, subgroup: str, words: Words) -> tuple[str, ...]:
    """Return what the emphasis of a subgroup is for, one sentence per target."""
    out = []
    for target in read_targets(study.targets, study.plan.change_that_matters):
        if target.subgroup == subgroup:
            key = "block_sheet.target_why" if target.why else "block_sheet.target"
            out.append(words.say(key, aim=target.aim, why=target.why.rstrip(".")))
    return tuple(out)


def write_block_sheets(
    study: Study,
    out: str | os.PathLike[str] | None = None,
    *,
    groups: StudySubgroups | None = None,
) -> Path:
    """Write the block sheets of a study: an overview page, then one page per subgroup.

    Parameters
    ----------
    study : Study
    out : path, optional
        HTML file; default ``block_sheets.html`` in the results folder.
    groups : StudySubgroups, optional
        When it is at hand.

    Returns
    -------
    Path

    Raises
    ------
    StudyError
        block.csv is empty or does not fit the subgroups; there are no subgroups.
    """
    groups = groups or study_subgroups(study)
    names = groups.subgroups
    if not names:
        raise StudyError("no subgroups: write subgroups.csv, or the column group of athletes.csv.")
    words = read_words(study.folder / "words.toml")
    sheets = tuple(
        Sheet(s.subgroup, tuple(groups.members(s.subgroup)), _reasons(groups, s.subgroup, words),
              _targets(study, s.subgroup, words), s.lines)
        for s in block_sheets(study.block, names)
    )  # fmt: skip
    from cmjlab import __version__

    text = template_engine().get_template("block_sheet.html.j2").render(
        title=study.title, sheets=sheets, exercises=overview(sheets), words=words.part("block_sheet"),
        cautions=words.part("cautions"), language=words.say("page.language"), version=__version__,
        css=stylesheet("sheet.css"),
    )  # fmt: skip
    path = Path(out) if out is not None else Path(study.results) / "block_sheets.html"
    atomic_write(path, text)
    return path


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
