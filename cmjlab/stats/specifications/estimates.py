"""The estimate of one target by one specification, and what a joint test needs of it.

The arithmetic is that of :func:`cmjlab.change_between` and :func:`cmjlab.change_within`: least
squares with HC2 standard errors and Bell–McCaffrey degrees of freedom. Here only one contrast is
wanted, thousands of times.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from cmjlab.plan import Selection
from cmjlab.results import Reason
from cmjlab.stats.change.design import (
    Contrast,
    Design,
    ancova_design,
    fit,
    group_columns,
    selection_covariates,
)
from cmjlab.stats.change.overlap import contrasts_apart
from cmjlab.stats.change.paired import no_spread
from cmjlab.stats.change.pairs import Pairs, Prepared
from cmjlab.stats.common.least_squares import LeastSquares, contrast, influence_of, least_squares

Array = NDArray[np.float64]


@dataclass(frozen=True)
class Fitted:
    """One estimate, and the parts of its model that a joint test deals again.

    Attributes
    ----------
    estimate, se, df : float
    athletes : tuple of str
        Rows of the arrays.
    mine : array of bool, shape (n,)
        Athletes whose labels (or signs) can be dealt again: those of the contrast.
    influence : array, shape (n,)
        The estimate is ``influence · outcome``.
    basis : array, shape (n, p)
        Orthonormal columns of the design.
    reduced : array, shape (n,)
        Residuals when the groups of the contrast are taken as one (within one group: the changes).
    weight : array, shape (n,)
        The squared standard error is ``weight · residuals²``.
    """

    estimate: float
    se: float
    df: float
    athletes: tuple[str, ...]
    mine: NDArray[np.bool_]
    influence: Array
    basis: Array
    reduced: Array
    weight: Array
    scores: Array

    @property
    def n(self) -> int:
        """Athletes behind the estimate."""
        return int(self.mine.sum())


def within(pairs: Pairs, group: str) -> Fitted | Reason:
    """Return the mean change of a group."""
    mine = pairs.take(pairs.group == group)
    if len(mine.athletes) < 2:
        return _few(mine, 2)
    if no_spread(mine.change, mine.before):
        return Reason("same_change")
    ones = np.ones((len(mine.athletes), 1))
    model = least_squares(mine.change, ones)
    return _fitted(mine, model, np.ones(1), np.ones(len(ones), dtype=bool), mine.change)


def change_difference(pairs: Pairs, pair: Contrast) -> Fitted | Reason:
    """Return the difference of the mean changes of two groups, ``first - second``."""
    both = pairs.take(np.isin(pairs.group, pair))
    small = _small(both, pair)
    if small is not None:
        return small
    parts = [both.take(both.group == name) for name in pair]
    if all(no_spread(p.change, p.before) for p in parts):
        return Reason("same_change_in_groups")
    _, columns = group_columns(both.group, pair)
    model = least_squares(both.change, columns)
    everybody = np.ones(len(both.athletes), dtype=bool)
    reduced = least_squares(both.change, np.ones((len(both.athletes), 1))).residuals
    return _fitted(both, model, np.array([1.0, -1.0]), everybody, reduced)


def adjusted_difference(
    pairs: Pairs, prepared: Prepared, pair: Contrast, assignment: str | Selection
) -> Fitted | Reason:
    """Return the difference at equal baseline (and equal values that decided the groups).

    ``pairs.others`` holds the values of :func:`cmjlab.stats.change.design.selection_covariates`.
    """
    small = _small(pairs, pair)
    if small is not None:
        return small
    sizes = {g: int((pairs.group == g).sum()) for g in prepared.group_order}
    enough = pairs.take(np.isin(pairs.group, [g for g, n in sizes.items() if n >= 2]))
    covariates = selection_covariates(pairs.metric, prepared.before, assignment)
    design = ancova_design(enough, prepared, covariates)
    model = fit(enough.after, design.columns)
    if model is None:
        return Reason("too_few_for_covariates")
    no = contrasts_apart(enough, design, [pair], assignment)
    if no:
        return no[pair]
    if bool((model.leverage > 1.0 - 1e-9).any()):
        return Reason("one_athlete_decides")
    mine = np.isin(enough.group, pair)
    reduced = least_squares(enough.after, _as_one(design, pair)).residuals
    return _fitted(enough, model, design.weights(pair), mine, reduced)


def _as_one(design: Design, pair: Contrast) -> Array:
    """Return the design in which two groups have one mean."""
    first, second = (design.groups.index(name) for name in pair)
    columns = design.columns.copy()
    columns[:, first] += columns[:, second]
    return np.delete(columns, second, axis=1)


def _fitted(
    pairs: Pairs,
    model: LeastSquares,
    weights: Array,
    mine: NDArray[np.bool_],
    reduced: Array,
) -> Fitted:
    found = contrast(model, weights)
    influence = influence_of(model, weights)
    left = np.maximum(1.0 - model.leverage, 1e-12)
    basis, _ = np.linalg.qr(model.design)
    return Fitted(
        float(found.estimate), float(found.se), float(found.df), pairs.athletes, mine, influence,
        basis, reduced, influence**2 / left, influence * model.residuals / np.sqrt(left),
    )  # fmt: skip


def _small(pairs: Pairs, pair: Contrast) -> Reason | None:
    small = [g for g in pair if int((pairs.group == g).sum()) < 2]
    return Reason("group_too_small", {"groups": small}) if small else None


def _few(pairs: Pairs, needed: int) -> Reason:
    n = len(pairs.athletes)
    return Reason("few_pairs", {"n": n, "athletes": list(pairs.athletes), "needed": needed})


def over_squad(found: Sequence[Fitted], squad: Sequence[str]) -> list[Fitted]:
    """Return the estimates with rows for the whole squad, zero for athletes that are not in one."""
    place = {a: i for i, a in enumerate(squad)}
    widest = max(f.basis.shape[1] for f in found)
    return [_spread(f, np.array([place[a] for a in f.athletes]), len(squad), widest) for f in found]


def _spread(one: Fitted, rows: NDArray[np.intp], n: int, width: int) -> Fitted:
    def column(values: Array) -> Array:
        out = np.zeros(n)
        out[rows] = values
        return out

    basis = np.zeros((n, width))
    basis[rows, : one.basis.shape[1]] = one.basis
    mine = np.zeros(n, dtype=bool)
    mine[rows] = one.mine
    return replace(
        one, athletes=(), mine=mine, influence=column(one.influence), basis=basis,
        reduced=column(one.reduced), weight=column(one.weight), scores=column(one.scores),
    )  # fmt: skip
