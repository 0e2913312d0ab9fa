"""Exercises of notebook 01, recordings."""

from __future__ import annotations

from typing import Any

from cmjlab.report.notebooks.exercises.kinds import Exercise

_RISES, _FALLS, _STAYS = "rises", "falls", "stays"
#: Of the jump in exercise 01.3: height and time, each as a share of before.
_HEIGHT, _TIME = 0.95, 0.90


def _flight_above(jump: Any, metric: str) -> float:
    return float(100 * (jump.metrics["jump_height_flight_m"] - jump.metrics["jump_height_m"]))


def _rsi_modified(jump: Any, metric: str) -> float:
    return float(jump.metrics["jump_height_m"] / jump.metrics["time_to_takeoff_s"])


def _from_flight_height(jump: Any, metric: str) -> float:
    return float(jump.metrics["jump_height_flight_m"] / jump.metrics["time_to_takeoff_s"])


def _lower_and_faster(jump: Any, metric: str) -> str:
    """Return which way height over time goes, which holds for every jump."""
    return _RISES if _HEIGHT / _TIME > 1 else _FALLS


EXERCISES = {
    "01.1": Exercise(2, _flight_above, "cm", 0.2),
    "01.2": Exercise(
        2, _rsi_modified, "m/s", 0.005, known={"from_flight_height": _from_flight_height}
    ),
    "01.3": Exercise(3, _lower_and_faster, choices=(_RISES, _FALLS, _STAYS)),
}
