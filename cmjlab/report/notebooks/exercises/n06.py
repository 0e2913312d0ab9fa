"""Exercises of notebook 06, the block report."""

from __future__ import annotations

from typing import Any

from cmjlab.report.notebooks.exercises.kinds import Exercise


def _excluded(data: Any, metric: str) -> float:
    return float(len(data.tables["excluded_jumps"]))


EXERCISES = {"06.1": Exercise(1, _excluded)}
