"""Exercises of notebook 02, reliability."""

from __future__ import annotations

import math
from typing import Any

from cmjlab.report.notebooks.exercises.kinds import Exercise, in_shown


def _smallest_detectable(result: Any, metric: str) -> float:
    return in_shown(result.value("smallest_detectable_change", metric=metric), metric)


def _published_detectable(result: Any, metric: str) -> float:
    return in_shown(result.value("smallest_detectable_change_z", metric=metric), metric)


def _typical_error(result: Any, metric: str) -> float:
    return in_shown(result.value("typical_error", metric=metric), metric)


def _one_session(result: Any, metric: str) -> float:
    return _smallest_detectable(result, metric) / math.sqrt(2)


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
    )
}
