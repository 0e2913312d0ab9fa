"""Which share of one variance another is, and what a summary of several jumps leaves of one jump's.

Arrays and numbers only. The variance of the instrument comes from simulated recordings, that of the
test from athletes: two independent mean squares, whose ratio has an F interval.
"""

from __future__ import annotations

from functools import lru_cache
from typing import NamedTuple

import numpy as np

from cmjlab.stats.common.intervals import f_quantile
from cmjlab.stats.common.mean_squares import Array

#: Normal samples from which the variance of a best or a median is taken; its error is 0.3 %.
_DRAWS = 200_000


class MeanSquare(NamedTuple):
    """A variance and its degrees of freedom."""

    variance: float
    df: float


def pooled_within(values: list[Array]) -> MeanSquare:
    """Return the variance within groups, with degrees of freedom by what the groups show.

    Parameters
    ----------
    values : list of ndarray
        Values of each group; nan is left out, and so are groups with fewer than two values.

    Notes
    -----
    The groups are a sample: where their variances differ by more than chance, the mean of the
    variances is known less well than its values tell. The degrees of freedom are those of a
    chi-square with the variance that the groups show (Satterthwaite 1946, from memory), at most
    those of the values.
    """
    kept = [v[np.isfinite(v)] for v in values]
    kept = [v for v in kept if v.size > 1]
    if not kept:
        return MeanSquare(float("nan"), float("nan"))
    own = np.array([v.var(ddof=1) for v in kept])
    mean, most = float(own.mean()), float(sum(v.size - 1 for v in kept))
    if len(kept) < 3 or mean == 0 or own.var() == 0:
        return MeanSquare(mean, most)
    return MeanSquare(mean, min(most, 2 * mean**2 * len(kept) / float(own.var(ddof=1))))


def share_of(
    part: MeanSquare, whole: MeanSquare, weight: float, level: float
) -> tuple[float, float, float]:
    """Return weight · part / whole with its F limits.

    Parameters
    ----------
    part, whole : MeanSquare
        Independent; the first is contained in what the second estimates.
    weight : float
        How much of the part is in the whole.
    level : float
    """
    share = weight * part.variance / whole.variance if whole.variance > 0 else float("nan")
    tail = 0.5 - level / 2
    high, low = (float(f_quantile(p, part.df, whole.df)) for p in (tail, 1 - tail))
    return share, share / low, share / high


@lru_cache(maxsize=256)
def summary_variance(how: str, jumps: int, best_n: int = 1) -> float:
    """Return the variance of a summary of independent normal jumps of variance 1.

    Parameters
    ----------
    how : str
        "mean", "median", "best" or "best_n_mean" (mean of the ``best_n`` largest).
    jumps : int
        Jumps that are summarised.
    best_n : int

    Examples
    --------
    >>> from cmjlab.scrutiny.lab.noise_share import summary_variance
    >>> summary_variance("mean", 4), round(summary_variance("best", 2), 2)  # 1 - 1/pi
    (0.25, 0.68)
    """
    if how == "mean" or jumps == 1:
        return 1.0 / jumps
    draws = np.sort(np.random.default_rng(20261128).standard_normal((_DRAWS, jumps)), axis=1)
    if how == "median":
        return float(np.median(draws, axis=1).var())
    top = 1 if how == "best" else min(best_n, jumps)
    return float(draws[:, -top:].mean(axis=1).var())


def kept_of_a_jump(how: str, jumps: Array, best_n: int, *, ranks: bool) -> float:
    """Return which part of a single jump's variance is left in a summary; mean over sessions.

    Parameters
    ----------
    how : str
        As in :func:`summary_variance`.
    jumps : array, shape (n_sessions,)
        Jumps that were summarised in each session of each athlete.
    best_n : int
    ranks : bool
        Whether the metric is the one by which jumps are the best. Another metric of the best jump
        is that of one jump, drawn without regard to it: all of the variance stays, divided by the
        jumps averaged. Where it goes with height a little less does, so that this is the most.
    """
    counts = [int(c) for c in jumps if c >= 1]
    if not counts:
        return float("nan")
    if how in ("best", "best_n_mean") and not ranks:
        top = 1 if how == "best" else best_n
        return float(np.mean([1 / min(top, c) for c in counts]))
    return float(np.mean([summary_variance(how, c, best_n) for c in counts]))
