"""Exercises of notebook 08, planning."""

from __future__ import annotations

from typing import Any

from cmjlab.report.notebooks.exercises.kinds import Exercise


def _athletes_needed(plan: Any, metric: str) -> float:
    """Smallest n whose power reaches the one asked for: last design, one baseline, least spread."""
    power = plan.points["power_curve"]
    part = power[(power["design"] == power["design"].iloc[-1]) & (power["baselines"] == 1)]
    part = part[part["response_sd"] == part["response_sd"].min()]
    return float(part.loc[part["power"] >= float(plan.settings["power"]), "n"].min())


EXERCISES = {"08.1": Exercise(1, _athletes_needed, "athletes", 1)}
