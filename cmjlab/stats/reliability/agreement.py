"""Limits of agreement: how far two measurements of one athlete may lie apart.

Between two sessions the limits are bias ± 1.96 √2 · typical error: the same information as the
typical error, in the form that Bland & Altman made known. Between two methods (two plates, two
height formulas) they are the main result. Arrays only.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.typing import ArrayLike
from scipy import special

from cmjlab.errors import StatsError
from cmjlab.stats.common.intervals import (
    chi2_quantile,
    gauss_legendre,
    limit_limits,
    mean_limits,
    mls_limits,
)
from cmjlab.stats.common.mean_squares import Array

#: Multiple of the SD. Bland & Altman (1986) computed with 2, (1999) with 1.96.
Z = 1.96


@dataclass(frozen=True)
class Limits:
    """Bias and limits of agreement with their intervals (scalars or arrays of one shape).

    Attributes
    ----------
    n : array
        Pairs (or athletes).
    bias, bias_low, bias_high : array
        Mean difference and its t interval.
    sd : array
        SD of the differences.
    lower, lower_low, lower_high, upper, upper_low, upper_high : array
        Limits bias ∓ z · sd, each with its own interval.
    """

    n: Array
    bias: Array
    bias_low: Array
    bias_high: Array
    sd: Array
    lower: Array
    lower_low: Array
    lower_high: Array
    upper: Array
    upper_low: Array
    upper_high: Array


def difference_moments(differences: Array) -> tuple[Array, Array, Array]:
    """Return n, mean and SD of differences along the last axis; nan values are left out."""
    there = np.isfinite(differences)
    n = there.sum(axis=-1).astype(np.float64)
    mean = np.where(there, differences, 0.0).sum(axis=-1) / np.maximum(n, 1)
    squares = np.sum(np.where(there, differences - mean[..., None], 0.0) ** 2, axis=-1)
    mean = np.where(n > 0, mean, np.nan)
    return n, mean, np.where(n > 1, np.sqrt(squares / np.maximum(n - 1, 1)), np.nan)


def limits_of_agreement(
    differences: ArrayLike, *, z: float = Z, level: float = 0.95, pair: bool = False
) -> Limits:
    """Return limits of agreement from differences of independent pairs.

    Parameters
    ----------
    differences : array_like, shape (..., n)
        One difference per athlete; nan is left out.
    z : float
        Multiple of the SD.
    level : float
        Level of the intervals.
    pair : bool
        False: exact interval of each limit alone. True: of the two limits together (Carkeet
        2015 recommends the pair where both limits are used).

    Notes
    -----
    Bland & Altman (1986), Lancet i:307; exact intervals: Carkeet (2015), Optom Vis Sci 92:e71.
    """
    n, mean, sd = difference_moments(np.asarray(differences, dtype=np.float64))
    low, high = mean_limits(mean, sd / np.sqrt(np.maximum(n, 1)), n - 1, level)
    if pair:
        inner, outer = pair_factors(n, z, level)
        below = (mean - outer * sd, mean - inner * sd)
        above = (mean + inner * sd, mean + outer * sd)
    else:
        below = limit_limits(mean, sd, n, n - 1, -z, level)
        above = limit_limits(mean, sd, n, n - 1, z, level)
    return Limits(n, mean, low, high, sd, mean - z * sd, *below, mean + z * sd, *above)


def approximate_limit_se(sd: ArrayLike, n: ArrayLike, *, z: float | None = None) -> Array:
    """Return the standard error of a limit as the papers give it, to compare with them.

    ``z=None``: √(3 sd²/n) of Bland & Altman (1986); else sd √(1/n + z²/(2(n-1))) of (1999).
    """
    sd, n = np.asarray(sd, float), np.asarray(n, float)
    if z is None:
        return np.asarray(np.sqrt(3 * sd**2 / n))
    return np.asarray(sd * np.sqrt(1 / n + z**2 / (2 * (n - 1))))


def pair_factors(n: Array, z: float, level: float) -> tuple[Array, Array]:
    """Return the inner and outer factors of the pair of limits, per n.

    The limits mean ± factor · sd hold at least the central share of ``z`` (1.96: 95 %) of the
    population with probability (1 - level)/2 and (1 + level)/2.
    """
    n = np.asarray(n, dtype=np.float64)
    content = float(2 * special.ndtr(z) - 1)
    inner, outer = np.full(n.shape, np.nan), np.full(n.shape, np.nan)
    for one in np.unique(n[n >= 2]):
        low = tolerance_factor(int(one), content, 0.5 - level / 2)
        high = tolerance_factor(int(one), content, 0.5 + level / 2)
        inner, outer = np.where(n == one, low, inner), np.where(n == one, high, outer)
    return inner, outer


@lru_cache(maxsize=4096)
def tolerance_factor(n: int, content: float, confidence: float) -> float:
    """Return the exact two-sided tolerance factor of a normal sample of ``n``.

    Parameters
    ----------
    n : int
        Values, at least 2; the SD has n - 1 degrees of freedom.
    content : float
        Share of the population to hold.
    confidence : float
        Probability of holding it.

    Notes
    -----
    Odeh & Owen's integral (Eberhardt, Mee & Reeve 1989, Commun Stat Simul 18:397, from memory),
    by Gauss–Legendre quadrature over the error of the mean.
    """
    nodes, weights = gauss_legendre(96)
    x = 4.25 * (nodes + 1)
    weight = 4.25 * weights * 2 * np.exp(-0.5 * x * x) / np.sqrt(2 * np.pi)
    shift = x / np.sqrt(n)
    low, high = np.zeros_like(x), shift + 12.0
    for _ in range(60):
        r = 0.5 * (low + high)
        short = special.ndtr(shift + r) - special.ndtr(shift - r) < content
        low, high = np.where(short, r, low), np.where(short, high, r)
    df = n - 1.0
    small, large = 0.0, float(50 * r.max() / np.sqrt(chi2_quantile(1e-4, df) / df))
    for _ in range(80):
        k = 0.5 * (small + large)
        held = np.sum(weight * special.gammaincc(df / 2, 0.5 * df * (r / k) ** 2))
        small, large = (k, large) if held < confidence else (small, k)
    return 0.5 * (small + large)


def limits_from_replicates(
    first: Sequence[ArrayLike], second: Sequence[ArrayLike], *, z: float = Z, level: float = 0.95
) -> Limits:
    """Return limits for single measurements when each athlete was measured several times.

    The athlete's true value is taken as constant; numbers of replicates may differ.

    Parameters
    ----------
    first, second : sequences of array_like
        Per athlete, all values by the first and by the second method.
    z, level : float
        Multiple of the SD; level of the intervals.

    Notes
    -----
    Variance of the athletes' mean differences + (1 - mean 1/m) · within-athlete variance of each
    method: Bland & Altman (1999), Stat Methods Med Res 8:135, sections 5.1 and 5.2. Interval of the
    SD: modified large sample (Graybill & Wang 1980); of a limit: the same, added in squares to
    that of the bias (MOVER; Zou 2013, from memory).

    Raises
    ------
    StatsError
        Fewer than two athletes, or no athlete with two values by a method.
    """
    a = [np.asarray(v, float) for v in first]
    b = [np.asarray(v, float) for v in second]
    if len(a) != len(b) or len(a) < 2:
        raise StatsError(
            f"limits from replicates need the same athletes in both, at least 2; found {len(a)} and {len(b)}."
        )
    n = len(a)
    means = np.array([x.mean() - y.mean() for x, y in zip(a, b, strict=True)])
    weights, squares, dfs = [1.0], [float(means.var(ddof=1))], [n - 1.0]
    for values, name in ((a, "first"), (b, "second")):
        df = sum(v.size - 1 for v in values)
        if df == 0:
            raise StatsError(f"the {name} method has no athlete with two values or more.")
        weights.append(1 - float(np.mean([1 / v.size for v in values])))
        squares.append(float(sum(((v - v.mean()) ** 2).sum() for v in values)) / df)
        dfs.append(float(df))
    variance = sum(w * s for w, s in zip(weights, squares, strict=True))
    low, high = mls_limits(weights, squares, dfs, level)
    bias = float(means.mean())
    return _mover(bias, np.sqrt(squares[0] / n), n, variance, (low, high), z, level)


def limits_from_changing_truth(
    differences: Sequence[ArrayLike], *, z: float = Z, level: float = 0.95
) -> Limits:
    """Return limits from several simultaneous pairs per athlete whose true value may move.

    Parameters
    ----------
    differences : sequence of array_like
        Per athlete, the differences of all pairs.
    z, level : float
        Multiple of the SD; level of the intervals.

    Raises
    ------
    StatsError
        Fewer than two athletes, or no athlete with two pairs.

    Notes
    -----
    One-way components of the differences: Bland & Altman (1999), section 5.3; (2007) J Biopharm
    Stat 17:571 (the latter from memory).
    """
    d = [np.asarray(v, float) for v in differences]
    m = np.array([v.size for v in d], float)
    total, groups = m.sum(), len(d)
    if groups < 2 or total == groups:
        raise StatsError("limits need two athletes or more, and two pairs of at least one athlete.")
    everything = np.concatenate(d)
    own = np.array([v.mean() for v in d])
    between = float(np.sum(m * (own - everything.mean()) ** 2)) / (groups - 1)
    within = float(sum(((v - v.mean()) ** 2).sum() for v in d)) / (total - groups)
    divisor = (total**2 - np.sum(m**2)) / ((groups - 1) * total)
    weights = [1 / divisor, 1 - 1 / divisor]
    variance = weights[0] * between + weights[1] * within
    dfs = [groups - 1.0, total - groups]
    limits = mls_limits(weights, [between, within], dfs, level)
    se = np.sqrt(between / total)
    return _mover(float(everything.mean()), se, groups, variance, limits, z, level)


def _mover(
    bias: float,
    se: float,
    n: int,
    variance: float,
    limits: tuple[Array, Array],
    z: float,
    level: float,
) -> Limits:
    sd = np.sqrt(variance)
    low, high = (np.sqrt(np.maximum(x, 0.0)) for x in limits)
    bias_low, bias_high = mean_limits(bias, se, n - 1.0, level)
    down = np.hypot(bias - bias_low, z * (sd - low))
    up = np.hypot(bias - bias_low, z * (high - sd))
    lower, upper = bias - z * sd, bias + z * sd
    parts = (n, bias, bias_low, bias_high, sd, lower, lower - up, lower + down)
    return Limits(*(np.asarray(x, float) for x in (*parts, upper, upper - down, upper + up)))
