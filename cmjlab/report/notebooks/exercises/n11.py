"""Exercises of notebook 11, the same numbers elsewhere."""

from __future__ import annotations

import math
from typing import Any

from cmjlab.report.notebooks.exercises.kinds import Exercise, in_shown

_YOU, _COLLEAGUE, _NOBODY = "you", "the colleague", "nobody"


def _apart(table: Any, metric: str) -> float:
    return float(abs(table["cmjlab"].iloc[0] - table["elsewhere"].iloc[0]))


def _pooled(groups: Any, metric: str) -> float:
    """Return the root of the variances, each weighted by its degrees of freedom."""
    squares = sum(float(g.var(ddof=1)) * (len(g) - 1) for g in groups)
    return in_shown(math.sqrt(squares / sum(len(g) - 1 for g in groups)), metric)


def _thrown_together(groups: Any, metric: str) -> float:
    """Return the spread of all changes as if they came from one group."""
    every = [float(x) for g in groups for x in g]
    mean = sum(every) / len(every)
    return in_shown(math.sqrt(sum((x - mean) ** 2 for x in every) / (len(every) - 1)), metric)


def _nobody(source: Any, metric: str) -> str:
    """Return the answer, which is the same on every study: both divide correctly."""
    return _NOBODY


EXERCISES = {
    "11.1": Exercise(1, _apart, tolerance=0.05),
    "11.2": Exercise(2, _pooled, "metric", 0.2, known={"thrown_together": _thrown_together}),
    "11.3": Exercise(3, _nobody, choices=(_YOU, _COLLEAGUE, _NOBODY)),
}
