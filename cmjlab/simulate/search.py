"""Largest value and first crossing of closed-form functions, for arrays of jumps at once.

A grid finds the neighbourhood, then finer and finer grids zoom in: a few calls for arrays of
any size, which is fast for one jump and for thousands.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

FloatArray = NDArray[np.float64]
Function = Callable[[FloatArray], FloatArray]

_GRID = 128
_ZOOM = 32


class Peak(NamedTuple):
    """Largest value and where it is (0 to 1), one per jump."""

    value: FloatArray
    place: FloatArray


def _spread(low: FloatArray, high: FloatArray, steps: int) -> FloatArray:
    """Return ``steps`` + 1 points from low to high, shape (steps + 1, *shape)."""
    share = np.linspace(0.0, 1.0, steps + 1).reshape(-1, *([1] * np.ndim(low)))
    return low + share * (high - low)


def _take(values: FloatArray, index: NDArray[np.intp]) -> FloatArray:
    return np.take_along_axis(values, index[None], axis=0)[0]


def largest(function: Function, shape: tuple[int, ...]) -> Peak:
    """Return the largest value over x in [0, 1].

    The place is good to about 1e-7, the value of a smooth peak to about 1e-13 of itself.

    Parameters
    ----------
    function : callable
        Takes x of shape (k, *shape) and returns values of that shape.
    shape : tuple of int
        Shape of the parameters.
    """
    x = _spread(np.zeros(shape), np.ones(shape), _GRID)
    for _ in range(5):
        values = function(x)
        best = np.asarray(np.argmax(values, axis=0))
        place, value = _take(x, best), _take(values, best)
        low = _take(x, np.maximum(best - 1, 0))
        high = _take(x, np.minimum(best + 1, x.shape[0] - 1))
        x = _spread(low, high, _ZOOM)
    return Peak(value, place)


def first_rise(function: Function, shape: tuple[int, ...]) -> FloatArray:
    """Return the first x at which the function rises above 0, good to about 1e-12.

    The function must not be above 0 at first; 1 where it never rises.
    """
    x = _spread(np.zeros(shape), np.ones(shape), _GRID)
    for _ in range(8):
        above = function(x) > 0
        last = x.shape[0] - 1
        first = np.asarray(np.where(above.any(axis=0), np.argmax(above, axis=0), last))
        low, high = _take(x, np.maximum(first - 1, 0)), _take(x, first)
        x = _spread(low, high, _ZOOM)
    return np.asarray((low + high) / 2)
