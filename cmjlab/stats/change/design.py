"""The design of a comparison of groups: groups as cell means, covariates centred on the squad."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from cmjlab.plan import Selection
from cmjlab.stats.change.pairs import Covariate, Pairs, Prepared
from cmjlab.stats.common.least_squares import LeastSquares, full_rank, is_constant, least_squares

Array = NDArray[np.float64]
Contrast = tuple[str, str]


@dataclass(frozen=True)
class Design:
    """One column per group, then centred covariates.

    Attributes
    ----------
    groups : tuple of str
        Groups with at least two athletes.
    columns : array, shape (n, n_groups + n_covariates)
    baseline : bool
        Whether the metric's own value before is the first covariate.
    covariates : tuple of (metric, session)
        The covariate columns kept.
    constant : tuple of (metric, session)
        Covariates that are the same for everybody and therefore left out.
    """

    groups: tuple[str, ...]
    columns: Array
    baseline: bool
    covariates: tuple[Covariate, ...]
    constant: tuple[Covariate, ...] = ()

    def weights(self, pair: Contrast) -> Array:
        """Return the contrast weights of ``first - second`` at the squad-mean covariates."""
        out = np.zeros(self.columns.shape[1])
        out[self.groups.index(pair[0])] = 1.0
        out[self.groups.index(pair[1])] = -1.0
        return out

    def mean_weights(self, group: str) -> Array:
        """Return the weights of a group's adjusted mean."""
        out = np.zeros(self.columns.shape[1])
        out[self.groups.index(group)] = 1.0
        return out


def selection_covariates(metric: str, before: str, assignment: str | Selection) -> list[Covariate]:
    """Return the covariates that a selection asks for, beyond the metric's own ``before``."""
    if not isinstance(assignment, Selection):
        return []
    return [
        (m, assignment.session)
        for m in assignment.metrics
        if (m, assignment.session) != (metric, before)
    ]


def contrasts_of(groups: tuple[str, ...], control: str | None) -> list[Contrast]:
    """Return (group, control) for each group, or all pairs as (later, earlier) in group order."""
    if control is not None:
        return [(g, control) for g in groups if g != control] if control in groups else []
    return [(groups[j], groups[i]) for i in range(len(groups)) for j in range(i + 1, len(groups))]


def group_columns(group: NDArray[np.str_], order: tuple[str, ...]) -> tuple[tuple[str, ...], Array]:
    """Return the groups with at least two athletes, and their indicator columns."""
    names = tuple(g for g in order if int((group == g).sum()) >= 2)
    columns = np.column_stack([(group == g).astype(np.float64) for g in names])
    return names, columns


def ancova_design(pairs: Pairs, prepared: Prepared, covariates: list[Covariate]) -> Design:
    """Return the design of ``after`` on groups, ``before`` and further covariates.

    ``pairs`` holds athletes of groups with at least two of them only; ``covariates`` names the
    columns of ``pairs.others``.
    """
    names, columns = group_columns(pairs.group, prepared.group_order)
    own = (pairs.metric, prepared.before)
    kept, constant, parts = [], [], [columns]
    values = [(own, pairs.before), *zip(covariates, pairs.others.T, strict=True)]
    for covariate, value in values:
        if is_constant(value):
            constant.append(covariate)
            continue
        kept.append(covariate)
        parts.append(((value - value.mean()) / value.std())[:, None])
    return Design(names, np.hstack(parts), own in kept, tuple(kept), tuple(constant))


def slope_design(design: Design) -> Array | None:
    """Return the design with one slope on the first covariate per group, or None.

    The columns are: groups, slope of each group, other covariates. None when a group's
    covariate does not vary or too few athletes remain.
    """
    if not design.covariates:
        return None
    k = len(design.groups)
    indicators, x, rest = design.columns[:, :k], design.columns[:, k], design.columns[:, k + 1 :]
    wide = np.hstack([indicators, indicators * x[:, None], rest])
    if wide.shape[0] - wide.shape[1] < 1 or not full_rank(wide):
        return None
    return wide


def fit(outcome: Array, columns: Array) -> LeastSquares | None:
    """Return the fit, or None when no degree of freedom remains or columns depend on each other."""
    if columns.shape[0] - columns.shape[1] < 1 or not full_rank(columns):
        return None
    return least_squares(outcome, columns)
