"""Intraclass correlations and their published intervals, from mean squares.

Names of McGraw & Wong (1996), Psychol Methods 1:30, with the correction printed at 1:390 (the
correction cited from memory); the same numbers stand in Shrout & Fleiss (1979), Psychol Bull 86:420.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from cmjlab.stats.common.intervals import f_quantile, f_tail, spearman_brown
from cmjlab.stats.common.mean_squares import Array, MeanSquares, ratio

#: Form -> its names in McGraw & Wong (1996) and in Shrout & Fleiss (1979).
FORMS = {
    "icc_1": ("ICC(1)", "ICC(1,1)"),
    "icc_a1": ("ICC(A,1)", "ICC(2,1)"),
    "icc_c1": ("ICC(C,1)", "ICC(3,1)"),
    "icc_1k": ("ICC(k)", "ICC(1,k)"),
    "icc_ak": ("ICC(A,k)", "ICC(2,k)"),
    "icc_ck": ("ICC(C,k)", "ICC(3,k)"),
}


@dataclass(frozen=True)
class Icc:
    """Estimate, limits and the F test of "athletes do not differ" (not of a session change)."""

    estimate: Array
    low: Array
    high: Array
    f: Array
    df1: Array
    df2: Array
    p: Array

    def of_mean(self, k: int) -> Icc:
        """Return the same for the mean of ``k`` sessions (Spearman–Brown of every number)."""
        estimate, low, high = (spearman_brown(x, k) for x in (self.estimate, self.low, self.high))
        return Icc(estimate, low, high, self.f, self.df1, self.df2, self.p)


def of_ratio(f: Array, df1: Array, df2: Array, k: int, level: float) -> Icc:
    """Return the ICC of an F ratio, (F - 1) / (F + k - 1), with exact F limits."""
    upper = 0.5 + level / 2
    low_f = ratio(f, f_quantile(upper, df1, df2))
    high_f = f * f_quantile(upper, df2, df1)

    def icc(x: Array) -> Array:
        # An infinite F (no noise at all) is an ICC of exactly 1.
        return np.where(np.isposinf(x), 1.0, ratio(x - 1, np.where(np.isposinf(x), 1, x) + k - 1))

    return Icc(icc(f), icc(low_f), icc(high_f), f, df1, df2, f_tail(f, df1, df2))


def one_way(ms: MeanSquares, level: float) -> Icc:
    """Return ICC(1) with its exact F interval; right only without a session change."""
    return of_ratio(ratio(ms.msr, ms.msw), ms.df_r, ms.df_w, ms.k, level)


def consistency(ms: MeanSquares, level: float) -> Icc:
    """Return ICC(C,1) with its exact F interval."""
    return of_ratio(ratio(ms.msr, ms.mse), ms.df_r, ms.df_e, ms.k, level)


def agreement_point(ms: MeanSquares) -> Array:
    """Return ICC(A,1) = (MSR - MSE) / (MSR + (k-1) MSE + k (MSC - MSE) / n)."""
    below = ms.msr + (ms.k - 1) * ms.mse + ms.k * (ms.msc - ms.mse) / ms.n
    return ratio(ms.msr - ms.mse, below)


def agreement(ms: MeanSquares, level: float) -> Icc:
    """Return ICC(A,1) with the published Satterthwaite interval.

    Notes
    -----
    The interval is that of Shrout & Fleiss (1979) and McGraw & Wong (1996). It covers too little
    when sessions differ, and worse with more athletes; ``pivotal`` holds ours.
    """
    n, k = ms.n, ms.k
    icc = agreement_point(ms)
    upper = 0.5 + level / 2
    with np.errstate(invalid="ignore", divide="ignore"):
        a = ratio(k * icc, n * (1 - icc))
        b = 1 + ratio(k * icc * (n - 1), n * (1 - icc))
        squares = ratio((a * ms.msc) ** 2, ms.df_c) + ratio((b * ms.mse) ** 2, ms.df_e)
        df = ratio((a * ms.msc + b * ms.mse) ** 2, squares)
    f_low = f_quantile(upper, ms.df_r, df)
    f_high = f_quantile(upper, df, ms.df_r)
    rest = k * ms.msc + (k * n - k - n) * ms.mse
    low = ratio(n * (ms.msr - f_low * ms.mse), f_low * rest + n * ms.msr)
    high = ratio(n * (f_high * ms.msr - ms.mse), rest + n * f_high * ms.msr)
    f = ratio(ms.msr, ms.mse)
    # With no noise and no session change nothing is left to estimate: exactly 1.
    perfect = (ms.mse == 0) & (ms.msc == 0) & (ms.msr > 0)
    low, high = np.where(perfect, 1.0, low), np.where(perfect, 1.0, high)
    return Icc(icc, low, high, f, ms.df_r, ms.df_e, f_tail(f, ms.df_r, ms.df_e))
