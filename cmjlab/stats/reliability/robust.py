"""Noise that is not normal or not equal: how to see it, and an interval that bears it.

The chi-square interval of a typical error takes normal noise that is the same for every
athlete. Heavy tails or athletes with noise of their own make it too narrow, and more athletes
do not help. Bonett's interval needs neither.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy import special

from cmjlab.results import Reason
from cmjlab.stats.common.intervals import f_tail
from cmjlab.stats.common.mean_squares import Array, ratio
from cmjlab.stats.common.rows import Place
from cmjlab.stats.reliability.missing import IntraBlock
from cmjlab.stats.reliability.reasons import NOISE_ZERO, Why, reasons_where

#: Athletes from which Bonett's interval can be had.
_FEWEST = 4


@dataclass(frozen=True)
class Shares:
    """How much of the noise comes from each athlete.

    Attributes
    ----------
    squares, df : arrays, shape (..., n)
        Sum of squared residuals of each athlete, and its number of values less one.
    without : array, shape (..., n)
        Typical error without this athlete (approximate: session effects kept).
    f, rest_df : arrays, shape (..., n)
        This athlete's noise over that of the others, and the others' degrees of freedom.
    athletes : array, shape (...)
        Athletes with two or more values.
    """

    squares: Array
    df: Array
    without: Array
    f: Array
    rest_df: Array
    athletes: Array

    @cached_property
    def p(self) -> Array:
        """Chance that this athlete's noise is as large, times the number of athletes (Bonferroni).

        nan where it cannot be judged; shape (..., n).
        """
        return _chance(self.f, self.df, self.rest_df, self.athletes[..., None])

    def stands_out(self, limit: float) -> NDArray[np.bool_]:
        """Return where ``p`` lies below a limit, for arrays of shape (n_metrics, n).

        Athletes with equally many values stand in the order of ``f``: only where the largest of
        them stands out are the others looked at.
        """
        out = np.zeros(self.f.shape, dtype=bool)
        everybody = (self.df + self.rest_df).max(axis=-1, initial=0.0)
        for df in np.unique(self.df[self.df > 0]):
            alike = (self.df == df) & ~np.isnan(self.f)
            largest = np.where(alike, self.f, -1.0).max(axis=-1, initial=-1.0)
            p = _chance(np.maximum(largest, 0.0), df, everybody - df, self.athletes)
            for i in np.flatnonzero((largest >= 0) & (p < limit)):
                own = _chance(self.f[i], self.df[i], self.rest_df[i], self.athletes[i])
                out[i] |= alike[i] & (own < limit)
        return out


def _chance(f: Array, df: ArrayLike, rest_df: Array, athletes: Array) -> Array:
    """Return the chance that some of these athletes reach ``f``, by Bonferroni."""
    return np.asarray(np.minimum(f_tail(f, df, rest_df) * athletes, 1.0))


def shares(values: Array, block: IntraBlock) -> Shares:
    """Return every athlete's part in the noise; values of shape (..., n, k)."""
    there = np.isfinite(values)
    count = there.sum(axis=-1).astype(np.float64)
    x = np.where(there, values - np.nan_to_num(block.effects)[..., None, :], 0.0)
    own = x.sum(axis=-1) / np.maximum(count, 1)
    squares = np.sum(np.where(there, x - own[..., None], 0.0) ** 2, axis=-1)
    df = np.where(count >= 2, count - 1, 0.0)
    # Residuals of an athlete lose a share (n-1)/n of their expectation to the session effects.
    kept = (1 - 1 / np.maximum(block.n, 2))[..., None]
    total = (block.mse * block.df)[..., None]
    rest_df = block.df[..., None] - df
    rest = np.where(rest_df > 0, np.maximum(total - squares / kept, 0.0), np.nan)
    f = ratio(ratio(squares, kept * df), ratio(rest, rest_df))
    without = np.where(df > 0, np.sqrt(ratio(rest, rest_df)), np.nan)
    return Shares(squares, df, without, f, rest_df, block.n)


def bonett(part: Shares, block: IntraBlock, level: float) -> tuple[Array, Array]:
    """Return limits of the typical error that bear heavy tails and unequal noise.

    Notes
    -----
    Bonett (2006), Comput Stat Data Anal 50:775: c · log variance with an estimated kurtosis. His
    formula is for one sample (two sessions: the differences). For more sessions the athlete
    stays the unit: the variance of the athletes' mean squares takes the place of kurtosis - 1.
    Formula from memory; coverage in the calibration table.
    """
    n = np.where((block.n >= _FEWEST) & (block.mse > 0), block.n, np.nan)
    z = float(special.ndtri(0.5 + level / 2))
    weight = np.where(part.df > 0, 1.0, 0.0)
    each = ratio(part.squares, np.maximum(part.df, 1)) * weight
    mean = ratio(each.sum(axis=-1), n)
    # For two sessions this is kurtosis - 1: n Σ d⁴ / (Σ d²)² - 1.
    relative = ratio(np.sum(weight * (each - mean[..., None]) ** 2, axis=-1), n * mean**2)
    c = ratio(n, n - z)
    steps = ratio(block.df, n - 1)
    se = c * np.sqrt(ratio(np.maximum(relative + 3 / n / steps, 0.0), n - 1))
    usable = np.isfinite(n)
    centre = np.log(np.where(usable, c * block.mse, 1.0))
    low, high = (np.where(usable, np.exp(0.5 * (centre + s * z * se)), np.nan) for s in (-1, 1))
    return low, high


def robust_row(place: Place, values: Array, block: IntraBlock, void: Why) -> Shares:
    """Add the typical error with Bonett's interval, and return the athletes' shares."""
    part = shares(values, block)
    place.add(
        "typical_error_robust",
        np.sqrt(block.mse),
        limits=bonett(part, block, place.level),
        df=block.df,
        n=block.n,
        void=void,
        reason=reasons_where(
            block.n >= _FEWEST, NOISE_ZERO, Reason("few_athletes", {"needed": _FEWEST})
        ),
        estimator="residual",
        interval_kind="bonett",
        remark=Reason("for_uneven_noise"),
        leads=False,
    )
    return part
