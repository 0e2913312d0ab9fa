"""Exercises of notebook 06, the block report."""

from __future__ import annotations

import math
from typing import Any

import pandas as pd

from cmjlab.report.notebooks.exercises.kinds import Exercise

_YES, _NO, _NONE = "yes", "no", "no interval"


def _excluded(data: Any, metric: str) -> float:
    return float(len(data.tables["excluded_jumps"]))


def _targets(data: Any) -> pd.DataFrame:
    """Return the table of targets; empty where the study has none."""
    return data.tables.get("targets", pd.DataFrame())


def _at_least_one_missed(source: Any, metric: str) -> float:
    data, plan = source
    count = len(_targets(data))
    return 1 - float(plan.level) ** count if count else math.nan


def _added_up(source: Any, metric: str) -> float:
    """Return the sum of the shares, which counts studies twice that miss two."""
    data, plan = source
    return len(_targets(data)) * (1 - float(plan.level))


def _all_held(source: Any, metric: str) -> float:
    return 1 - _at_least_one_missed(source, metric)


def _first_target(data: Any, metric: str) -> str:
    targets = _targets(data)
    if targets.empty:
        return ""
    low, high = targets[["change_low", "change_high"]].iloc[0]
    if pd.isna(low) or pd.isna(high):
        return _NONE
    return _YES if low > 0 or high < 0 else _NO


EXERCISES = {
    "06.1": Exercise(1, _excluded),
    "06.2": Exercise(
        2,
        _at_least_one_missed,
        tolerance=0.005,
        known={"shares_added": _added_up, "all_held": _all_held},
    ),
    "06.3": Exercise(3, _first_target, choices=(_YES, _NO, _NONE)),
}
