"""What an exercise is."""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from typing import Any

#: From what a notebook computed (a Study, Jump, Result, table, ...) and a metric to an answer.
Computed = Callable[[Any, str], float]
Decided = Callable[[Any, str], str]


@dataclass(frozen=True)
class Exercise:
    """One exercise: how hard it is, its unit and tolerance, and how the answer is computed.

    Attributes
    ----------
    grade : int
        1: read off; 2: compute yourself; 3: decide.
    value : callable
        From what the notebook computed and a metric to the answer: a number, or one of
        ``choices``. nan, or "", when this study has none.
    unit : str
        "" for a count or a share without a unit; "metric": the unit in which the metric is
        shown; "athletes": per group.
    tolerance : float
        How far off an answer may be, in that unit; of a "metric" in steps of the last digit
        that is shown, so that what a table shows is right whatever the metric.
    choices : tuple of str
        What can be answered where the answer is a decision; empty for a number.
    known : mapping
        Wrong answers that many give, by the key below ``exercise_known`` in the words that says
        what each is; computed in the same way.
    """

    grade: int
    value: Computed | Decided
    unit: str = ""
    tolerance: float = 0.0
    choices: tuple[str, ...] = ()
    known: Mapping[str, Computed] = field(default_factory=dict)


def in_shown(value: float, metric: str) -> float:
    """Return a value of a table in the unit in which its metric is shown."""
    from cmjlab.catalog import METRICS
    from cmjlab.units import to_shown

    return to_shown(float(value), METRICS[metric].unit) if metric in METRICS else float(value)


def step_of(metric: str) -> float:
    """Return the last digit that is shown of a metric, as a number in its shown unit."""
    from cmjlab.catalog import METRICS
    from cmjlab.units import shown_step

    return shown_step(METRICS[metric].unit if metric in METRICS else "")


def unanswered(value: float | str) -> bool:
    """Return whether a study has no answer to an exercise."""
    return value == "" if isinstance(value, str) else math.isnan(value)
