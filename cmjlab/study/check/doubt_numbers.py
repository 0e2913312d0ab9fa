"""Arrays for the doubts: one shift for everybody, and whether two columns have opposite signs."""

from __future__ import annotations

import math
from collections.abc import Callable
from typing import Any

import numpy as np
import pandas as pd
from scipy.special import ndtri

#: Fewest athletes of whom a common shift can be sure.
FEWEST = 6


def common_shift(values: np.ndarray, level: float = 0.95) -> tuple[float, float, float]:
    """Return the middle of differences and its interval, whatever the differences' distribution.

    Parameters
    ----------
    values : ndarray
        One difference per athlete.
    level : float
        Level of the interval.

    Returns
    -------
    tuple of float
        Median of all means of two (Hodges-Lehmann), and the limits that belong to the signed-rank
        test; infinite where so few values allow no interval of this level.

    Notes
    -----
    A single athlete with a wild value moves neither. Hollander, Wolfe & Chicken 2014,
    Nonparametric Statistical Methods, section 3.3 (from memory).
    """
    x = np.sort(np.asarray(values, dtype=float))
    first, second = np.triu_indices(len(x))
    walsh = np.sort((x[first] + x[second]) / 2.0)
    rank = _signed_rank(len(x), (1.0 - level) / 2.0)
    middle = float(np.median(walsh))
    if rank < 0:
        return middle, -math.inf, math.inf
    return middle, float(walsh[rank]), float(walsh[-1 - rank])


def _signed_rank(n: int, tail: float) -> int:
    """Return the largest w with P(W <= w) <= tail under no shift, -1 when there is none."""
    counts = np.zeros(n * (n + 1) // 2 + 1)
    counts[0] = 1.0
    for rank in range(1, n + 1):
        counts[rank:] = counts[rank:] + counts[:-rank]
    below = np.cumsum(counts) / 2.0**n
    return int(np.searchsorted(below, tail, side="right")) - 1


def sign_agreement(first: np.ndarray, second: np.ndarray, level: float) -> tuple[float, float]:
    """Return how two columns agree in sign and size about zero, and the upper limit of it.

    Parameters
    ----------
    first, second : ndarray
        Signed values of the same athletes; 0 means that both sides are equal.
    level : float
        Level of the two-sided interval.

    Returns
    -------
    tuple of float
        Correlation about zero (not about the means: a whole squad may load one side more), and
        the upper limit by Fisher's z. With known means n values count as n + 1.
    """
    size = math.sqrt(float((first**2).sum() * (second**2).sum()))
    if size == 0.0 or len(first) < 3:
        return 0.0, 1.0
    r = max(-0.999999, min(0.999999, float((first * second).sum()) / size))
    upper = math.atanh(r) + float(ndtri(0.5 + level / 2.0)) / math.sqrt(len(first) - 2)
    return r, math.tanh(upper)


def beside(values: np.ndarray, place: int, reach: int) -> np.ndarray:
    """Return each athlete's median of the sessions beside one, of those that the athlete has.

    Parameters
    ----------
    values : ndarray
        One row per athlete, one column per session in order; nan where there is none.
    place : int
        Column of the session itself.
    reach : int
        Sessions on either side.

    Returns
    -------
    ndarray
        One value per athlete, nan for who has no other session.
    """
    sides = (values[:, :place][:, ::-1], values[:, place + 1 :])
    near = [np.where(np.cumsum(np.isfinite(s), axis=1) <= reach, s, np.nan) for s in sides]
    both = np.concatenate(near, axis=1)
    out = np.full(len(values), np.nan)
    has = np.isfinite(both).any(axis=1)
    out[has] = np.nanmedian(both[has], axis=1)
    return out


def odd_sessions(
    wide: pd.DataFrame,
    against: Callable[[np.ndarray, np.ndarray], dict[str, float] | None],
    reach: int,
) -> list[tuple[tuple[str, ...], dict[str, Any]]]:
    """Return the sessions that do not go with the others, the oddest first, with what was found.

    The oddest session is taken out, then the others are compared again: one session that is off
    must not throw suspicion on those beside it. Of two sessions that differ nobody knows which is
    right, so both are named together.

    Parameters
    ----------
    wide : pandas.DataFrame
        One row per athlete, one column per session in order.
    against : callable
        From a session's values and those of the sessions beside it, athlete by athlete, to what
        is wrong as numbers, ``size`` among them; None when nothing is.
    reach : int
        Sessions on either side to compare with, of those that an athlete has: over a season
        athletes do change.
    """
    values = wide.to_numpy(float)
    numbers = {str(c): n for n, c in enumerate(wide.columns)}
    left, out = [str(c) for c in wide.columns], list[tuple[tuple[str, ...], dict[str, Any]]]()
    while len(left) > 1:
        found = dict[str, dict[str, Any]]()
        for place, session in enumerate(left):
            here, near = (
                values[:, numbers[session]],
                beside(values[:, [numbers[s] for s in left]], place, reach),
            )
            both = np.isfinite(here) & np.isfinite(near)
            if both.sum() < FEWEST:
                continue
            wrong = against(here[both], near[both])
            if wrong is not None:
                found[session] = {"session": session, "n": int(both.sum()), **wrong}
        if not found:
            break
        if len(left) == 2:
            out.append((tuple(left), found.get(left[1]) or found[left[0]]))
            break
        worst = max(found, key=lambda s: abs(found[s]["size"]))
        out.append(((worst,), found[worst]))
        left.remove(worst)
    return out
