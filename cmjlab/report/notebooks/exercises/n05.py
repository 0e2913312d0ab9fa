"""Exercises of notebook 05, individuals."""

from __future__ import annotations

from typing import Any

from cmjlab.report.notebooks.exercises.kinds import Exercise


def _only_increases(individual: Any, metric: str) -> float:
    return float((individual.rows("individual_change", metric=metric)["ci_low"] > 0).sum())


EXERCISES = {"05.1": Exercise(1, _only_increases)}
