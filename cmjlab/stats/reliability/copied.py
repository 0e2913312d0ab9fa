"""Sessions that are copies: the same values twice, or the same values plus a constant.

Two athletes who happen to tie are no copy. A tie by chance is the likelier the more coarsely a
value is written, so that a coarse measure needs more ties before anybody is alarmed. The limits
are ours; no paper prescribes them. With heights in whole millimetres and a difference between
sessions of 15 mm SD, one tie has a chance of 0.03, and three of 0.00002.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from cmjlab.results import Note, Reason
from cmjlab.stats.common.mean_squares import Array
from cmjlab.stats.reliability.data import Cube

#: Ties that make a copy: of values with this many digits or fewer, and of finer ones.
_TIES_COARSE, _TIES_FINE = 3, 2
#: Significant digits up to which a value counts as coarse.
_DIGITS = 5
#: Differences that are equal up to this share of the values are one constant.
_ROUNDING = 1e-9


def copied_notes(data: Cube, void: Sequence[Reason | None]) -> list[Note]:
    """Return a note per pair of sessions that are copies, with the metrics that show it.

    Parameters
    ----------
    data : Cube
    void : list of Reason or None
        Why nothing can be said about a metric; such metrics are not judged.
    """
    notes = []
    for j in range(data.k):
        for i in range(j):
            pair = {"first": data.sessions[i], "second": data.sessions[j]}
            kinds = [
                copied(x, y) if v is None else ""
                for x, y, v in zip(data.values[:, :, i], data.values[:, :, j], void, strict=True)
            ]
            for kind in ("identical_sessions", "shifted_sessions"):
                names = [m for m, k in zip(data.metrics, kinds, strict=True) if k == kind]
                if names:
                    one = {"metric": names[0]} if len(names) == 1 else {}
                    notes.append(Note(kind, {"metrics": names, **one, "stratum": "", **pair}))
    return notes


def copied(first: Array, second: Array) -> str:
    """Return how one session copies another: "identical_sessions", "shifted_sessions" or "".

    Parameters
    ----------
    first, second : arrays, shape (n_athletes,)
        nan where missing; only athletes with both are compared.
    """
    both = np.isfinite(first) & np.isfinite(second)
    x, y = first[both], second[both]
    if x.size < 2:
        return ""
    same, steady = bool((x == y).all()), bool(np.ptp(y - x) <= _rounding(x, y))
    if not same and not steady:
        return ""
    needed = _TIES_COARSE if _coarse(x) and _coarse(y) else _TIES_FINE
    if len(np.unique(x)) < needed:
        return ""  # a measure that hardly varies ties by itself
    if same:
        return "identical_sessions" if x.size >= needed else ""
    # One difference sets the constant; only the others are coincidences.
    alike = x.size - 1 >= needed and np.ptp(x) > _rounding(x, y)
    return "shifted_sessions" if alike else ""


def _rounding(x: Array, y: Array) -> float:
    """Return up to which difference two differences are one constant."""
    return _ROUNDING * float(max(np.abs(x).max(), np.abs(y).max()))


def _coarse(values: NDArray[np.float64]) -> bool:
    """Return whether all values are written with few digits."""
    return all(float(f"{v:.{_DIGITS}g}") == v for v in values)
