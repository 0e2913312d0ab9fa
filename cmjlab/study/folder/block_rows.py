"""What the cells of block.csv mean: percentages of a maximum, weeks, whose maximum; and checks of it."""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping
from typing import Any

import pandas as pd

from cmjlab.checks import suggestion
from cmjlab.study.folder.measure_names import measure_column
from cmjlab.study.folder.problems import Problems
from cmjlab.study.folder.user_tables import ROW

#: Word in column subgroup for a row that everybody does.
EVERYBODY = "all"
#: More than this share of a maximum is no load that is meant, % (our own).
MOST_PERCENT = 130.0
#: Words before an exercise that do not make it another one.
_SAME = {"back", "barbell"}
_NUMBER = r"(\d+(?:[.,]\d+)?)"
_PERCENT = re.compile(rf"{_NUMBER}\s*%?\s*(?:(?:-|–|to)\s*{_NUMBER}\s*)?%")
_MAXIMUM = re.compile(r"\b1\s?-?RM\b", re.IGNORECASE)
_WEEKS = re.compile(r"(\d{1,2})\s*(?:(?:-|–|to)\s*(\d{1,2}))?")


def percent_range(load: str, of: str = "") -> tuple[float, float] | None:
    """Return lower and upper percentage of a maximum in a load, None when it states none.

    Parameters
    ----------
    load : str
        "80-90 % 1RM", "70 % 1RM"; "90 % of the own best" counts only where ``of`` is given.
    of : str
        Column percent_of: the measure that the percentage belongs to.

    Examples
    --------
    >>> percent_range("80-90 % 1RM")
    (80.0, 90.0)
    >>> percent_range("body weight")
    """
    found = _PERCENT.search(load)
    if not found or not (of or _MAXIMUM.search(load)):
        return None
    low = float(found[1].replace(",", "."))
    return low, float(found[2].replace(",", ".")) if found[2] else low


def weeks_range(text: str) -> tuple[int, int] | None:
    """Return the first and last week of a text such as "1-4" or "5"; None when it is neither."""
    found = _WEEKS.fullmatch(text.strip())
    if not found:
        return None
    first, last = int(found[1]), int(found[2] or found[1])
    return (first, last) if 1 <= first <= last else None


def cell(value: object) -> str:
    """Return a cell of block.csv as text, "" when it is empty."""
    return "" if value is None or pd.isna(value) else str(value).strip()  # type: ignore[call-overload]


def maximum_of(exercise: str, of: str, measures: Iterable[str]) -> str | None:
    """Return the measure that a percentage of an exercise belongs to, None when none is sure.

    A measure counts that column percent_of names, else one with the exercise's own name
    ("back squat" and squat_1rm). Another exercise's maximum is never taken silently: 80 % of a
    back squat is too much for a front squat.
    """
    known = {m: set(_words(m)) for m in measures}
    if of:
        wanted = measure_column(of, "kg")
        return next((m for m in known if measure_column(m, "kg") == wanted), None)
    own = set(_words(exercise)) - _SAME
    return next(
        (m for m, words in known.items() if "1rm" in words and words - {"1rm"} == own), None
    )


def _words(text: str) -> list[str]:
    return re.sub(r"[\W_]+", " ", text.casefold()).split()


def check_block(tables: Mapping[str, pd.DataFrame], weeks: int, problems: Problems) -> None:
    """Add what is wrong with block.csv: percentages, weeks, and 1RMs that nobody has.

    Parameters
    ----------
    tables : mapping of str to DataFrame
        Tables of the folder by file stem: block, measures.
    weeks : int
        Weeks of the block.
    problems : Problems
        Receives whatever is wrong.
    """
    measures = list(dict.fromkeys(map(str, tables["measures"]["measure"].dropna())))
    held: dict[tuple[str, str], list[tuple[int, int]]] = {}
    for row in tables["block"].to_dict("records"):
        _check_percent(row, measures, problems)
        _check_weeks(row, held, problems)
        _check_last_week(row, weeks, problems)


def _check_percent(row: Mapping[Any, Any], measures: list[str], problems: Problems) -> None:
    exercise, load, of = (cell(row.get(c)) for c in ("exercise", "load", "percent_of"))
    found = percent_range(load, of)
    if found is None:
        return
    low, high = found
    if not 0 < low <= high <= MOST_PERCENT:
        problems.add(
            "fail", "impossible_percent", where=("block", row[ROW], "load"), found=load,
            expected=f"a rising range above 0 and up to {MOST_PERCENT:g} %, e.g. 80-90 % 1RM",
            remedy="Correct the load.",
        )  # fmt: skip
    elif maximum_of(exercise, of, measures) is None:
        one = next((m for m in measures if m.endswith("1rm")), "squat_1rm")
        problems.add(
            "warn", "no_maximum", where=("block", row[ROW], "percent_of"), found=of or "empty",
            expected=f"the measure of measures.csv that {load!r} of {exercise!r} belongs to",
            remedy=f"Write for instance {one} there; without it the block sheets give no kilos."
            f"{suggestion(of, measures) if of else ''}",
        )  # fmt: skip


def _check_weeks(
    row: Mapping[Any, Any], held: dict[tuple[str, str], list[tuple[int, int]]], problems: Problems
) -> None:
    text = cell(row.get("weeks"))
    if not text:
        return
    found = weeks_range(text)
    if found is None:
        problems.add(
            "fail", "bad_weeks", where=("block", row[ROW], "weeks"), found=text,
            expected="weeks such as 1-4 or 5; empty: all weeks", remedy="Correct the cell.",
        )  # fmt: skip
        return
    earlier = held.setdefault((cell(row["exercise"]), cell(row["subgroup"])), [])
    if any(found[0] <= last and first <= found[1] for first, last in earlier):
        problems.add(
            "fail", "weeks_twice", where=("block", row[ROW], "weeks"), found=text,
            expected="every week of an exercise in one row", remedy="Correct one of the rows.",
        )  # fmt: skip
    earlier.append(found)


def _check_last_week(row: Mapping[Any, Any], weeks: int, problems: Problems) -> None:
    found = weeks_range(cell(row.get("weeks")))
    if found and found[1] > weeks:
        problems.add(
            "warn", "week_after_block", where=("block", row[ROW], "weeks"),
            found=cell(row["weeks"]), expected=f"weeks from 1 to {weeks}",
            remedy="Correct the cell, or weeks in [block] (or block_weeks in [plan]) of study.toml;"
            " later weeks are not printed.",
        )  # fmt: skip
