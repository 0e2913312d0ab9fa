"""Several tests, several contrasts: adjusted p values and intervals that hold together.

One metric is declared primary and needs no adjustment; all others are exploratory and are
adjusted as one family. Metrics that are the same quantity count once.

Sources: Holm 1979 (Scand J Stat 6:65); Benjamini & Hochberg 1995 (J R Stat Soc B 57:289);
Benjamini & Yekutieli 2005 (J Am Stat Assoc 100:71) for the intervals that go with it;
Hothorn, Bretz & Westfall 2008 (Biom J 50:346) for multivariate-t contrasts; from memory.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray
from scipy import special

from cmjlab import checks
from cmjlab.catalog.families import family_of
from cmjlab.stats.common.intervals import gauss_legendre

Array = NDArray[np.float64]

#: Points of the quasi-Monte Carlo integration; its error is about 1e-5.
_POINTS = 2**16
_SEED = 20_211


def adjust_p(p: Sequence[float] | Array, method: str = "holm") -> Array:
    """Return p values adjusted within one family; nan entries stay nan and do not count.

    Parameters
    ----------
    p : sequence of float
    method : {"holm", "bh", "bonferroni"}
    """
    checks.one_of("method", method, ("holm", "bh", "bonferroni"))
    values = np.asarray(p, dtype=np.float64)
    out = np.full(values.shape, np.nan)
    there = np.flatnonzero(np.isfinite(values))
    m = len(there)
    if m == 0:
        return out
    order = there[np.argsort(values[there], kind="stable")]
    ranked = values[order]
    if method == "holm":
        adjusted = np.maximum.accumulate(ranked * (m - np.arange(m)))
    elif method == "bh":
        steps = ranked * m / np.arange(1, m + 1)
        adjusted = np.minimum.accumulate(steps[::-1])[::-1]
    else:
        adjusted = ranked * m
    out[order] = np.minimum(adjusted, 1.0)
    return out


def fcr_level(p: Sequence[float] | Array, level: float) -> tuple[NDArray[np.bool_], float]:
    """Return which estimates BH keeps at 1 - level, and the level of their intervals.

    Intervals of the kept estimates at the returned level are wrong in at most 1 - level of
    the kept ones on average (false coverage rate).
    """
    alpha = 1.0 - level
    adjusted = adjust_p(p, "bh")
    kept = np.nan_to_num(adjusted, nan=2.0) <= alpha
    m = int(np.isfinite(np.asarray(p, dtype=np.float64)).sum())
    return kept, 1.0 - alpha * max(int(kept.sum()), 1) / max(m, 1)


def adjust_across_metrics(
    p: Mapping[str, float], primary: str = "", method: str = "holm"
) -> dict[str, float]:
    """Return adjusted p values of the exploratory metrics; same quantities count once.

    Parameters
    ----------
    p : mapping of metric to p
    primary : str
        The declared metric: its p is returned unadjusted.
    method : {"holm", "bh", "bonferroni"}
    """
    families: dict[str, float] = {}
    for metric, value in p.items():
        if metric != primary and np.isfinite(value):
            families.setdefault(family_of(metric), value)
    names = list(families)
    adjusted = dict(zip(names, adjust_p([families[n] for n in names], method), strict=True))
    out = {}
    for metric, value in p.items():
        alone = metric == primary or not np.isfinite(value)
        out[metric] = float(value) if alone else float(adjusted[family_of(metric)])
    return out


@lru_cache(maxsize=8)
def _normals(dimensions: int) -> Array:
    """Return the points of the integration as normal scores, shape (points, dimensions)."""
    from scipy.stats import qmc

    sobol = qmc.Sobol(d=dimensions, scramble=True, seed=_SEED)
    z = special.ndtri(np.clip(sobol.random(_POINTS), 1e-12, 1 - 1e-12))
    z.flags.writeable = False
    return np.asarray(z)


def _chi(df: float, z: Array) -> Array | float:
    """Return chi / √df at the first normal score of every point; its first tail is the upper one.

    The quantile is smooth in the normal score: a spline through 800 of them is off by 1e-9.
    """
    if not np.isfinite(df):
        return 1.0
    from scipy.interpolate import CubicSpline

    knots = np.linspace(-7.1, 7.1, 800)
    logs = 0.5 * np.log(special.chdtri(df, special.ndtr(knots)) / df)
    return np.asarray(np.exp(CubicSpline(knots, logs)(z[:, 0])))


class Simultaneous:
    """max |t| of several contrasts of one fit (multivariate t).

    Parameters
    ----------
    covariance : array, shape (k, k)
        Covariance of the contrasts (any scale).
    df : float
        Degrees of freedom; the smallest when contrasts have their own. Infinite: normal.
    """

    def __init__(self, covariance: Array, df: float) -> None:
        spread = np.sqrt(np.diag(covariance))
        correlation = covariance / np.outer(spread, spread)
        values, vectors = np.linalg.eigh(correlation)
        keep = values > 1e-10
        root = vectors[:, keep] * np.sqrt(values[keep])
        z = _normals(int(keep.sum()) + 1)
        drawn = z[:, 1:] @ root.T
        self._maximum = np.abs(drawn, out=drawn).max(axis=1) / _chi(df, z)

    def multiplier(self, level: float) -> float:
        """Return the multiplier of the standard errors for intervals that hold together."""
        return float(np.quantile(self._maximum, level))

    def p(self, t: float) -> float:
        """Return the adjusted two-sided p of one contrast."""
        return int(np.count_nonzero(self._maximum >= abs(t))) / len(self._maximum)


@lru_cache(maxsize=4096)
def studentized_range_tail(q: float, groups: int, df: float) -> float:
    """Return P(Q > q) of the studentised range, by Gauss-Legendre quadrature.

    Tukey-Kramer: q = |t| √2. Agrees with R's ptukey to 1e-8.
    """
    nodes, weights = gauss_legendre(128)
    z = 9.0 * nodes
    spread = 14.0 / np.sqrt(2.0 * df)
    low, high = max(1e-9, 1.0 - spread), 1.0 + spread
    s = low + (high - low) * (nodes + 1) / 2
    log_density = (
        0.5 * df * np.log(df)
        - special.gammaln(df / 2)
        - (df / 2 - 1) * np.log(2.0)
        + (df - 1) * np.log(s)
        - df * s**2 / 2
    )
    density = np.exp(log_density) * weights * (high - low) / 2
    inner = special.ndtr(z[None, :] + q * s[:, None]) - special.ndtr(z[None, :])
    normal = np.exp(-(z**2) / 2) / np.sqrt(2 * np.pi) * weights * 9.0
    below = groups * (inner ** (groups - 1)) @ normal
    return float(np.clip(1.0 - density @ below, 0.0, 1.0))


@lru_cache(maxsize=1024)
def studentized_range_quantile(level: float, groups: int, df: float) -> float:
    """Return the quantile of the studentised range (bisection)."""
    low, high = 0.0, 10.0
    while studentized_range_tail(high, groups, df) > 1 - level and high < 1e4:
        high *= 2
    for _ in range(60):
        middle = (low + high) / 2
        above = studentized_range_tail(middle, groups, df) > 1 - level
        low, high = (middle, high) if above else (low, middle)
    return (low + high) / 2
