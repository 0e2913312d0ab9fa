"""Line of velocity and load, parabola of power and load, and limits of where they end and turn."""

from __future__ import annotations

import math
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray
from scipy import special

from cmjlab.stats.common.least_squares import (
    Estimate,
    LeastSquares,
    contrast,
    contrast_covariance,
    is_constant,
    least_squares,
)

Array = NDArray[np.float64]


class Ratio(NamedTuple):
    """A ratio of two coefficients with its limits; nan limits where the interval is open."""

    value: float
    low: float
    high: float


class Line(NamedTuple):
    """Velocity = start + slope · load: estimates, where it ends, share of variance on it."""

    start: Estimate
    slope: Estimate
    end: Ratio
    r2: float


def fit_line(load: Array, velocity: Array, level: float) -> Line:
    """Fit a line over single jumps.

    Parameters
    ----------
    load, velocity : array, shape (n_jumps,)
        At least two different loads and three jumps.
    level : float
        Level of the limits of the end.
    """
    fit = _polynomial(load, velocity, 1)
    start, slope = (contrast(fit, w, "classical") for w in np.eye(2))
    total = float(((velocity - velocity.mean()) ** 2).sum())
    r2 = 1.0 - float((fit.residuals**2).sum()) / total if not is_constant(velocity) else math.nan
    end = ratio_limits(fit, np.array([-1.0, 0.0]), np.array([0.0, 1.0]), level)
    return Line(start, slope, end, r2)


def fit_peak(load: Array, power: Array, level: float) -> tuple[Estimate, Ratio]:
    """Return the curvature of a parabola over single jumps, and the load at which it turns.

    Parameters
    ----------
    load, power : array, shape (n_jumps,)
        At least three different loads and four jumps.
    level : float
        Level of the limits.
    """
    fit = _polynomial(load, power, 2)
    curvature = contrast(fit, np.array([0.0, 0.0, 1.0]), "classical")
    turn = ratio_limits(fit, np.array([0.0, -1.0, 0.0]), np.array([0.0, 0.0, 2.0]), level)
    return curvature, turn


def parabola(load: Array, power: Array) -> Array:
    """Return the three coefficients of a parabola, constant first."""
    return np.asarray(_polynomial(load, power, 2).coefficients)


def _polynomial(load: Array, values: Array, degree: int) -> LeastSquares:
    return least_squares(values, np.vander(load, degree + 1, increasing=True))


def ratio_limits(fit: LeastSquares, top: Array, bottom: Array, level: float) -> Ratio:
    """Return a ratio of two combinations of coefficients with limits by Fieller's theorem.

    The limits are nan where the interval is open, i.e. where the bottom may be zero.
    """
    a, b = float(fit.coefficients @ top), float(fit.coefficients @ bottom)
    if b == 0.0:
        return Ratio(math.nan, math.nan, math.nan)
    (aa, ab), (_, bb) = contrast_covariance(fit, np.stack([top, bottom]), "classical")
    t2 = float(special.stdtrit(fit.df, 0.5 + level / 2.0)) ** 2
    square, middle, rest = b * b - t2 * bb, a * b - t2 * ab, a * a - t2 * aa
    inside = middle * middle - square * rest
    if square <= 0.0 or inside < 0.0:
        return Ratio(a / b, math.nan, math.nan)
    half = math.sqrt(inside)
    return Ratio(a / b, (middle - half) / square, (middle + half) / square)
