"""Exercises of notebook 04, what changed over the block."""

from __future__ import annotations

import math
from typing import Any

from cmjlab.report.notebooks.exercises.kinds import Exercise, in_shown

_MATTERS, _SMALL, _UNKNOWN = "matters", "too small", "cannot tell"


def _first_difference(between: Any, metric: str) -> Any:
    """Return the row of the first contrast; None where there was no second group."""
    if between is None:
        return None
    rows = between.rows("change_difference", metric=metric)
    return rows.iloc[0] if len(rows) else None


def _lowest_difference(between: Any, metric: str) -> float:
    row = _first_difference(between, metric)
    return math.nan if row is None else in_shown(row["ci_low"], metric)


def _standardised(between: Any, metric: str) -> float:
    """Return the difference by the standard deviation of all athletes before the block."""
    row = _first_difference(between, metric)
    return math.nan if row is None else float(row["estimate"]) / _spread(between, metric, 1)


def _by_all_values(between: Any, metric: str) -> float:
    """Return the same with a standard deviation that divides by n."""
    row = _first_difference(between, metric)
    return math.nan if row is None else float(row["estimate"]) / _spread(between, metric, 0)


def _spread(between: Any, metric: str, ddof: int) -> float:
    pairs = between.points["pairs"]
    return float(pairs.loc[pairs["metric"] == metric, "before"].std(ddof=ddof))


def _decision(source: Any, metric: str) -> str:
    """Return where the interval of the first contrast lies, seen from the change that matters."""
    between, plan = source
    row, matters = _first_difference(between, metric), plan.change_that_matters.get(metric)
    if row is None or matters is None:
        return ""
    low, high = float(row["ci_low"]), float(row["ci_high"])
    if low >= matters or high <= -matters:
        return _MATTERS
    return _SMALL if -matters < low and high < matters else _UNKNOWN


EXERCISES = {
    "04.1": Exercise(1, _lowest_difference, "metric", 1),
    "04.2": Exercise(2, _standardised, tolerance=0.005, known={"spread_by_n": _by_all_values}),
    "04.3": Exercise(3, _decision, choices=(_MATTERS, _SMALL, _UNKNOWN)),
}
