"""The rule by which a published number counts as replicated, on arrays.

Two independent estimates of one quantity, ours and theirs, each with an interval of its own. The
interval of their difference is put together from both (MOVER: Newcombe 1998, Stat Med 17:873; Zou &
Donner 2008, Stat Med 27:1693; both from memory), on logarithms where the ratio is meant. Then

    replicated       the narrow interval (two one-sided tests, Schuirmann 1987) lies within the margin
    not replicated   else, when the wide interval leaves zero out: ours lies outside the prediction
                     interval of the published number (Patil, Peng & Leek 2016, Perspect Psychol Sci
                     11:539, from memory)
    cannot tell      else

A printed number is anything that rounds to it: each limit is the worst over that range.
"""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
from numpy.typing import ArrayLike, NDArray

from cmjlab.stats.common.mean_squares import Array

REPLICATED, NOT_REPLICATED, CANNOT_TELL = "replicated", "not_replicated", "cannot_tell"
VERDICTS = (REPLICATED, NOT_REPLICATED, CANNOT_TELL)

#: From a value to its limits at one level.
LimitsOf = Callable[[Array], tuple[Array, Array]]


def narrow_level(level: float) -> float:
    """Return the level of the interval of two one-sided tests: 0.90 for 0.95."""
    return 2 * level - 1


def difference_limits(
    own: tuple[ArrayLike, ArrayLike, ArrayLike], other: tuple[ArrayLike, ArrayLike, ArrayLike]
) -> tuple[Array, Array]:
    """Return limits of own − other from (estimate, low, high) of both (MOVER).

    Examples
    --------
    >>> low, high = difference_limits((10.0, 7.0, 13.0), (8.0, 4.0, 12.0))
    >>> float(low), float(high)  # 2 ± √(3² + 4²)
    (-3.0, 7.0)
    """
    a, a_low, a_high = (np.asarray(x, float) for x in own)
    b, b_low, b_high = (np.asarray(x, float) for x in other)
    low = a - b - np.hypot(a - a_low, b_high - b)
    high = a - b + np.hypot(a_high - a, b - b_low)
    return low, high


def compared(
    own: tuple[ArrayLike, ArrayLike, ArrayLike],
    printed: tuple[ArrayLike, ArrayLike],
    limits_of: LimitsOf,
    *,
    ratios: bool = False,
) -> tuple[Array, Array]:
    """Return limits of own − published (or own / published) over all that rounds to the printed.

    Parameters
    ----------
    own : (estimate, low, high)
    printed : (value, half a unit of its last digit)
    limits_of : callable
        Limits of a published value, at the level of the limits of ``own``.
    ratios : bool
        Work on logarithms and return the ratio.
    """
    value, half = (np.asarray(x, float) for x in printed)
    scale, back = (np.log, np.exp) if ratios else (_same, _same)
    with np.errstate(invalid="ignore", divide="ignore"):
        estimate, own_low, own_high = (scale(np.asarray(x, float)) for x in own)
        ends = []
        for end in (value - half, value, value + half):
            low, high = limits_of(end)
            ends.append(
                difference_limits(
                    (estimate, own_low, own_high), (scale(end), scale(low), scale(high))
                )
            )
        low = np.min([e[0] for e in ends], axis=0)
        high = np.max([e[1] for e in ends], axis=0)
        return back(low), back(high)


def _same(x: Array) -> Array:
    return x


def verdicts(
    wide: tuple[ArrayLike, ArrayLike],
    narrow: tuple[ArrayLike, ArrayLike],
    margin: tuple[ArrayLike, ArrayLike],
    none: float = 0.0,
) -> NDArray[np.str_]:
    """Return what the rule says.

    Parameters
    ----------
    wide, narrow : (low, high)
        Intervals of the difference (or ratio) at the level and at :func:`narrow_level`.
    margin : (low, high)
        Differences that do not matter lie between; nan where no margin is known.
    none : float
        No difference: 0, or 1 of a ratio.
    """
    (low, high), (near_low, near_high), (least, most) = (
        tuple(np.asarray(x, float) for x in pair) for pair in (wide, narrow, margin)
    )
    inside = (near_low > least) & (near_high < most)
    apart = (low > none) | (high < none)
    return np.where(inside, REPLICATED, np.where(apart, NOT_REPLICATED, CANNOT_TELL))


def beyond(wide: tuple[float, float], margin: tuple[float, float]) -> bool:
    """Return whether the whole wide interval lies beyond the margin."""
    return wide[0] > margin[1] or wide[1] < margin[0]
