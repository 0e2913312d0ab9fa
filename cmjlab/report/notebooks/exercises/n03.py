"""Exercises of notebook 03, subgroups."""

from __future__ import annotations

import math
from typing import Any

from cmjlab.report.notebooks.exercises.kinds import Exercise
from cmjlab.stats.subgroups.subgroups import CLOSE_CALL

_YES, _NO, _DRAWN = "yes", "no", "random"


def _placements(found: Any) -> Any:
    """Return the table of placements; None where the study has none."""
    return found["placement"].points["placements"] if "placement" in found else None


def _too_close(found: Any, metric: str) -> float:
    placed = _placements(found)
    return math.nan if placed is None else float((placed["call"] == CLOSE_CALL).sum())


def _misplaced(found: Any, metric: str) -> float:
    placed = _placements(found)
    return math.nan if placed is None else float((1 - placed["probability"].dropna()).sum())


def _rightly_placed(found: Any, metric: str) -> float:
    placed = _placements(found)
    return math.nan if placed is None else float(placed["probability"].dropna().sum())


def _effect_alone(found: Any, metric: str) -> str:
    if "placement" not in found:
        return ""
    formed = found["placement"].settings["record"]["formed"]
    return _YES if formed == _DRAWN else _NO


EXERCISES = {
    "03.1": Exercise(1, _too_close),
    "03.2": Exercise(2, _misplaced, tolerance=0.1, known={"rightly_placed": _rightly_placed}),
    "03.3": Exercise(3, _effect_alone, choices=(_YES, _NO)),
}
