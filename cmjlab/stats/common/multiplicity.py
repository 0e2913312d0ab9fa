"""Several tests, several contrasts: adjusted p values and intervals that hold together.

One metric is declared primary and needs no adjustment; all others are exploratory and are
adjusted as one family. Metrics that are the same quantity count once.

Sources: Holm 1979 (Scand J Stat 6:65); Benjamini & Hochberg 1995 (J R Stat Soc B 57:289);
Benjamini & Yekutieli 2005 (J Am Stat Assoc 100:71) for the intervals that go with it;
Hothorn, Bretz & Westfall 2008 (Biom J 50:346) for multivariate-t contrasts; from memory.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import numpy as np
from numpy.typing import NDArray
from scipy import special

from cmjlab import checks
from cmjlab.catalog import METRICS

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


def family_of(metric: str) -> str:
    """Return the metric that stands for all metrics holding the same information."""
    return (METRICS[metric].same_as if metric in METRICS else "") or metric


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


class Simultaneous:
    """max |t| of several contrasts of one fit (multivariate t).

    Parameters
    ----------
    covariance : array, shape (k, k)
        Covariance of the contrasts (any scale).
    df : float
        Degrees of freedom; the smallest when contrasts have their own.
    """

    def __init__(self, covariance: Array, df: float) -> None:
        from scipy.stats import qmc

        spread = np.sqrt(np.diag(covariance))
        correlation = covariance / np.outer(spread, spread)
        values, vectors = np.linalg.eigh(correlation)
        keep = values > 1e-10
        root = vectors[:, keep] * np.sqrt(values[keep])
        sobol = qmc.Sobol(d=int(keep.sum()) + 1, scramble=True, seed=_SEED)
        u = np.clip(sobol.random(_POINTS), 1e-12, 1 - 1e-12)
        z = special.ndtri(u[:, 1:]) @ root.T
        scale = np.sqrt(special.chdtri(df, u[:, 0]) / df)
        self._maximum = np.sort(np.abs(z).max(axis=1) / scale)

    def multiplier(self, level: float) -> float:
        """Return the multiplier of the standard errors for intervals that hold together."""
        return float(np.quantile(self._maximum, level))

    def p(self, t: float) -> float:
        """Return the adjusted two-sided p of one contrast."""
        below = int(np.searchsorted(self._maximum, abs(t), side="left"))
        return (len(self._maximum) - below) / len(self._maximum)


def studentized_range_tail(q: float, groups: int, df: float) -> float:
    """Return P(Q > q) of the studentised range, by Gauss-Legendre quadrature.

    Tukey-Kramer: q = |t| √2. Agrees with R's ptukey to 1e-8.
    """
    nodes, weights = np.polynomial.legendre.leggauss(128)
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
