"""Exercises of notebook 05, individuals."""

from __future__ import annotations

import math
from typing import Any

from cmjlab.report.notebooks.exercises.kinds import Exercise

_YES, _UNKNOWN = "yes", "cannot tell"


def _only_increases(individual: Any, metric: str) -> float:
    return float((individual.rows("individual_change", metric=metric)["ci_low"] > 0).sum())


def _by_chance(individual: Any, metric: str) -> float:
    """Return the athletes times half of what the intervals miss."""
    rows = individual.rows("individual_change", metric=metric)
    return math.nan if rows.empty else len(rows) * (1 - float(rows["level"].iloc[0])) / 2


def _both_sides(individual: Any, metric: str) -> float:
    return 2 * _by_chance(individual, metric)


def _largest(individual: Any, metric: str) -> str:
    rows = individual.rows("individual_change_all", metric=metric)
    if rows.empty:
        return ""
    return _YES if rows.loc[rows["estimate"].idxmax(), "ci_low"] > 0 else _UNKNOWN


EXERCISES = {
    "05.1": Exercise(1, _only_increases),
    "05.2": Exercise(2, _by_chance, tolerance=0.05, known={"both_sides": _both_sides}),
    "05.3": Exercise(3, _largest, choices=(_YES, _UNKNOWN)),
}
