"""Standardised effects with exact noncentral-t intervals.

A noncentral-t interval is exact for d_z and for the d of two independent groups. Hedges'
correction J is applied to the point only: multiplying the limits by J, as some programs do,
lets the interval cover as little as .89 in small groups.

Sources: Cumming 2012 and Lakens 2013 (definitions, from memory); Algina & Keselman 2003
(d_av); Morris 2008 (d_ppc2).
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray
from scipy import special

Array = NDArray[np.float64]

#: Beyond this |t| the noncentral distribution function loses its digits.
_HUGE_T = 500.0


def hedges_j(df: float | Array) -> Array:
    """Return Hedges' exact small-sample factor J(df).

    J = Γ(df/2) / (√(df/2) Γ((df - 1)/2)); df = 1 gives 0.
    """
    df = np.asarray(df, dtype=np.float64)
    log = special.gammaln(df / 2) - special.gammaln(np.maximum(df - 1, 1e-300) / 2)
    return np.where(df > 1, np.exp(log - 0.5 * np.log(df / 2)), 0.0)


def noncentrality_interval(
    t: float | Array, df: float | Array, level: float
) -> tuple[Array, Array]:
    """Return the limits of the noncentrality parameter given an observed t.

    Parameters
    ----------
    t : float or array
        Observed t statistic.
    df : float or array
        Its degrees of freedom.
    level : float
        Confidence level.

    Returns
    -------
    low, high : arrays of the broadcast shape
    """
    t = np.asarray(t, dtype=np.float64)
    df = np.asarray(df, dtype=np.float64)
    tail = (1 - level) / 2
    low, high = _solve(t, df, 1 - tail), _solve(t, df, tail)
    if (np.abs(t) <= _HUGE_T).all():
        return low, high
    # t = nc / s with s² = chi²/df to a relative error of 1/t: the limits scale with the chi.
    chi = [np.sqrt(special.chdtri(df, q) / df) for q in (1 - tail, tail)]
    ends = np.sort(np.stack([t * chi[0], t * chi[1]]), axis=0)
    huge = np.abs(t) > _HUGE_T
    return np.where(huge, ends[0], low), np.where(huge, ends[1], high)


def _solve(t: Array, df: Array, probability: float) -> Array:
    """Return nc with P(T <= t; df, nc) = probability, by bisection on a safe bracket."""
    centre = t * hedges_j(np.maximum(df, 1.5))
    width = 12.0 + 12.0 * np.abs(t) / np.sqrt(2.0 * df)
    low, high = centre - width, centre + width
    for _ in range(64):
        middle = (low + high) / 2
        cdf = special.nctdtr(df, middle, t)
        # far out in a tail the function can return nan, where the true value is 1 or 0
        above = np.where(np.isnan(cdf), middle < t, cdf > probability)
        low, high = np.where(above, middle, low), np.where(above, high, middle)
    return (low + high) / 2


def paired_d(change: Array) -> tuple[float, float, int]:
    """Return d_z = mean / SD of the changes, the t that belongs to it, and its df."""
    n = len(change)
    d = float(change.mean() / change.std(ddof=1))
    return d, d * float(np.sqrt(n)), n - 1


def average_sd(before: Array, after: Array) -> float:
    """Return √((s₁² + s₂²)/2), the standardiser of d_av."""
    return float(np.sqrt((before.var(ddof=1) + after.var(ddof=1)) / 2))


def pooled_sd(*groups: Array) -> tuple[float, int]:
    """Return the pooled standard deviation of several groups and its df."""
    df = sum(len(g) - 1 for g in groups)
    total = sum(float(((g - g.mean()) ** 2).sum()) for g in groups)
    return float(np.sqrt(total / df)), df


def approximate_j(df: float) -> float:
    """Return 1 - 3/(4 df - 1), the factor that Morris 2008 uses in d_ppc2."""
    return 1.0 - 3.0 / (4.0 * df - 1.0)
