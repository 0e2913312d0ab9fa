"""Analysis of covariance for one metric: adjusted differences, means, slopes, leave-one-out."""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import cached_property
from typing import Any

import numpy as np

from cmjlab.results import Reason
from cmjlab.stats.change.design import Contrast, Design, fit, slope_design
from cmjlab.stats.change.pairs import Pairs
from cmjlab.stats.change.permutation import permutation_test
from cmjlab.stats.common.least_squares import (
    COVARIANCES,
    Array,
    Estimate,
    LeastSquares,
    contrast,
    contrast_covariance,
    f_test,
    least_squares,
)
from cmjlab.stats.common.multiplicity import (
    Simultaneous,
    studentized_range_quantile,
    studentized_range_tail,
)
from cmjlab.stats.common.rows import Place

#: Share of leverage above which one athlete alone decides a coefficient.
_ALONE = 1.0 - 1e-9
#: Standard errors shown beside each other for means, slopes and simultaneous intervals.
_TWO_KINDS = ("hc2_bm", "classical")


@dataclass(frozen=True)
class Ancova:
    """A fitted comparison of groups and where its rows belong.

    Attributes
    ----------
    model : LeastSquares
    pairs : Pairs
        Athletes of groups with at least two of them.
    design : Design
    contrasts : list of (group, group)
        Differences are first - second.
    place : Place
        The metric.
    """

    model: LeastSquares
    pairs: Pairs
    design: Design
    contrasts: list[Contrast]
    place: Place

    @cached_property
    def perfect(self) -> bool:
        """Whether the model explains the values completely, to rounding."""
        return explains_all(self.model, self.pairs)

    @property
    def kinds(self) -> list[str]:
        """Standard errors that exist: HC kinds need every leverage below 1."""
        alone = bool((self.model.leverage > _ALONE).any())
        return ["classical"] if alone else list(COVARIANCES)

    @property
    def estimator(self) -> dict[str, Any]:
        """What is adjusted for: the key of the estimator and the values of its words."""
        covariates = self.design.covariates
        selectors = covariates[1:] if self.design.baseline else covariates
        words = {}
        if selectors:
            words = {"covariates": [m for m, _ in selectors], "covariates_session": selectors[0][1]}
        key = "ancova" if self.design.baseline else "ancova_without_baseline"
        if not covariates:
            key = "groups_only"
        elif selectors and self.design.baseline:
            key = "ancova_with_selectors"
        return {"estimator": key, "words": words}

    def at(self, pair: Contrast) -> Place:
        """Return the place of a contrast's rows."""
        return self.place.at(first=pair[0], second=pair[1])

    def sure(self, estimate: Estimate) -> Estimate:
        """Return the estimate, without a standard error where the model explains everything."""
        return replace(estimate, se=0.0) if self.perfect else estimate

    @property
    def no_interval(self) -> Reason | None:
        """Why no estimate has an interval, None when they have."""
        return Reason("explained_completely") if self.perfect else None


def explains_all(model: LeastSquares, pairs: Pairs) -> bool:
    """Return whether residuals are only rounding of the values."""
    size = max(float(np.abs(pairs.after).max()), 1e-300)
    return bool(np.abs(model.residuals).max() <= 1e-9 * size)


def add_adjusted_differences(ancova: Ancova, *, leads: bool) -> None:
    """Add every contrast with each kind of standard error; the first may lead."""
    for pair in ancova.contrasts:
        place = ancova.at(pair)
        for i, kind in enumerate(COVARIANCES):
            columns = {**ancova.estimator, "interval_kind": kind, "leads": None if i else leads}
            if kind not in ancova.kinds:
                place.none("adjusted_difference", Reason("one_athlete_decides"), **columns)
                continue
            found = contrast(ancova.model, ancova.design.weights(pair), kind)
            place.add_estimate(
                "adjusted_difference", ancova.sure(found), reason=ancova.no_interval, **columns
            )


def add_simultaneous_differences(ancova: Ancova) -> None:
    """Add intervals that hold for all contrasts at once, with p values to match.

    Multivariate t for both kinds of standard error (smallest df of the contrasts); for all
    pairs also Tukey-Kramer, which is not exact with a covariate but is what readers know.
    """
    if len(ancova.contrasts) < 2 or ancova.perfect:
        return
    weights = np.array([ancova.design.weights(c) for c in ancova.contrasts])
    for kind in [k for k in _TWO_KINDS if k in ancova.kinds]:
        found = _side_by_side(ancova, weights, kind)
        df = float(np.min(found.df))
        together = Simultaneous(contrast_covariance(ancova.model, weights, kind), df)
        p = [together.p(float(t)) for t in np.asarray(found.estimate / found.se)]
        multiplier = together.multiplier(ancova.place.level)
        _add_together(ancova, found, df, (multiplier, p), f"multivariate_t_{kind}")
    k = len(ancova.design.groups)
    if len(ancova.contrasts) == k * (k - 1) // 2:
        found = _side_by_side(ancova, weights, "classical")
        df = float(ancova.model.df)
        q = np.abs(found.estimate / found.se) * np.sqrt(2.0)
        p = [studentized_range_tail(float(x), k, df) for x in q]
        multiplier = studentized_range_quantile(ancova.place.level, k, df) / np.sqrt(2.0)
        _add_together(ancova, found, df, (multiplier, p), "tukey_kramer")


def _side_by_side(ancova: Ancova, weights: Array, kind: str) -> Estimate:
    """Return the contrasts of all rows of ``weights`` as one Estimate of arrays."""
    every = [contrast(ancova.model, w, kind) for w in weights]
    return Estimate(*(np.array([getattr(e, f) for e in every]) for f in ("estimate", "se", "df")))


def _add_together(
    ancova: Ancova,
    found: Estimate,
    df: float,
    together: tuple[float, list[float]],
    interval_kind: str,
) -> None:
    """Add one kind of simultaneous interval for all contrasts side by side.

    ``together`` is the multiplier of the standard errors, and the adjusted p values.
    """
    multiplier, p_adjusted = together
    place = ancova.place.at(
        first=[a for a, _ in ancova.contrasts], second=[b for _, b in ancova.contrasts]
    )
    place.add(
        "simultaneous_difference",
        found.estimate,
        limits=(found.estimate - multiplier * found.se, found.estimate + multiplier * found.se),
        df=df,
        se=found.se,
        test_value=found.estimate / found.se,
        p=found.p_value(),
        p_adjusted=p_adjusted,
        interval_kind=interval_kind,
        **ancova.estimator,
    )


def add_permutation_tests(ancova: Ancova) -> None:
    """Add the re-randomisation test of each contrast, with the smallest possible p."""
    for pair in ancova.contrasts:
        keep = np.isin(ancova.pairs.group, pair)
        both = ancova.pairs.take(keep)
        covariates = ancova.design.columns[keep][:, len(ancova.design.groups) :]
        found = permutation_test(
            both.after, covariates - covariates.mean(axis=0), both.group == pair[0]
        )
        place = ancova.at(pair).at(n=len(both.athletes))
        if found is None or ancova.perfect:
            place.none("permutation_p", Reason("nothing_to_permute"))
            continue
        place.add(
            "permutation_p",
            found.p,
            p=found.p,
            remark=Reason("smallest_p", {"smallest": found.floor}),
            estimator="all_deals" if found.complete else "drawn_deals",
            words={"deals": found.deals},
        )


def add_adjusted_means(ancova: Ancova) -> None:
    """Add each group's mean at the squad-mean covariates (no test: a mean is no question)."""
    for name in ancova.design.groups:
        n = int(ancova.design.columns[:, ancova.design.groups.index(name)].sum())
        for kind in [k for k in _TWO_KINDS if k in ancova.kinds]:
            found = contrast(ancova.model, ancova.design.mean_weights(name), kind)
            ancova.place.at(group=name, n=n).add_estimate(
                "adjusted_mean",
                ancova.sure(found),
                reason=ancova.no_interval,
                test_value=np.nan,
                p=np.nan,
                interval_kind=kind,
                **ancova.estimator,
            )


def add_group_f(ancova: Ancova) -> None:
    """Add the joint F test of equal adjusted means."""
    k = len(ancova.design.groups)
    ones = np.ones((len(ancova.pairs.after), 1))
    smaller = fit(ancova.pairs.after, np.hstack([ones, ancova.design.columns[:, k:]]))
    if smaller is not None and not ancova.perfect:
        found = f_test(smaller, ancova.model)
        _add_f("group_f", ancova.place, found, "f_of_means", Reason("partial_eta_squared"))


def _add_f(
    statistic: str,
    place: Place,
    found: tuple[float, int, int, float],
    estimator: str,
    remark: Reason,
) -> None:
    """Add an F test; its estimate is the partial eta squared."""
    f, df1, df2, p = found
    place.add(
        statistic,
        f * df1 / (f * df1 + df2),
        test_value=f,
        df=df1,
        df2=df2,
        p=p,
        remark=remark,
        estimator=estimator,
    )


def add_slope_differences(ancova: Ancova) -> None:
    """Add the differences of baseline slopes between groups, and the joint F test."""
    wide = slope_design(ancova.design)
    if wide is None:
        _no_slopes(ancova, Reason("slopes_need_spread"))
        return
    larger = least_squares(ancova.pairs.after, wide)
    if explains_all(larger, ancova.pairs):
        _no_slopes(ancova, Reason("slopes_explain_all"))
        return
    names, k = ancova.design.groups, len(ancova.design.groups)
    scale = ancova.pairs.before.std() if ancova.design.baseline else 1.0
    alone = bool((larger.leverage > _ALONE).any())
    measure, session = ancova.design.covariates[0]
    for pair in ancova.contrasts:
        weights = np.zeros(wide.shape[1])
        weights[k + names.index(pair[0])] = 1.0 / scale
        weights[k + names.index(pair[1])] = -1.0 / scale
        for kind in ["classical"] if alone else _TWO_KINDS:
            ancova.at(pair).add_estimate(
                "slope_difference",
                contrast(larger, weights, kind),
                estimator="slope_by_group",
                words={"covariate": measure, "covariate_session": session},
                interval_kind=kind,
            )
    if larger.df < ancova.model.df:
        found = f_test(ancova.model, larger)
        _add_f("slope_f", ancova.place, found, "f_of_slopes", Reason("slopes_only_shown"))


def _no_slopes(ancova: Ancova, why: Reason) -> None:
    for pair in ancova.contrasts:
        ancova.at(pair).none("slope_difference", why)


def adjusted_points(ancova: Ancova) -> list[dict[str, Any]]:
    """Return each athlete's value moved to the squad-mean covariates along the common slopes."""
    k = len(ancova.design.groups)
    p = ancova.pairs
    moved = p.after - ancova.design.columns[:, k:] @ ancova.model.coefficients[k:]
    return [
        {
            "metric": p.metric,
            "athlete": a,
            "group": str(g),
            "before": float(x),
            "after": float(y),
            "after_adjusted": float(m),
        }
        for a, g, x, y, m in zip(p.athletes, p.group, p.before, p.after, moved, strict=True)
    ]


def leave_one_out(ancova: Ancova) -> list[dict[str, Any]]:
    """Return the adjusted differences without each athlete in turn, at the others' mean."""
    rows: list[dict[str, Any]] = []
    k = len(ancova.design.groups)
    for i, athlete in enumerate(ancova.pairs.athletes):
        keep = np.arange(len(ancova.pairs.athletes)) != i
        columns = ancova.design.columns[keep]
        columns = np.hstack([columns[:, :k], columns[:, k:] - columns[:, k:].mean(axis=0)])
        model = fit(ancova.pairs.after[keep], columns)
        if model is None:
            continue
        for first, second in ancova.contrasts:
            rows.append(
                {
                    "metric": ancova.pairs.metric,
                    "statistic": "adjusted_difference",
                    "first": first,
                    "second": second,
                    "athlete": athlete,
                    "estimate": float(model.coefficients @ ancova.design.weights((first, second))),
                }
            )
    return rows


def add_ranges_without_one(ancova: Ancova, without: list[dict[str, Any]]) -> None:
    """Add the range of each adjusted difference over leaving out one athlete.

    ``without`` is what :func:`leave_one_out` returned.
    """
    for pair in ancova.contrasts:
        mine = [row for row in without if (row["first"], row["second"]) == pair]
        if not mine:
            continue
        full = float(ancova.model.coefficients @ ancova.design.weights(pair))
        far = max(mine, key=lambda row: abs(row["estimate"] - full))
        values = [row["estimate"] for row in mine]
        ancova.at(pair).add(
            "leave_one_out_range",
            full,
            limits=(min(values), max(values)),
            level=np.nan,
            remark=Reason("moved_most", {"athlete": far["athlete"]}),
            estimator="difference_leaving_out",
            interval_kind="range",
        )
