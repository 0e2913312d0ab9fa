"""Exercises of notebook 07, the season."""

from __future__ import annotations

import math
from typing import Any

from cmjlab.report.notebooks.exercises.kinds import Exercise


def _alarms(season: Any, metric: str) -> float:
    if season is None:
        return math.nan
    points = season.points["weeks"]
    return float((points.loc[points["metric"] == metric, "alarm"] != "").sum())


EXERCISES = {"07.1": Exercise(1, _alarms)}
