"""Where along a curve a band leaves zero: runs of neighbouring points inside one phase."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]


@dataclass(frozen=True)
class Stretch:
    """A run of points of one phase with changes of one sign.

    Attributes
    ----------
    phase : int
        Number of the phase.
    first, last : int
        Points of the curve, both included, counted over all phases.
    start, end : float
        The same in percent of the phase.
    sign : int
        1 or −1.
    """

    phase: int
    first: int
    last: int
    start: float
    end: float
    sign: int

    @property
    def points(self) -> slice:
        """The points of the curve."""
        return slice(self.first, self.last + 1)


def stretches(outside: NDArray[np.bool_], estimate: Array, per_phase: int) -> list[Stretch]:
    """Return the runs of points that lie outside, in order of time.

    Parameters
    ----------
    outside : array of bool, shape (m,)
    estimate : array, shape (m,)
        Its sign parts two runs that touch.
    per_phase : int
        Points of each phase, both ends included; m is a multiple of it.
    """
    signs = np.where(outside, np.sign(estimate), 0).astype(int)
    out: list[Stretch] = []
    for phase in range(len(signs) // per_phase):
        base = phase * per_phase
        own = signs[base : base + per_phase]
        edges = np.flatnonzero(np.diff(own)) + 1
        for run in np.split(np.arange(per_phase), edges):
            sign = int(own[run[0]])
            if sign:
                first, last = int(run[0]), int(run[-1])
                at = [100.0 * x / (per_phase - 1) for x in (first, last)]
                out.append(Stretch(phase, base + first, base + last, at[0], at[1], sign))
    return out
