"""Interval kernels that every statistic shares: t, chi-square, F, noncentral t, and sums of variances.

All functions are elementwise on arrays (numpy broadcasting), return nan where an interval
does not exist (never a warning), and take ``level`` = 0.95 for 95 %.
"""

from __future__ import annotations

from collections.abc import Sequence
from functools import lru_cache

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy import special

from cmjlab.stats.common.mean_squares import ratio

Array = NDArray[np.float64]


@lru_cache(maxsize=64)
def gauss_legendre(count: int) -> tuple[Array, Array]:
    """Return nodes and weights of Gauss-Legendre quadrature on (-1, 1), shape (count,) each."""
    nodes, weights = np.polynomial.legendre.leggauss(count)
    nodes.flags.writeable = weights.flags.writeable = False
    return nodes, weights


def _float(value: ArrayLike) -> Array:
    return np.asarray(value, dtype=np.float64)


def _valid_df(df: ArrayLike) -> Array:
    """Return df with values that are not positive replaced by nan."""
    array = _float(df)
    return np.where(array > 0, array, np.nan)


def t_quantile(p: ArrayLike, df: ArrayLike) -> Array:
    """Return the quantile of Student's t."""
    return _float(special.stdtrit(_valid_df(df), _float(p)))


def chi2_quantile(p: ArrayLike, df: ArrayLike) -> Array:
    """Return the quantile of chi-square, accurate in both tails."""
    p, half = np.broadcast_arrays(_float(p), _valid_df(df) / 2)
    low = special.gammaincinv(half, np.minimum(p, 0.5))
    high = special.gammainccinv(half, np.minimum(1 - p, 0.5))
    return 2 * np.where(p <= 0.5, low, high)


def f_quantile(p: ArrayLike, df1: ArrayLike, df2: ArrayLike) -> Array:
    """Return the quantile of F."""
    return _float(special.fdtri(_valid_df(df1), _valid_df(df2), _float(p)))


def t_tail(t: ArrayLike, df: ArrayLike) -> Array:
    """Return the two-sided p value of a t."""
    return _float(2 * special.stdtr(_valid_df(df), -np.abs(_float(t))))


def f_tail(f: ArrayLike, df1: ArrayLike, df2: ArrayLike) -> Array:
    """Return the p value of an F (upper tail)."""
    return _float(special.fdtrc(_valid_df(df1), _valid_df(df2), _float(f)))


def mean_limits(
    estimate: ArrayLike, se: ArrayLike, df: ArrayLike, level: float
) -> tuple[Array, Array]:
    """Return t limits: estimate ± t · se."""
    half = t_quantile(0.5 + level / 2, df) * _float(se)
    return _float(estimate) - half, _float(estimate) + half


def sd_limits(sd: ArrayLike, df: ArrayLike, level: float) -> tuple[Array, Array]:
    """Return chi-square limits of a standard deviation with ``df`` degrees of freedom.

    Source: e.g. Bland (2015), An Introduction to Medical Statistics (from memory); exact for
    normal values.
    """
    sd, df = _float(sd), _valid_df(df)
    low = sd * np.sqrt(df / chi2_quantile(0.5 + level / 2, df))
    high = sd * np.sqrt(df / chi2_quantile(0.5 - level / 2, df))
    return low, high


def noncentral_t_quantile(p: ArrayLike, df: ArrayLike, noncentrality: ArrayLike) -> Array:
    """Return the quantile of the noncentral t."""
    return _float(special.nctdtrit(_valid_df(df), _float(noncentrality), _float(p)))


@lru_cache(maxsize=4096)
def _one_sided_factor(n: float, df: float, z: float, q: float) -> float:
    """Return the one-sided tolerance factor of a normal sample; nan where there is none."""
    if not n > 0:
        return float("nan")
    return float(noncentral_t_quantile(q, df, z * n**0.5)) / n**0.5


def limit_limits(
    mean: ArrayLike, sd: ArrayLike, n: ArrayLike, df: ArrayLike, z: float, level: float
) -> tuple[Array, Array]:
    """Return the exact interval of one limit ``mean + z · sd`` of a normal population.

    Parameters
    ----------
    mean, sd, n, df : array_like
        Mean of ``n`` independent normal values and their SD with ``df`` degrees of freedom.
    z : float
        Multiple of the SD: +1.96 for the upper 95 % limit of agreement, -1.96 for the lower.

    Notes
    -----
    One-sided tolerance factors by the noncentral t (Carkeet 2015, Optom Vis Sci 92:e71, "each
    limit alone").
    """
    # The quantile is slow and depends on n and df alone: once per distinct pair.
    both = np.stack(np.broadcast_arrays(_float(n), _valid_df(df)))
    pairs, place = np.unique(both.reshape(2, -1), axis=1, return_inverse=True)
    factors = [
        np.array([_one_sided_factor(n, df, abs(z), q) for n, df in pairs.T.tolist()])
        for q in (0.5 - level / 2, 0.5 + level / 2)
    ]
    small, large = (f[place.ravel()].reshape(both.shape[1:]) for f in factors)
    low, high = (small, large) if z >= 0 else (-large, -small)
    return _float(mean) + low * _float(sd), _float(mean) + high * _float(sd)


def mls_limits(
    weights: Sequence[ArrayLike],
    mean_squares: Sequence[ArrayLike],
    dfs: Sequence[ArrayLike],
    level: float,
) -> tuple[Array, Array]:
    """Return modified-large-sample limits of a weighted sum of mean squares (weights of any sign).

    Parameters
    ----------
    weights : sequence of array_like
        Coefficients of the mean squares; negative ones are allowed.
    mean_squares, dfs : sequences of array_like
        Independent mean squares (each E(MS) · chi-square / df) and their degrees of freedom.

    Notes
    -----
    Positive weights only: Graybill & Wang (1980). Mixed signs: Ting, Burdick, Graybill,
    Jeyaratnam & Lu (1990), J Stat Comput Simul 35:135, with their cross terms between a positive
    and a negative part (formulas from Burdick & Graybill 1992, from memory; calibrated in the tests).
    """
    tail = 0.5 - level / 2
    c = [_float(w) for w in weights]
    ms = [_float(m) for m in mean_squares]
    v = [_valid_df(d) for d in dfs]
    estimate = sum((w * m for w, m in zip(c, ms, strict=True)), np.zeros(()))
    g = [1 - 1 / (chi2_quantile(1 - tail, d) / d) for d in v]
    h = [1 / (chi2_quantile(tail, d) / d) - 1 for d in v]
    low = high = np.zeros(())
    for i, w in enumerate(c):
        low = low + (np.where(w >= 0, g[i], h[i]) * w * ms[i]) ** 2
        high = high + (np.where(w >= 0, h[i], g[i]) * w * ms[i]) ** 2
    for i, wi in enumerate(c):
        for j, wj in enumerate(c):
            if i == j or not np.any((wi > 0) & (wj < 0)):
                continue
            cross = np.where((wi > 0) & (wj < 0), -wi * wj * ms[i] * ms[j], 0.0)
            fl, fu = f_quantile(1 - tail, v[i], v[j]), f_quantile(tail, v[i], v[j])
            low = low + cross * ((fl - 1) ** 2 - (g[i] * fl) ** 2 - h[j] ** 2) / fl
            high = high + cross * ((1 - fu) ** 2 - (h[i] * fu) ** 2 - g[j] ** 2) / fu
    return estimate - np.sqrt(np.maximum(low, 0.0)), estimate + np.sqrt(np.maximum(high, 0.0))


def spearman_brown(icc: ArrayLike, k: ArrayLike) -> Array:
    """Return the reliability of a mean of ``k`` measurements from that of a single one."""
    icc, k = _float(icc), _float(k)
    return ratio(k * icc, 1 + (k - 1) * icc)
