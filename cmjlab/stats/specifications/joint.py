"""Is there an effect in any of the specifications: one test for all of them together.

Specifications of one study are not independent studies: they share the athletes and their noise,
so that a hundred that agree say little more than one. The labels of the groups (within one group:
the signs of the changes) are therefore dealt again and *every* specification is computed for every
deal. What came out is held against what comes out when labels mean nothing (Simonsohn, Simmons &
Nelson 2020, Nat Hum Behav 4:1208, from memory). Covariates stay where they are: what is dealt again
are the residuals without the groups (Freedman & Lane 1983, J Bus Econ Stat 1:292; Winkler et al.
2014, NeuroImage 92:381; from memory), each specification with the same deal.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy import special

from cmjlab.stats.specifications.estimates import Fitted

Array = NDArray[np.float64]
#: What is compared, the one that leads first.
STATISTICS = ("average_t", "median_estimate", "share_beyond")


@dataclass(frozen=True)
class Joint:
    """p of each statistic, with the deals behind it.

    Attributes
    ----------
    p : dict of statistic to float
        Share of deals, the actual one included, with a statistic at least as large in size.
    observed : dict of statistic to float
    deals : int
    """

    p: dict[str, float]
    observed: dict[str, float]
    deals: int


def joint_test(
    every: Sequence[Fitted],
    *,
    signs: bool = False,
    level: float = 0.95,
    deals: int = 999,
    seed: int = 0,
) -> Joint:
    """Return the joint test of all specifications of one target.

    Parameters
    ----------
    every : sequence of Fitted
        With rows for the whole squad (:func:`cmjlab.stats.specifications.estimates.over_squad`).
    signs : bool
        Change within one group: signs are dealt, not labels.
    level : float
        Level beyond which a specification counts for "share_beyond".
    deals : int
        Deals drawn at random beside the actual one.
    seed : int

    Notes
    -----
    average_t
        Size of the mean of the t values: an effect that many specifications see.
    median_estimate
        Size of the median estimate.
    share_beyond
        Share of specifications whose interval leaves out zero, on the side where more do.
    """
    stack = _Stack(every, signs)
    draw = np.random.default_rng(seed)
    n = stack.reduced.shape[1]
    wall = special.stdtrit(np.array([f.df for f in every]), 0.5 + level / 2)
    values = np.empty((deals + 1, len(STATISTICS)))
    for deal in range(deals + 1):
        key = np.asarray(draw.random(n)) if deal else None
        values[deal] = _statistics(*stack.dealt(key), wall)
    as_large = values >= values[0] * (1 - 1e-10)
    p = as_large.mean(axis=0)
    return Joint(
        dict(zip(STATISTICS, map(float, p), strict=True)),
        dict(zip(STATISTICS, map(float, values[0]), strict=True)),
        deals,
    )


def _statistics(estimates: Array, t: Array, wall: Array) -> tuple[float, float, float]:
    known = np.isfinite(t)
    up, down = ((known & (s * t > wall)).mean() for s in (1.0, -1.0))
    return abs(float(t[known].mean())), abs(float(np.median(estimates))), float(max(up, down))


class _Stack:
    """All specifications as arrays, so that one deal is a few products of matrices."""

    def __init__(self, every: Sequence[Fitted], signs: bool) -> None:
        self.signs = signs
        self.influence = np.array([f.influence for f in every])
        self.basis = np.array([f.basis for f in every])
        self.weight = np.array([f.weight for f in every])
        self.reduced = np.array([f.reduced for f in every])
        seats = np.array([f.mine for f in every])
        patterns, which = np.unique(seats, axis=0, return_inverse=True)
        self.patterns = [np.flatnonzero(p) for p in patterns]
        self.members = [np.flatnonzero(which.ravel() == i) for i in range(len(patterns))]

    def dealt(self, key: Array | None) -> tuple[Array, Array]:
        """Return estimates and t values for one deal; None is the actual one.

        Every specification gets the same deal; where some athletes are not in it, the others keep
        their order.
        """
        outcome = self.reduced
        if key is not None and self.signs:
            outcome = outcome * np.where(key < 0.5, -1.0, 1.0)
        elif key is not None:
            outcome = outcome.copy()
            for seats, rows in zip(self.patterns, self.members, strict=True):
                order = seats[np.argsort(key[seats], kind="stable")]
                outcome[np.ix_(rows, seats)] = self.reduced[np.ix_(rows, order)]
        estimates = np.einsum("sn,sn->s", self.influence, outcome)
        along = np.einsum("snp,sn->sp", self.basis, outcome)
        residuals = outcome - np.einsum("snp,sp->sn", self.basis, along)
        variance = np.einsum("sn,sn->s", self.weight, residuals**2)
        with np.errstate(divide="ignore", invalid="ignore"):
            return estimates, np.asarray(estimates / np.sqrt(variance))
