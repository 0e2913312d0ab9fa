"""Exercises of notebook 02, reliability."""

from __future__ import annotations

import math
from typing import Any

import pandas as pd

from cmjlab.report.notebooks.exercises.kinds import Exercise, in_shown

_ATHLETE, _SQUAD, _NEITHER = "one athlete", "squad only", "neither"


def _smallest_detectable(result: Any, metric: str) -> float:
    return in_shown(result.value("smallest_detectable_change", metric=metric), metric)


def _published_detectable(result: Any, metric: str) -> float:
    return in_shown(result.value("smallest_detectable_change_z", metric=metric), metric)


def _typical_error(result: Any, metric: str) -> float:
    return in_shown(result.value("typical_error", metric=metric), metric)


def _one_session(result: Any, metric: str) -> float:
    return _smallest_detectable(result, metric) / math.sqrt(2)


def _differences(result: Any, metric: str) -> pd.Series:
    """Return the differences of the first two sessions."""
    points = result.points["agreement"]
    mine = points[points["metric"] == metric]
    if mine.empty:
        return pd.Series(dtype=float)
    first, second = mine[["first", "second"]].iloc[0]
    return mine.loc[(mine["first"] == first) & (mine["second"] == second), "difference"].dropna()


def _of_two_sessions(result: Any, metric: str) -> float:
    return _spread(result, metric) / math.sqrt(2)


def _spread(result: Any, metric: str) -> float:
    return in_shown(_differences(result, metric).std(ddof=1), metric)


def _mean_absolute(result: Any, metric: str) -> float:
    return in_shown(_differences(result, metric).abs().mean(), metric)


def _who_can_be_seen(source: Any, metric: str) -> str:
    result, plan = source
    matters = plan.change_that_matters.get(metric)
    if matters is None:
        return ""
    if result.value("smallest_detectable_change", metric=metric) <= matters:
        return _ATHLETE
    of_mean = result.value("smallest_detectable_change_mean", metric=metric)
    return _SQUAD if of_mean <= matters else _NEITHER


EXERCISES = {
    "02.1": Exercise(
        1,
        _smallest_detectable,
        "metric",
        1,
        known={
            "published_detectable": _published_detectable,
            "typical_error": _typical_error,
            "one_session": _one_session,
        },
    ),
    "02.2": Exercise(
        2,
        _of_two_sessions,
        "metric",
        0.2,
        known={"spread_of_differences": _spread, "mean_absolute": _mean_absolute},
    ),
    "02.3": Exercise(3, _who_can_be_seen, choices=(_ATHLETE, _SQUAD, _NEITHER)),
}
