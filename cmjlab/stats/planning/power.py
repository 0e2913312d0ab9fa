"""Power, sample size and interval width by the noncentral t and chi-square; exact, not normal."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy import special

Array = NDArray[np.float64]

#: Largest group that a search tries.
LARGEST = 100_000


def power_t(
    noncentrality: ArrayLike, df: ArrayLike, level: float = 0.95, *, both_tails: bool = True
) -> Array:
    """Return the power of a two-sided t test.

    Parameters
    ----------
    noncentrality : array_like
        Effect / standard error.
    df : array_like
    level : float
        1 - alpha.
    both_tails : bool
        Count rejections in the wrong direction too (R's ``strict``).
    """
    nc, df = np.abs(np.asarray(noncentrality, float)), np.asarray(df, float)
    critical = special.stdtrit(df, 0.5 + level / 2)
    # both tails vanish for a large effect, where the function can return nan
    power = 1.0 - np.nan_to_num(special.nctdtr(df, nc, critical), nan=0.0)
    if both_tails:
        power = power + np.nan_to_num(special.nctdtr(df, nc, -critical), nan=0.0)
    return np.asarray(np.where(nc > 40.0, 1.0, np.minimum(power, 1.0)))


def smallest(reached: Callable[[int], bool], low: int = 2) -> int | None:
    """Return the smallest whole number from ``low`` for which a monotone condition holds."""
    high = low
    while not reached(high):
        high *= 2
        if high > LARGEST:
            return None
    while low < high:
        middle = (low + high) // 2
        low, high = (low, middle) if reached(middle) else (middle + 1, high)
    return low


def exact_size(power_at: Callable[[float], float], power: float, low: float = 2.0) -> float:
    """Return the real-valued size with the wanted power (for comparison with other programs)."""
    high = low
    while power_at(high) < power:
        high *= 2
        if high > LARGEST:
            return float("nan")
    for _ in range(200):
        middle = (low + high) / 2
        low, high = (low, middle) if power_at(middle) >= power else (middle, high)
    return (low + high) / 2


def two_groups(
    effect: float, sd_group: float, sd_control: float, n: ArrayLike, level: float = 0.95
) -> Array:
    """Return the power for a difference of changes, ``n`` athletes in each of two groups (Welch)."""
    n = np.asarray(n, float)
    a, b = sd_group**2 / n, sd_control**2 / n
    df = (a + b) ** 2 / (a**2 / (n - 1) + b**2 / (n - 1))
    return power_t(effect / np.sqrt(a + b), df, level)


def two_groups_ancova(
    effect: float, sd_group: float, sd_control: float, n: ArrayLike, level: float = 0.95
) -> Array:
    """Return the power of ANCOVA with ``n`` in each group.

    ``sd_*`` are the spreads of the outcome that remain given the baseline. The slope is
    estimated too: variance × (N - 3)/(N - 4), N the number of all athletes; df N - 3.
    """
    n = np.asarray(n, float)
    total = 2 * n
    with np.errstate(divide="ignore", invalid="ignore"):
        inflate = np.where(total > 4, (total - 3) / (total - 4), np.inf)
        nc = effect / np.sqrt((sd_group**2 + sd_control**2) / n * inflate)
    return np.where(total > 4, power_t(nc, np.maximum(total - 3, 1.0), level), 0.0)


def one_group(effect: float, sd: float, n: ArrayLike, level: float = 0.95) -> Array:
    """Return the power of a paired t test for a mean change."""
    n = np.asarray(n, float)
    return power_t(effect * np.sqrt(n) / sd, n - 1, level)


def half_width(se: ArrayLike, df: ArrayLike, level: float, assurance: float | None = None) -> Array:
    """Return the half width of a t interval.

    Parameters
    ----------
    se : array_like
        True standard error.
    df : array_like
    level : float
    assurance : float, optional
        The half width that this share of studies does not exceed (e.g. 0.8); the expected
        one when None.
    """
    df = np.asarray(df, float)
    t = special.stdtrit(df, 0.5 + level / 2)
    if assurance is None:
        log_c4 = special.gammaln((df + 1) / 2) - special.gammaln(df / 2) + 0.5 * np.log(2 / df)
        factor = np.exp(log_c4)
    else:
        factor = np.sqrt(special.chdtri(df, 1 - assurance) / df)
    return np.asarray(np.asarray(se, float) * t * factor)
