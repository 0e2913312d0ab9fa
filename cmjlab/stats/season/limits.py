"""Limits for many looks at one athlete, when level and noise are estimated from few stable weeks.

A week's value less the athlete's level is d = e - η: the noise e of that week, and the error η of
the level, which all weeks share. With the noise of a session as unit, e has variance 1 and η has
variance 1 / b (b stable weeks). The noise itself is estimated with ν degrees of freedom. Limits
from handbooks take level and noise as known; with few stable weeks they break many times too often.

Here both are carried along. Given η and the estimated noise s, each chart is a Markov chain, so the
chance that it stays within its limits for a season is a chain of integrals (Gauss-Legendre
quadrature, as Crowder 1987 does for run lengths). That chance is then averaged over η (normal) and s
(chi over its degrees of freedom).
"""

from __future__ import annotations

import math
from collections.abc import Callable
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray
from scipy import special

Array = NDArray[np.float64]

#: Points of the quadrature: fewest values of a chart (more for a narrow kernel), values of a sum,
#: errors of the level, ratios of the noise (and many where they cost nothing).
_VALUES, _SUMS, _LEVELS, _NOISES, _MANY = 24, 24, 14, 18, 160
#: Points at which the chance to stay is computed, between which a polynomial runs; and SDs beyond
#: which a weighted mean of unchanged weeks never lies.
_FACTORS, _NEVER = 26, 6.0
#: Steps of the bisection for a limit; each halves an interval that is about 10 wide.
_STEPS = 24
_ROOT_2PI = math.sqrt(2.0 * math.pi)


def mean_sd(weight: float, looks: int, stable: float) -> Array:
    """Return the standard deviation of the weighted mean at each look, in units of the noise.

    Parameters
    ----------
    weight : float
        Weight of the newest week, above 0 and up to 1.
    looks : int
    stable : float
        Stable weeks behind the level; ``math.inf`` when the level is known.

    Returns
    -------
    array, shape (looks,)
        √(w/(2 - w) (1 - (1 - w)^2t) + (1 - (1 - w)^t)² / b), starting at 0 (Roberts 1959, with the
        error of the level added).
    """
    left = (1.0 - weight) ** np.arange(1, looks + 1)
    noise = weight / (2.0 - weight) * (1.0 - left**2)
    return np.sqrt(noise + (1.0 - left) ** 2 / stable)


def weighted_means(values: Array, weight: float) -> Array:
    """Return the exponentially weighted mean after each value, starting at 0.

    Parameters
    ----------
    values : array, shape (..., n_weeks)
    weight : float
        Weight of the newest week.
    """
    out = np.empty_like(values)
    last = np.zeros(values.shape[:-1])
    for t in range(values.shape[-1]):
        last = weight * values[..., t] + (1.0 - weight) * last
        out[..., t] = last
    return out


def running_sums(values: Array, slack: float) -> tuple[Array, Array]:
    """Return the sums of what lies above and below by more than a slack, never below 0.

    Parameters
    ----------
    values : array, shape (..., n_weeks)
        Differences in units of the noise.
    slack : float
        What each week may lie off before it counts (Page 1954).
    """
    above, below = np.empty_like(values), np.empty_like(values)
    up = down = np.zeros(values.shape[:-1])
    for t in range(values.shape[-1]):
        up = np.maximum(0.0, up + values[..., t] - slack)
        down = np.maximum(0.0, down - values[..., t] - slack)
        above[..., t], below[..., t] = up, down
    return above, below


# ---- chance of staying within limits ------------------------------------------------------


def mean_stays(weight: float, limits: Array, shift: Array) -> Array:
    """Return the chance that the weighted mean stays within ± limits, level and noise known.

    Parameters
    ----------
    weight : float
    limits : array, shape (looks,)
        Of each look, in units of the noise.
    shift : array, shape (m,)
        True distance from the level, in units of the noise.

    Returns
    -------
    array, shape (m,)
    """
    enough = math.ceil(_VALUES + 2.5 * float(np.max(limits)) / weight)
    nodes, weights = np.polynomial.legendre.leggauss(enough)
    at, mass = np.zeros(1), np.ones((len(shift), 1))
    for limit in limits:
        to = limit * nodes
        centre = weight * shift[:, None] + (1.0 - weight) * at
        z = (to[None, None, :] - centre[:, :, None]) / weight
        density = np.exp(-0.5 * z * z) / (_ROOT_2PI * weight)
        mass = np.einsum("ma,mab->mb", mass, density) * (limit * weights)
        at = to
    return np.asarray(mass.sum(axis=1))


def sum_stays(slack: Array, limit: Array, looks: int, shift: Array) -> Array:
    """Return the chance that the sum of what lies above stays below its limit, level known.

    Parameters
    ----------
    slack, limit, shift : arrays, shape (m,)
        In units of the noise.
    looks : int

    Returns
    -------
    array, shape (m,)

    Notes
    -----
    The sum has an atom at 0, which is carried by itself.
    """
    enough = math.ceil(_SUMS + 1.2 * float(np.max(limit)))
    nodes, weights = np.polynomial.legendre.leggauss(enough)
    at = limit[:, None] * (nodes + 1.0) / 2.0
    width = limit[:, None] * weights / 2.0
    step = slack - shift
    z = at[:, None, :] - at[:, :, None] + step[:, None, None]
    move = np.exp(-0.5 * z * z) / _ROOT_2PI * width[:, None, :]
    to_zero = special.ndtr(step[:, None] - at)
    from_zero = np.exp(-0.5 * (at + step[:, None]) ** 2) / _ROOT_2PI * width
    zero, mass = np.ones(len(step)), np.zeros_like(at)
    stay = special.ndtr(step)
    for _ in range(looks):
        zero, mass = (
            zero * stay + (mass * to_zero).sum(axis=1),
            zero[:, None] * from_zero + np.einsum("ma,mab->mb", mass, move),
        )
    return np.asarray(zero + mass.sum(axis=1))


# ---- averages over what is estimated ----------------------------------------------------------


def _level_errors(stable: float) -> tuple[Array, Array]:
    """Return errors of the level and their weights (Gauss-Hermite)."""
    if math.isinf(stable):
        return np.zeros(1), np.ones(1)
    nodes, weights = np.polynomial.hermite_e.hermegauss(_LEVELS)
    return nodes / math.sqrt(stable), weights / weights.sum()


def _noise_ratios(df: float, points: int) -> tuple[Array, Array]:
    """Return ratios of estimated to true noise and their weights: χ / √ν (Gauss-Legendre)."""
    if math.isinf(df):
        return np.ones(1), np.ones(1)
    nodes, weights = np.polynomial.legendre.leggauss(points)
    ends = (math.log(float(special.chdtri(df, p)) / df) / 2.0 for p in (1 - 1e-7, 1e-7))
    low, high = ends
    s = np.exp(low + (high - low) * (nodes + 1.0) / 2.0)  # even steps of the logarithm
    log_density = df * np.log(s) - df * s**2 / 2.0
    density = np.exp(log_density - log_density.max()) * weights
    return s, density / density.sum()


def _mean_chance(
    weight: float, looks: int, stable: float, df: float, widest: float
) -> Callable[[float], float]:
    """Return the chance of a false conclusion as a function of the factor, up to the widest.

    Noise and factor enter as one product only. The chance to stay is computed at some
    products (the points of Chebyshev) and read between them from the polynomial through all.
    """
    errors, error_weights = _level_errors(stable)
    ratios, ratio_weights = _noise_ratios(df, _MANY)
    half = errors >= -1e-12  # limits are the same on both sides, and so are errors
    errors = errors[half]
    error_weights = np.where(errors > 1e-12, 2.0, 1.0) * error_weights[half]
    sd = mean_sd(weight, looks, stable)
    top = min(widest * float(ratios.max()), _NEVER)
    points = np.polynomial.chebyshev.chebpts1(_FACTORS)
    stays = [
        float(error_weights @ mean_stays(weight, f * sd, errors)) for f in top * (points + 1.0) / 2
    ]
    through = np.polynomial.chebyshev.Chebyshev.fit(points, stays, _FACTORS - 1, domain=[-1.0, 1.0])

    def chance(factor: float) -> float:
        inside = np.minimum(2.0 * factor * ratios / top - 1.0, 1.0)
        return 1.0 - float(ratio_weights @ through(inside))

    return chance


def mean_false(factor: float, weight: float, looks: int, stable: float, df: float) -> float:
    """Return the chance that the weighted mean of an unchanged athlete leaves ± factor × its SD."""
    return _mean_chance(weight, looks, stable, df, factor)(factor)


def sum_false(limit: float, slack: float, looks: int, stable: float, df: float) -> float:
    """Return the chance that one of both sums of an unchanged athlete passes its limit.

    The two sides are added, which counts a season that passes both twice: too much by less than
    a quarter of the chance squared.
    """
    errors, error_weights = _level_errors(stable)
    ratios, ratio_weights = _noise_ratios(df, _NOISES)
    r, e = (x.ravel() for x in np.meshgrid(ratios, errors, indexing="ij"))
    both = (ratio_weights[:, None] * error_weights[None, :]).ravel()
    return 2.0 * (1.0 - float(both @ sum_stays(slack * r, limit * r, looks, e)))


# ---- limits --------------------------------------------------------------------------------


@lru_cache(maxsize=256)
def mean_factor(false: float, weight: float, looks: int, stable: float, df: float) -> float:
    """Return how many SDs the weighted mean may lie off for a stated chance of a false conclusion.

    Parameters
    ----------
    false : float
        Chance over the whole season, both sides.
    weight : float
        Weight of the newest week.
    looks : int
        Weeks of the season.
    stable : float
        Stable weeks behind the level, ``math.inf`` when it is known.
    df : float
        Degrees of freedom of the noise, ``math.inf`` when it is known.
    """
    widest = _widest(false, looks, df)
    return _solve(_mean_chance(weight, looks, stable, df, widest), false, widest)


@lru_cache(maxsize=256)
def sum_limit(false: float, slack: float, looks: int, stable: float, df: float) -> float:
    """Return the limit of the sums for a stated chance of a false signal in a season."""

    def chance(limit: float) -> float:
        return sum_false(limit, slack, looks, stable, df)

    high = 8.0
    while chance(high) > false:
        high *= 2.0
    return _solve(chance, false, high)


def _widest(false: float, looks: int, df: float) -> float:
    """Return a factor that is certainly wide enough: each look by itself (Bonferroni)."""
    p = 1.0 - false / (2.0 * looks)
    return float(special.ndtri(p) if math.isinf(df) else special.stdtrit(df, p)) + 0.01


def _solve(chance: Callable[[float], float], wanted: float, high: float) -> float:
    """Return where a falling chance equals the wanted one, by bisection."""
    low = 0.0
    for _ in range(_STEPS):
        middle = (low + high) / 2.0
        low, high = (middle, high) if chance(middle) > wanted else (low, middle)
    return (low + high) / 2.0
