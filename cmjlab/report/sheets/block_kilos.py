"""Kilos per athlete and week for the block sheets: whose maximum, how old, and what without one."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

import pandas as pd

from cmjlab.report.sheets.kilos import BarLoad, bar_load, bar_loads, percents
from cmjlab.study.folder.block_rows import (
    EVERYBODY,
    cell,
    maximum_of,
    percent_range,
    weeks_range,
)

if TYPE_CHECKING:
    from cmjlab.study.study import Study


@dataclass(frozen=True)
class Maximum:
    """An athlete's 1RM: kilograms, the session it is from, and how it was had."""

    kg: float
    session: str
    how: str


@dataclass(frozen=True)
class Row:
    """One athlete's kilos in one exercise, a load (or None) for every week of the block.

    Attributes
    ----------
    athlete : str
    maximum : Maximum or None
    reason : str
        Key of why there are no kilos: "no_maximum", "not_in_kg"; "" when there are.
    weeks : tuple of BarLoad or None
        None where block.csv gives no percentage for the week.
    """

    athlete: str
    maximum: Maximum | None
    reason: str
    weeks: tuple[BarLoad | None, ...]


@dataclass(frozen=True)
class Kilos:
    """The kilos of one exercise for one subgroup.

    Attributes
    ----------
    exercise : str
    measure : str or None
        Measure of measures.csv that the percentages belong to.
    percents : tuple of float or None
        What is aimed at in each week, %.
    rows : tuple of Row
    """

    exercise: str
    measure: str | None
    percents: tuple[float | None, ...]
    rows: tuple[Row, ...]


def kilos(study: Study, subgroup: str, athletes: Sequence[str]) -> tuple[Kilos, ...]:
    """Return the kilos of a subgroup for every exercise of block.csv with a percentage.

    Parameters
    ----------
    study : Study
    subgroup : str
    athletes : sequence of str
        Its athletes, in order.
    """
    settings = study.settings.block
    weeks = study.settings.weeks_of_block
    measures = list(dict.fromkeys(map(str, study.measures["measure"].dropna())))
    out = []
    for exercise, rows in _with_percent(study.block, subgroup).items():
        limits = _limits(rows, weeks, settings.percent_per_week)
        measure = maximum_of(exercise, rows[0][1], measures)
        found, unusable = maxima(study, measure)
        table = [
            _row(athlete, found.get(athlete), athlete in unusable, limits, study)
            for athlete in athletes
        ]
        aims = tuple(None if x is None else x[0] for x in limits)
        out.append(Kilos(exercise, measure, aims, tuple(table)))
    return tuple(out)


def _with_percent(
    block: pd.DataFrame, subgroup: str
) -> dict[str, list[tuple[tuple[float, float], str, str]]]:
    """Return exercise -> (range, percent_of, weeks) of its rows that state a percentage."""
    own = block["subgroup"].astype(str) == subgroup
    mine = set(block.loc[own, "exercise"].map(cell))
    out: dict[str, list[tuple[tuple[float, float], str, str]]] = {}
    for row in block.to_dict("records"):
        name, whose = cell(row["exercise"]), cell(row["subgroup"])
        if whose != subgroup and not (whose == EVERYBODY and name not in mine):
            continue
        of = cell(row.get("percent_of"))
        limits = percent_range(cell(row.get("load")), of)
        if limits:
            out.setdefault(name, []).append((limits, of, cell(row.get("weeks"))))
    return out


def _limits(
    rows: list[tuple[tuple[float, float], str, str]], weeks: int, step: float
) -> list[tuple[float, tuple[float, float]] | None]:
    """Return for every week the percentage aimed at and its range, None where no row holds."""
    out: list[tuple[float, tuple[float, float]] | None] = [None] * weeks
    for limits, _, held in rows:
        first, last = weeks_range(held) or (1, weeks)
        for week, percent in enumerate(percents(limits, last - first + 1, step), start=first):
            if week <= weeks:
                out[week - 1] = (percent, limits)
    return out


def _row(
    athlete: str,
    maximum: Maximum | None,
    unusable: bool,
    limits: list[tuple[float, tuple[float, float]] | None],
    study: Study,
) -> Row:
    if maximum is None:
        reason = "not_in_kg" if unusable else "no_maximum"
        return Row(athlete, None, reason, tuple(None for _ in limits))
    settings = study.settings.block
    most = math.ceil(maximum.kg * max((x[1][1] for x in limits if x), default=0.0) / 100) + 1.0
    loads = bar_loads(settings.bar_kg, settings.plates_kg, most)
    weeks = tuple(None if x is None else bar_load(maximum.kg, x[0], x[1], loads) for x in limits)
    return Row(athlete, maximum, "", weeks)


def maxima(study: Study, measure: str | None) -> tuple[dict[str, Maximum], set[str]]:
    """Return each athlete's latest maximum that counts, and who has one that cannot be used.

    Later sessions than ``maximum_until`` of [block] (empty: the session before the block) do
    not count: their values did not exist when the block was planned.
    """
    table = study.measures
    order = study.settings.session_order
    until = study.settings.block.maximum_until or study.before
    counted = order[: order.index(until) + 1] if until in order else order
    part = table[(table["measure"] == measure) & table["session"].isin(counted)]
    found: dict[str, Maximum] = {}
    unusable = set()
    place = {s: i for i, s in enumerate(counted)}
    ranked = sorted(part.to_dict("records"), key=lambda r: place[str(r["session"])])
    for row in ranked:
        athlete, value = str(row["athlete"]), row["value"]
        if pd.isna(value):
            continue
        if cell(row["unit"]).casefold() != "kg" or not float(value) > 0:
            unusable.add(athlete)
            continue
        found[athlete] = Maximum(float(value), str(row["session"]), cell(row["how"]))
    return found, unusable
