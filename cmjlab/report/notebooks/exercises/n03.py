"""Exercises of notebook 03, subgroups."""

from __future__ import annotations

import math
from typing import Any

from cmjlab.report.notebooks.exercises.kinds import Exercise
from cmjlab.stats.subgroups.subgroups import CLOSE_CALL


def _too_close(found: Any, metric: str) -> float:
    if "placement" not in found:
        return math.nan
    return float((found["placement"].points["placements"]["call"] == CLOSE_CALL).sum())


EXERCISES = {"03.1": Exercise(1, _too_close)}
