"""One metric measured two ways: difference, line, conversion, verdict, as rows and sentences."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from cmjlab.results import Reason
from cmjlab.scrutiny.pool.conversion import Conversion, Left, convert, left_of
from cmjlab.scrutiny.pool.rule import (
    AS_IT_IS,
    PoolRule,
    Verdict,
    Yardstick,
    slope_needed,
    verdict_of,
)
from cmjlab.scrutiny.pool.structural_line import Line, structural_line
from cmjlab.stats.common.mean_squares import Array
from cmjlab.stats.reliability.agreement import (
    Limits,
    limits_from_changing_truth,
    limits_of_agreement,
)

#: Athletes without whom nothing is said.
FEWEST = 3
#: Differences below this share of the values are rounding.
_EQUAL = 1e-9


@dataclass(frozen=True)
class NoPooling:
    """A metric of which nothing can be said, and why."""

    metric: str
    why: Reason


@dataclass(frozen=True)
class Pooling:
    """What was found of one metric.

    Attributes
    ----------
    metric : str
    difference : Left
        second − first.
    limits : Limits
        Of agreement.
    line : Line or None
        Of the first on the second, None where there is none.
    conversion : Conversion
    verdict : Verdict
    yardstick : Yardstick
    athletes, jumps : int
    per_value : float
        Jumps of a session's value.
    equal : bool
        Whether both always show the same.
    """

    metric: str
    difference: Left
    limits: Limits
    line: Line | None
    conversion: Conversion
    verdict: Verdict
    yardstick: Yardstick
    athletes: int
    jumps: int
    per_value: float
    equal: bool

    def half_widths(self, level: float) -> tuple[float, float]:
        """Return how far a new converted jump, and the mean of such a squad, are off at most."""
        made = self.conversion
        mean = made.half_width(level, jumps=self.per_value, athletes=self.athletes)
        return made.half_width(level), mean


def pool_one(
    metric: str,
    values: tuple[list[Array], list[Array]],
    yardstick: Yardstick,
    rule: PoolRule,
    *,
    per_value: float,
    level: float,
) -> Pooling | NoPooling:
    """Return what is found of one metric.

    Parameters
    ----------
    metric : str
    values : (first, second)
        Per athlete, the values of all jumps.
    yardstick : Yardstick
    rule : PoolRule
    per_value : float
        Jumps of a session's value.
    level : float
    """
    first, second = values
    if len(first) < FEWEST:
        return NoPooling(metric, Reason("pool_few_athletes", {"n": len(first), "least": FEWEST}))
    differences = [b - a for a, b in zip(first, second, strict=True)]
    everything = np.concatenate([*first, *second])
    equal = bool(max(np.abs(d).max() for d in differences) <= _EQUAL * np.abs(everything).max())
    several = any(d.size > 1 for d in differences)
    limits = (
        limits_from_changing_truth(differences, level=level)
        if several
        else limits_of_agreement(np.concatenate(differences), level=level)
    )
    difference = left_of(differences)
    line = structural_line(second, first, error_ratio=rule.error_ratio)
    needed = not equal and slope_needed(line, rule, yardstick, level)
    conversion = convert(first, second, line if needed else None)
    verdict = verdict_of(
        difference, conversion, line, yardstick, rule, jumps=per_value, level=level
    )
    if equal:
        verdict = Verdict(AS_IT_IS, None, *((0.0,) * 6))
    jumps = sum(d.size for d in differences)
    return Pooling(metric, difference, limits, line, conversion, verdict, yardstick,
                   len(first), jumps, per_value, equal)  # fmt: skip
