"""Exercises of notebook 10, one jump by hand."""

from __future__ import annotations

from typing import Any

from cmjlab.report.notebooks.exercises.kinds import Exercise

_FALLS, _STAYS, _RISES = "falls by g", "stays", "rises"


def _heavier(jump: Any, metric: str) -> float:
    """Change of height, in mm, when body weight is taken 0.5 % too large: the same force, integrated again.

    Velocity at take-off is g (J / W - T), with J the impulse of the force and T the time from
    onset to take-off; W becomes 1.005 W.
    """
    g = float(jump.method.gravity_m_per_s2)
    velocity = float(jump.metrics["takeoff_velocity_m_per_s"])
    seconds = float(jump.metrics["time_to_takeoff_s"])
    wrong = (velocity + g * seconds) / 1.005 - g * seconds
    return 1000 * (wrong**2 - velocity**2) / (2 * g)


def _flight_height(jump: Any, metric: str) -> float:
    g, flight = float(jump.method.gravity_m_per_s2), _flight(jump)
    return 100 * g * flight**2 / 8


def _whole_fall(jump: Any, metric: str) -> float:
    """Return the height from the whole time in the air taken as a fall."""
    return 4 * _flight_height(jump, metric)


def _flight(jump: Any) -> float:
    return float(jump.events["landing"] - jump.events["takeoff"])


def _velocity_in_flight(jump: Any, metric: str) -> str:
    """Return what free flight does, which holds for every jump."""
    return _FALLS


EXERCISES = {
    "10.1": Exercise(2, _heavier, "mm", 1.0),
    "10.2": Exercise(2, _flight_height, "cm", 0.1, known={"whole_fall": _whole_fall}),
    "10.3": Exercise(3, _velocity_in_flight, choices=(_FALLS, _STAYS, _RISES)),
}
