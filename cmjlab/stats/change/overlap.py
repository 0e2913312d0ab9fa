"""Groups that lie apart in a covariate: nothing there to compare "at an equal value" with.

An analysis of covariance compares groups at one value of every covariate. Where no athlete of one
group lies in the range of the other, that value lies outside the data of at least one of them, and
the line alone decides the answer. The criterion is that of King & Zeng (2006, Polit Anal 14:131,
from memory): a comparison is supported where the convex hulls of the groups' values meet; for one
covariate the convex hull is the range. Each covariate is judged by itself, so that the ones that
keep the groups apart can be named.

Groups dealt at random are not judged: where they lie apart it is by chance, and the deal itself,
not the line, makes them comparable.
"""

from __future__ import annotations

import numpy as np

from cmjlab.plan import Selection
from cmjlab.results import Reason
from cmjlab.stats.change.design import Contrast, Design
from cmjlab.stats.change.pairs import Covariate, Pairs
from cmjlab.stats.common.least_squares import Array


def apart(one: Array, two: Array) -> bool:
    """Return whether the ranges of two groups do not meet.

    Parameters
    ----------
    one, two : arrays, shape (n,)
        Values of one covariate.
    """
    return bool(one.max() < two.min() or two.max() < one.min())


def covariates_apart(pairs: Pairs, design: Design, contrast: Contrast) -> list[Covariate]:
    """Return the covariates in which two groups lie apart.

    Parameters
    ----------
    pairs : Pairs
        The athletes of the design.
    design : Design
    contrast : (group, group)
    """
    first, second = (pairs.group == name for name in contrast)
    columns = design.columns[:, len(design.groups) :].T
    return [
        covariate
        for covariate, column in zip(design.covariates, columns, strict=True)
        if apart(column[first], column[second])
    ]


def contrasts_apart(
    pairs: Pairs, design: Design, contrasts: list[Contrast], assignment: str | Selection
) -> dict[Contrast, Reason]:
    """Return the contrasts that cannot be had at equal covariates, and why."""
    if assignment == "random":
        return {}
    found = {c: covariates_apart(pairs, design, c) for c in contrasts}
    return {c: _reason(names) for c, names in found.items() if names}


def _reason(covariates: list[Covariate]) -> Reason:
    metrics, sessions = (list(dict.fromkeys(part)) for part in zip(*covariates, strict=True))
    return Reason("groups_apart", {"apart_in": metrics, "apart_sessions": sessions})


def middle_outside(pairs: Pairs, design: Design) -> dict[str, list[Covariate]]:
    """Return the groups for which the squad's mean of a covariate lies outside their range.

    Covariates of the design are centred on the squad, so that its mean is 0.
    """
    out: dict[str, list[Covariate]] = {}
    columns = design.columns[:, len(design.groups) :].T
    for group in design.groups:
        mine = pairs.group == group
        outside = [
            covariate
            for covariate, column in zip(design.covariates, columns, strict=True)
            if not np.min(column[mine]) <= 0.0 <= np.max(column[mine])
        ]
        if outside:
            out[group] = outside
    return out
