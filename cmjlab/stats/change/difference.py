"""Differences of change scores between groups, and their standardised forms."""

from __future__ import annotations

import numpy as np

from cmjlab.results import Reason
from cmjlab.stats.change.comparison import GroupQuestion
from cmjlab.stats.change.design import Contrast
from cmjlab.stats.change.paired import no_spread
from cmjlab.stats.change.pairs import Pairs
from cmjlab.stats.common.effect_sizes import (
    approximate_j,
    hedges_j,
    noncentrality_interval,
    pooled_sd,
)
from cmjlab.stats.common.least_squares import (
    Estimate,
    contrast,
    contrast_covariance,
    least_squares,
)
from cmjlab.stats.common.multiplicity import Simultaneous
from cmjlab.stats.common.rows import Place

#: How the standard error of a difference of changes is computed, the default first.
KINDS = {"hc2_bm": "welch_bm", "classical": "pooled_t"}


def add_change_differences(
    pairs: Pairs, contrasts: list[Contrast], place: Place, question: GroupQuestion, leading: str
) -> None:
    """Add change differences, Hedges' g of the changes, and Morris' d_ppc2.

    Parameters
    ----------
    pairs : Pairs
    contrasts : list of (group, group)
        Differences are first - second.
    place : Place
        The metric.
    question : GroupQuestion
    leading : str
        Statistic that leads. Where groups were selected on the session that the change starts
        from, the change is biased by regression to the mean and stands for comparison only.
    """
    selected = not isinstance(question.assignment, str)
    biased = selected and leading == "adjusted_difference"
    remark = Reason("comparison_only") if biased else None
    for first, second in contrasts:
        one, two = pairs.take(pairs.group == first), pairs.take(pairs.group == second)
        here = place.at(first=first, second=second, n=len(one.before) + len(two.before))
        _add_difference(one, two, here, leads=leading == "change_difference", remark=remark)
        if no_spread(one.change, one.before) and no_spread(two.change, two.before):
            for statistic in ("hedges_g_between", "dppc2"):
                here.none(statistic, Reason("no_spread_in_either_group"))
            continue
        _add_hedges_g(one, two, here, remark)
        _add_dppc2(one, two, here, selected=selected)
    _add_simultaneous(pairs, contrasts, place, leads=leading == "change_difference", remark=remark)


def _add_simultaneous(
    pairs: Pairs, contrasts: list[Contrast], place: Place, *, leads: bool, remark: Reason | None
) -> None:
    """Add intervals of the change differences that hold for all contrasts at once.

    Multivariate t, as Dunnett (1955) for several groups against one control; the classical kind
    pools the spread of all groups, the other takes each group's own (smallest df of the contrasts).
    """
    names = tuple(dict.fromkeys(name for c in contrasts for name in c))
    if len(contrasts) < 2 or no_spread_in_any(pairs, names):
        return
    inside = pairs.take(np.isin(pairs.group, names))
    columns = np.column_stack([(inside.group == name).astype(np.float64) for name in names])
    model = least_squares(inside.change, columns)
    weights = np.zeros((len(contrasts), len(names)))
    for row, (first, second) in zip(weights, contrasts, strict=True):
        row[names.index(first)], row[names.index(second)] = 1.0, -1.0
    here = place.at(first=[c[0] for c in contrasts], second=[c[1] for c in contrasts])
    for covariance in KINDS:
        every = [contrast(model, w, covariance) for w in weights]
        found = Estimate(
            *(np.array([getattr(e, f) for e in every]) for f in ("estimate", "se", "df"))
        )
        df = float(np.min(found.df))
        together = Simultaneous(contrast_covariance(model, weights, covariance), df)
        half = together.multiplier(place.level) * found.se
        here.add(
            "simultaneous_difference",
            found.estimate,
            limits=(found.estimate - half, found.estimate + half),
            df=df,
            se=found.se,
            test_value=found.estimate / found.se,
            p=found.p_value(),
            p_adjusted=[together.p(float(t)) for t in np.asarray(found.estimate / found.se)],
            n=[int(np.isin(inside.group, c).sum()) for c in contrasts],
            remark=remark,
            estimator="change_scores",
            interval_kind=f"multivariate_t_{covariance}",
            leads=True if leads and covariance == next(iter(KINDS)) else None,
        )


def no_spread_in_any(pairs: Pairs, names: tuple[str, ...]) -> bool:
    """Return whether the changes of a group have no spread: no interval can hold for all then."""
    members = [pairs.take(pairs.group == name) for name in names]
    return any(no_spread(one.change, one.before) for one in members)


def _add_difference(
    one: Pairs, two: Pairs, place: Place, *, leads: bool, remark: Reason | None
) -> None:
    change = np.concatenate([one.change, two.change])
    columns = np.zeros((len(change), 2))
    columns[: len(one.change), 0] = 1.0
    columns[len(one.change) :, 1] = 1.0
    model = least_squares(change, columns)
    flat = no_spread(one.change, one.before) and no_spread(two.change, two.before)
    for covariance, interval_kind in KINDS.items():
        found = contrast(model, np.array([1.0, -1.0]), covariance)
        place.add_estimate(
            "change_difference",
            Estimate(found.estimate, 0.0, found.df) if flat else found,
            reason=Reason("same_change_in_groups") if flat else None,
            remark=remark,
            leads=leads if covariance == next(iter(KINDS)) else None,
            estimator="change_scores",
            interval_kind=interval_kind,
        )


def _effect_limits(one: Pairs, two: Pairs, level: float) -> tuple[float, float, float, float]:
    """Return the difference in pooled SDs of change, its noncentral-t limits, and the df."""
    spread, df = pooled_sd(one.change, two.change)
    root = float(np.sqrt(1 / len(one.change) + 1 / len(two.change)))
    d = float(one.change.mean() - two.change.mean()) / spread
    low, high = (float(x) * root for x in noncentrality_interval(d / root, float(df), level))
    return d, low, high, float(df)


def _add_hedges_g(one: Pairs, two: Pairs, place: Place, remark: Reason | None) -> None:
    d, low, high, df = _effect_limits(one, two, place.level)
    place.add(
        "hedges_g_between",
        d * float(hedges_j(df)),
        limits=(low, high),
        df=df,
        remark=remark,
        leads=remark is None,
        estimator="difference_by_sd_of_changes",
        interval_kind="noncentral_t_without_j",
    )


def _add_dppc2(one: Pairs, two: Pairs, place: Place, *, selected: bool) -> None:
    """Add d_ppc2; not for groups cut on a baseline, because the cut shrinks its SD."""
    baseline, _ = pooled_sd(one.before, two.before)
    if selected:
        place.none("dppc2", Reason("cut_on_baseline"))
        return
    if baseline <= 1e-10 * float(np.abs(one.before).max()):
        place.none("dppc2", Reason("baseline_without_spread"))
        return
    spread, _ = pooled_sd(one.change, two.change)
    _, low, high, df = _effect_limits(one, two, place.level)
    difference = float(one.change.mean() - two.change.mean())
    ratio = spread / baseline
    place.add(
        "dppc2",
        approximate_j(df) * difference / baseline,
        limits=(low * ratio, high * ratio),
        df=df,
        estimator="difference_by_sd_before",
        interval_kind="noncentral_t_rescaled",
    )
