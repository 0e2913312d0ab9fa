"""The step of a converter, seen in the values that it wrote."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike

#: Forces are told apart to this, N; smaller differences come from storing decimals.
_SAME_N = 6
#: Gaps are held against the step where they are at most so many steps wide, and so many are needed.
_WIDEST, _FEWEST = 20.0, 10
#: A gap fits when it is whole steps to within this share of a step; nearly all gaps have to.
_OFF, _SHARE = 0.05, 0.99


def step_of(force_n: ArrayLike) -> float:
    """Return the step between the values of one plate, newtons; nan where none is seen.

    Parameters
    ----------
    force_n : array_like, shape (n,)
        Force of one plate while it hardly changes: standing, or in flight.

    Notes
    -----
    The smallest gap between distinct values, or a whole part of it, such that all gaps are whole
    steps. Values that are finer than the sample can show have gaps of any size: no step is seen.

    Examples
    --------
    >>> import numpy as np
    >>> from cmjlab.scrutiny.lab.plate_steps import step_of
    >>> noise = np.random.default_rng(1).normal(400.0, 2.0, 800)
    >>> round(step_of(np.round(noise / 0.25) * 0.25), 6), step_of(noise)
    (0.25, nan)
    """
    gaps = np.diff(np.unique(np.round(np.asarray(force_n, dtype=np.float64), _SAME_N)))
    gaps = gaps[gaps > 10.0**-_SAME_N / 2]
    if gaps.size < 2:
        return float("nan")
    for parts in (1, 2, 3):
        step = float(gaps.min()) / parts
        near = gaps[gaps < _WIDEST * step]
        whole = np.round(near / step)
        fits = np.abs(near / step - whole) <= _OFF
        enough = near.size >= min(_FEWEST, gaps.size)
        if enough and fits.mean() >= _SHARE:
            return float(np.median(near / whole))
    return float("nan")
