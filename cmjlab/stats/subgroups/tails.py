"""Outer quantiles of ranks in many draws of which only a slice is there at a time."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

Ranks = NDArray[np.int32]
#: Draws that are held before those between the tails are left out, in lengths of a tail.
_TIMES_KEPT = 6


class Tails:
    """Keeps the smallest and the largest rank of all draws for each place: what two quantiles need.

    Parameters
    ----------
    places : int
        Places, athletes mostly.
    tail : float
        Quantiles wanted are ``tail`` and ``1 - tail``, linearly between draws; below 0.5.
    draws : int
        Draws that will be added in all.
    """

    def __init__(self, places: int, tail: float, draws: int) -> None:
        self._at, self._draws = tail * (draws - 1), draws
        self._each = min(int(self._at) + 2, draws)
        self._kept: list[Ranks] = [np.empty((places, 0), dtype=np.int32)]

    def add(self, values: Ranks) -> None:
        """Add some draws, shape (n_draws, n_places)."""
        self._kept.append(values.T)
        if sum(part.shape[1] for part in self._kept) > _TIMES_KEPT * self._each:
            self._drop()

    def _drop(self) -> None:
        """Leave out what lies between both tails."""
        both, k = np.concatenate(self._kept, axis=1), self._each
        n = both.shape[1]
        if n > 2 * k:
            both.partition([k - 1, n - k], axis=1)
            both = np.concatenate([both[:, :k], both[:, n - k :]], axis=1)
        self._kept = [both]

    def quantiles(self) -> NDArray[np.float64]:
        """Return both quantiles of each place, shape (2, n_places)."""
        self._drop()
        kept = np.sort(self._kept[0], axis=1).astype(np.float64)
        i = int(self._at)
        part, j = self._at - i, min(i + 1, self._draws - 1)
        low = kept[:, i] + part * (kept[:, j] - kept[:, i])
        high = kept[:, -1 - i] - part * (kept[:, -1 - i] - kept[:, -1 - j])
        return np.array([low, high])
