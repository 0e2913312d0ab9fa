"""The line that joins two measurements of the same jumps, both with errors; athletes are the units.

Arrays only. Deming's line in closed form; its uncertainty by leaving out one athlete after the other,
because the jumps of one athlete are no independent evidence of a relation between two plates.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np
from numpy.typing import ArrayLike

from cmjlab.stats.common.intervals import t_quantile
from cmjlab.stats.common.mean_squares import Array

#: Athletes that a line needs: two are always on one.
FEWEST_ATHLETES = 4


class Moments(NamedTuple):
    """Means over jumps of x, y, x², xy, y², one number for each athlete."""

    x: Array
    y: Array
    xx: Array
    xy: Array
    yy: Array


@dataclass(frozen=True)
class Line:
    """y = intercept + slope · x, with all lines that leave out one athlete.

    Attributes
    ----------
    slope, intercept : float
    slopes, intercepts : array, shape (n_athletes,)
        Without each athlete.
    spread : float
        Variance of x, each athlete counting the same.
    """

    slope: float
    intercept: float
    slopes: Array
    intercepts: Array
    spread: float

    @property
    def df(self) -> float:
        """Degrees of freedom: athletes less the two numbers of a line."""
        return float(self.slopes.size - 2)

    def slope_se(self) -> float:
        """Return the jackknife standard error of the slope."""
        return float(np.sqrt(_jackknife_variance(self.slopes)))

    def slope_limits(self, level: float) -> tuple[float, float]:
        """Return t limits of the slope."""
        half = float(t_quantile(0.5 + level / 2, self.df)) * self.slope_se()
        return self.slope - half, self.slope + half

    def variance_at(self, x: ArrayLike) -> Array:
        """Return the jackknife variance of the line at x."""
        at = np.asarray(x, dtype=np.float64)
        lines = self.intercepts[:, None] + self.slopes[:, None] * at.reshape(1, -1)
        return _jackknife_variance(lines).reshape(at.shape)


def structural_line(
    x: Sequence[ArrayLike], y: Sequence[ArrayLike], *, error_ratio: float = 1.0
) -> Line | None:
    """Return Deming's line of y on x from several jumps of each athlete.

    Parameters
    ----------
    x, y : sequences of array_like
        Per athlete, the values of all jumps.
    error_ratio : float
        Variance of the errors of y by that of x; 1 for two plates of one kind, infinity where x is
        exact (least squares), 0 where y is.

    Returns
    -------
    Line or None
        None where x and y do not go together at all, or with fewer than
        :data:`FEWEST_ATHLETES` athletes.

    Notes
    -----
    Deming (1943), Statistical Adjustment of Data; jackknife: Linnet (1990), Stat Med 9:1463 (both from
    memory). Each athlete counts the same, whatever the number of jumps.
    """
    if len(x) < FEWEST_ATHLETES:
        return None
    own = moments_of(x, y)
    slope, intercept, spread = _line(Moments(*(np.atleast_1d(m.mean()) for m in own)), error_ratio)
    n = own.x.size
    without = Moments(*((m.sum() - m) / (n - 1) for m in own))
    slopes, intercepts, _ = _line(without, error_ratio)
    if not (np.isfinite(slope).all() and np.isfinite(slopes).all()):
        return None
    return Line(float(slope[0]), float(intercept[0]), slopes, intercepts, float(spread[0]))


def moments_of(x: Sequence[ArrayLike], y: Sequence[ArrayLike]) -> Moments:
    """Return the moments of each athlete, around a common middle of x and y."""
    pairs = [(np.asarray(a, float), np.asarray(b, float)) for a, b in zip(x, y, strict=True)]
    rows = [(a.mean(), b.mean(), (a * a).mean(), (a * b).mean(), (b * b).mean()) for a, b in pairs]
    return Moments(*np.array(rows).T)


def _line(m: Moments, error_ratio: float) -> tuple[Array, Array, Array]:
    """Return slope, intercept and variance of x of Deming's line; slope nan where there is none."""
    sxx, syy, sxy = m.xx - m.x**2, m.yy - m.y**2, m.xy - m.x * m.y
    with np.errstate(divide="ignore", invalid="ignore"):
        if np.isinf(error_ratio):
            slope = sxy / sxx
        elif error_ratio == 0:
            slope = syy / sxy
        else:
            d = syy - error_ratio * sxx
            root = np.sqrt(d**2 + 4 * error_ratio * sxy**2)
            # Of the two forms the one without a difference of nearly equal numbers.
            slope = np.where(d >= 0, (d + root) / (2 * sxy), 2 * error_ratio * sxy / (root - d))
    slope = np.where((sxx > 0) & (sxy != 0), slope, np.nan)
    return slope, m.y - slope * m.x, sxx


def _jackknife_variance(without: Array) -> Array:
    n = without.shape[0]
    return np.asarray((n - 1) / n * ((without - without.mean(axis=0)) ** 2).sum(axis=0))
