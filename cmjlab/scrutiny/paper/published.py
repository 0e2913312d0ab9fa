"""How sure a published number is: its interval from what was printed beside it.

Every kernel works on arrays and gives the limits of a value at a level. Exact for normal values:
a mean by t, a standard deviation and what is made of one (typical error, CV) by chi-square, an
intraclass correlation by F (Shrout & Fleiss 1979; McGraw & Wong 1996). A printed interval or p
value is turned back into the standard error that it was made from.
"""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
from numpy.typing import ArrayLike
from scipy import special

from cmjlab.stats.common.intervals import mean_limits, sd_limits, t_quantile
from cmjlab.stats.common.mean_squares import Array, ratio
from cmjlab.stats.reliability.icc import of_ratio

Limits = tuple[Array, Array]


def limits_of_mean(value: ArrayLike, sd: ArrayLike, n: ArrayLike, level: float) -> Limits:
    """Return the t limits of a mean of ``n`` values with this standard deviation."""
    n = np.asarray(n, float)
    return mean_limits(value, np.asarray(sd, float) / np.sqrt(n), n - 1, level)


def limits_of_sd(value: ArrayLike, df: ArrayLike, level: float) -> Limits:
    """Return the chi-square limits of a standard deviation, typical error or CV."""
    return sd_limits(value, df, level)


def limits_of_icc(value: ArrayLike, n: ArrayLike, k: int, level: float) -> Limits:
    """Return the exact F limits of ICC(C,1) of ``n`` athletes in ``k`` sessions.

    An ICC is one to one with the F ratio behind it, F = (1 + (k − 1) ICC) / (1 − ICC), so n and k
    are all that its interval needs.
    """
    icc, n = np.asarray(value, float), np.asarray(n, float)
    f = ratio(1 + (k - 1) * icc, 1 - icc)
    found = of_ratio(f, n - 1, (n - 1) * (k - 1), k, level)
    return found.low, found.high


def df_of_mean_cv(n: ArrayLike, k: int) -> Array:
    """Return the degrees of freedom that give the mean of ``n`` CVs of ``k`` values its spread.

    The SD of ``k`` normal values has mean c₄σ and variance (1 − c₄²)σ²; a pooled SD with f degrees
    of freedom has a relative variance of about 1 / (2 f). Both are set equal.
    """
    c4 = np.sqrt(2 / (k - 1)) * np.exp(special.gammaln(k / 2) - special.gammaln((k - 1) / 2))
    return np.asarray(n, float) * c4**2 / (2 * (1 - c4**2))


def se_of_p(value: ArrayLike, p: ArrayLike, df: ArrayLike) -> Array:
    """Return the standard error of an estimate whose two-sided t test gave ``p``.

    Of "p < 0.001" only the bound is known; taken as equal it gives the largest standard error.
    """
    t = t_quantile(1 - np.asarray(p, float) / 2, df)
    return ratio(np.abs(np.asarray(value, float)), t)


def rescaled(
    value: ArrayLike,
    stated: tuple[ArrayLike, ArrayLike],
    levels: tuple[float, float],
    df: ArrayLike,
    scale: str,
) -> Limits:
    """Return printed limits at another level.

    Parameters
    ----------
    value, stated : array_like, (low, high)
        The number and its printed limits.
    levels : (float, float)
        Level of the printed limits, and the level that is wanted.
    df : array_like
        Degrees of freedom of t; inf where they are not known.
    scale : str
        On which scale both sides grow alike: "plain", "ratio" (logarithms) or "icc" (Fisher's z).
    """
    there, back = _SCALES[scale]
    with np.errstate(invalid="ignore", divide="ignore"):
        middle, low, high = (there(np.asarray(x, float)) for x in (value, *stated))
        grow = _half(levels[1], df) / _half(levels[0], df)
        return back(middle - grow * (middle - low)), back(middle + grow * (high - middle))


def _half(level: float, df: ArrayLike) -> Array:
    df = np.asarray(df, float)
    known = np.isfinite(df) & (df > 0)
    z = float(special.ndtri(0.5 + level / 2))
    return np.where(known, t_quantile(0.5 + level / 2, np.where(known, df, 1.0)), z)


def _same(x: Array) -> Array:
    return x


_SCALES: dict[str, tuple[Callable[[Array], Array], Callable[[Array], Array]]] = {
    "plain": (_same, _same),
    "ratio": (np.log, np.exp),
    "icc": (np.arctanh, np.tanh),
}


def single_of_average(value: ArrayLike, k: int) -> Array:
    """Return the ICC of one session from that of the mean of ``k`` (Spearman–Brown, solved)."""
    value = np.asarray(value, float)
    return ratio(value, k - (k - 1) * value)


def limits_of_difference(
    value: ArrayLike, sd: ArrayLike, sizes: tuple[ArrayLike, ArrayLike], level: float
) -> Limits:
    """Return t limits of a difference of two groups' changes from their pooled SD of change."""
    n, other = (np.asarray(x, float) for x in sizes)
    return mean_limits(
        value, np.asarray(sd, float) * np.sqrt(1 / n + 1 / other), n + other - 2, level
    )
