"""Exercises of notebook 10, one jump by hand."""

from __future__ import annotations

from typing import Any

from cmjlab.report.notebooks.exercises.kinds import Exercise


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


EXERCISES = {"10.1": Exercise(2, _heavier, "mm", 1.0)}
