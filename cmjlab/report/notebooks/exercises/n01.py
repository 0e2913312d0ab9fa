"""Exercises of notebook 01, recordings."""

from __future__ import annotations

from typing import Any

from cmjlab.report.notebooks.exercises.kinds import Exercise


def _flight_above(jump: Any, metric: str) -> float:
    return float(100 * (jump.metrics["jump_height_flight_m"] - jump.metrics["jump_height_m"]))


EXERCISES = {"01.1": Exercise(2, _flight_above, "cm", 0.2)}
