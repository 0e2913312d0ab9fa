"""How far a converted value may be off: variance components of what is left, and limits for new values.

Arrays only. What is left after a conversion has a part that stays with the athlete and a part of its
own in each jump; a new squad brings new athletes, so that both count.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from cmjlab.scrutiny.pool.structural_line import Line
from cmjlab.stats.common.intervals import mls_limits, t_quantile
from cmjlab.stats.common.mean_squares import Array


@dataclass(frozen=True)
class Left:
    """Mean squares of what is left, over athletes and within them.

    Attributes
    ----------
    mean : float
        Mean over all jumps (of a difference: the bias).
    between, df_between : float
        Mean square between athletes.
    within, df_within : float
        Mean square within; nan and 0 where every athlete has one jump.
    size : float
        Jumps of an athlete, as the expected mean squares have them.
    jumps : int
    """

    mean: float
    between: float
    df_between: float
    within: float
    df_within: float
    size: float
    jumps: int

    def weights(self, jumps: float) -> tuple[list[float], list[float], list[float]]:
        """Return weights, mean squares and dfs of the variance of a mean of jumps of a new athlete."""
        if self.df_within == 0:
            return [1.0], [self.between], [self.df_between]
        return (
            [1 / self.size, 1 / jumps - 1 / self.size], [self.between, self.within],
            [self.df_between, self.df_within],
        )  # fmt: skip

    @property
    def mean_variance(self) -> float:
        """Variance of the mean, from athletes."""
        return self.between / self.jumps


def left_of(values: Sequence[ArrayLike], *, taken: int = 1) -> Left:
    """Return the mean squares of values by athletes.

    Parameters
    ----------
    values : sequence of array_like
        Per athlete, the values of all jumps.
    taken : int
        Numbers of a fitted relation that the athletes have paid for: 1 a mean, 2 a line.
    """
    own = [np.asarray(v, float) for v in values]
    m = np.array([v.size for v in own], float)
    total, n = m.sum(), len(own)
    everything = np.concatenate(own)
    means = np.array([v.mean() for v in own])
    between = float(np.sum(m * (means - everything.mean()) ** 2)) / max(n - taken, 1)
    df_within = float(total - n)
    within = float(sum(((v - v.mean()) ** 2).sum() for v in own))
    size = float((total**2 - np.sum(m**2)) / ((n - 1) * total)) if n > 1 else float(total)
    return Left(
        float(everything.mean()), between, float(max(n - taken, 1)),
        within / df_within if df_within else float("nan"), df_within, size, int(total),
    )  # fmt: skip


@dataclass(frozen=True)
class Conversion:
    """first = offset + slope · second, and what it leaves.

    Attributes
    ----------
    offset, slope : float
        A slope of exactly 1 without a ``line``.
    left : Left
        Of first − converted.
    line : Line or None
    at : array
        Values of the second that the line was seen at.
    """

    offset: float
    slope: float
    left: Left
    line: Line | None
    at: Array

    def relation_variance(self) -> float:
        """Return the variance of the conversion itself: of its mean, or of its line over its range."""
        if self.line is None:
            return self.left.mean_variance
        return float(self.line.variance_at(self.at).mean())

    def variance(self, jumps: float = 1, athletes: float = 1) -> float:
        """Return the error variance of a converted mean of new athletes with so many jumps each."""
        weights, squares, _ = self.left.weights(jumps)
        own = sum(w * s for w, s in zip(weights, squares, strict=True))
        return max(own, 0.0) / athletes + self.relation_variance()

    def variance_limits(self, jumps: float, level: float) -> tuple[float, float]:
        """Return limits of the error variance of one athlete's mean of jumps."""
        weights, squares, dfs = self.left.weights(jumps)
        low, high = mls_limits(weights, squares, dfs, level)
        fixed = self.relation_variance()
        return max(float(low), 0.0) + fixed, max(float(high), 0.0) + fixed

    def half_width(self, level: float, *, jumps: float = 1, athletes: float = 1) -> float:
        """Return how far a new converted value is off at most, at a level.

        Notes
        -----
        t with the degrees of freedom of Satterthwaite (1946, from memory), those of the athletes at
        least. The error of the conversion comes from the same athletes and is counted with them.
        """
        variance = self.variance(jumps, athletes)
        if variance == 0:
            return 0.0
        weights, squares, dfs = self.left.weights(jumps)
        parts = [w * s / athletes for w, s in zip(weights, squares, strict=True)]
        parts[0] += self.relation_variance()
        spread = sum(p**2 / d for p, d in zip(parts, dfs, strict=True))
        df = max(variance**2 / spread, self.left.df_between)
        return float(t_quantile(0.5 + level / 2, df)) * variance**0.5


def convert(
    first: Sequence[ArrayLike], second: Sequence[ArrayLike], line: Line | None
) -> Conversion:
    """Return the conversion of the second into the first: by an offset, or by a line.

    Parameters
    ----------
    first, second : sequences of array_like
        Per athlete, the values of all jumps.
    line : Line or None
        Of the first on the second; None: an offset alone.
    """
    pairs = [
        (np.asarray(a, float), np.asarray(b, float)) for a, b in zip(first, second, strict=True)
    ]
    at = np.concatenate([b for _, b in pairs])
    if line is None:
        left = left_of([a - b for a, b in pairs])
        return Conversion(left.mean, 1.0, left, None, at)
    rest = left_of([a - line.intercept - line.slope * b for a, b in pairs], taken=2)
    return Conversion(line.intercept, line.slope, rest, line, at)
