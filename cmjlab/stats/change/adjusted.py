"""Analysis of covariance for one metric: adjusted differences, means, slopes, leave-one-out."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np

from cmjlab.stats.change.design import Contrast, Design, fit, slope_design
from cmjlab.stats.change.pairs import Pairs
from cmjlab.stats.change.permutation import permutation_test
from cmjlab.stats.common.estimate_rows import Row, estimate_fields, not_estimable
from cmjlab.stats.common.least_squares import (
    COVARIANCES,
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

#: Share of leverage above which one athlete alone decides a coefficient.
_ALONE = 1.0 - 1e-9
_PERFECT = "interval not estimable: groups and baseline explain the values completely"


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
    place : dict
        metric, n, unit.
    level : float
    """

    model: LeastSquares
    pairs: Pairs
    design: Design
    contrasts: list[Contrast]
    place: Row
    level: float

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
    def words(self) -> str:
        """What is adjusted for, in words."""
        if not self.design.covariates:
            return "groups only (constant baseline)"
        more = ", ".join(self.design.covariates[1:])
        return "ANCOVA at the squad-mean baseline" + (f" and {more}" if more else "")

    def at(self, pair: Contrast) -> Row:
        """Return the place of a contrast's row."""
        return {**self.place, "contrast": f"{pair[0]} - {pair[1]}"}

    def fields(self, estimate: Estimate) -> Row:
        """Return the number fields, or the estimate with the reason when there is no interval."""
        if not self.perfect:
            return estimate_fields(estimate, self.level)
        value = float(estimate.estimate)
        return {"estimate": value, "level": self.level, "text": _PERFECT}


def explains_all(model: LeastSquares, pairs: Pairs) -> bool:
    """Return whether residuals are only rounding of the values."""
    size = max(float(np.abs(pairs.after).max()), 1e-300)
    return bool(np.abs(model.residuals).max() <= 1e-9 * size)


def adjusted_rows(ancova: Ancova) -> list[Row]:
    """Return every contrast with each kind of standard error, the default first."""
    rows: list[Row] = []
    for pair in ancova.contrasts:
        for kind in COVARIANCES:
            row = {
                **ancova.at(pair),
                "statistic": "adjusted_difference",
                "method": f"{ancova.words}; {COVARIANCES[kind]}",
            }
            if kind in ancova.kinds:
                found = contrast(ancova.model, ancova.design.weights(pair), kind)
                row |= ancova.fields(found)
            else:
                row["text"] = "not estimable: one athlete alone decides a coefficient"
            rows.append(row)
    return rows


def simultaneous_rows(ancova: Ancova) -> list[Row]:
    """Return intervals that hold for all contrasts at once, with p values to match.

    Multivariate t for both kinds of standard error (smallest df of the contrasts); for all
    pairs also Tukey-Kramer, which is not exact with a covariate but is what readers know.
    """
    if len(ancova.contrasts) < 2 or ancova.perfect:
        return []
    weights = np.array([ancova.design.weights(c) for c in ancova.contrasts])
    rows: list[Row] = []
    for kind in [k for k in ("hc2_bm", "classical") if k in ancova.kinds]:
        covariance = contrast_covariance(ancova.model, weights, kind)
        found = [contrast(ancova.model, w, kind) for w in weights]
        df = min(float(e.df) for e in found)
        together = Simultaneous(covariance, df)
        method = f"{ancova.words}; {COVARIANCES[kind]}; simultaneous, multivariate t"
        for pair, e in zip(ancova.contrasts, found, strict=True):
            p = together.p(float(e.estimate) / float(e.se))
            half = together.multiplier(ancova.level) * float(e.se)
            rows.append(_simultaneous_row(ancova, pair, e, (df, half, p, method)))
    k = len(ancova.design.groups)
    if len(ancova.contrasts) == k * (k - 1) // 2:
        half_factor = studentized_range_quantile(ancova.level, k, ancova.model.df) / np.sqrt(2.0)
        for pair in ancova.contrasts:
            e = contrast(ancova.model, ancova.design.weights(pair), "classical")
            t = abs(float(e.estimate) / float(e.se))
            p = studentized_range_tail(t * np.sqrt(2.0), k, ancova.model.df)
            method = f"{ancova.words}; classical standard error; Tukey-Kramer"
            detail = (float(ancova.model.df), half_factor * float(e.se), p, method)
            rows.append(_simultaneous_row(ancova, pair, e, detail))
    return rows


def _simultaneous_row(
    ancova: Ancova, pair: Contrast, e: Estimate, detail: tuple[float, float, float, str]
) -> Row:
    df, half, p, method = detail
    value, se = float(e.estimate), float(e.se)
    return {
        **ancova.at(pair),
        "statistic": "simultaneous_difference",
        "estimate": value,
        "ci_low": value - half,
        "ci_high": value + half,
        "level": ancova.level,
        "df": df,
        "se": se,
        "test_value": value / se,
        "p": float(e.p_value()),
        "p_adjusted": p,
        "method": method,
    }


def permutation_rows(ancova: Ancova) -> list[Row]:
    """Return the re-randomisation test of each contrast, with the smallest possible p."""
    rows: list[Row] = []
    for pair in ancova.contrasts:
        keep = np.isin(ancova.pairs.group, pair)
        part = ancova.pairs.take(keep)
        k = len(ancova.design.groups)
        covariates = ancova.design.columns[keep][:, k:]
        found = permutation_test(
            part.after, covariates - covariates.mean(axis=0), part.group == pair[0]
        )
        row: Row = {
            **ancova.at(pair),
            "n": len(part.athletes),
            "statistic": "permutation_p",
            "unit": "",
        }
        if found is None or ancova.perfect:
            rows.append(
                not_estimable(row, "permutation_p", "too few athletes, or no residual spread")
            )
            continue
        how = "all" if found.complete else "a random"
        row["method"] = f"{how} {found.deals} deals of the labels; studentised ANCOVA"
        row["p"] = found.p
        row["text"] = f"the smallest p that these group sizes can give is {found.floor:.3g}"
        rows.append(row)
    return rows


def mean_rows(ancova: Ancova) -> list[Row]:
    """Return each group's mean at the squad-mean covariates (no test: a mean is no question)."""
    rows = []
    for name in ancova.design.groups:
        n = int(ancova.design.columns[:, ancova.design.groups.index(name)].sum())
        for kind in [k for k in ("hc2_bm", "classical") if k in ancova.kinds]:
            found = contrast(ancova.model, ancova.design.mean_weights(name), kind)
            fields = ancova.fields(found)
            rows.append(
                {
                    **ancova.place,
                    "n": n,
                    "group": name,
                    "statistic": "adjusted_mean",
                    "method": f"{ancova.words}; {COVARIANCES[kind]}",
                    **{k: v for k, v in fields.items() if k not in ("test_value", "p")},
                }
            )
    return rows


def group_f_rows(ancova: Ancova) -> list[Row]:
    """Return the joint F test of equal adjusted means."""
    k = len(ancova.design.groups)
    ones = np.ones((len(ancova.pairs.after), 1))
    smaller = fit(ancova.pairs.after, np.hstack([ones, ancova.design.columns[:, k:]]))
    if smaller is None or ancova.perfect:
        return []
    f, df1, df2, p = f_test(smaller, ancova.model)
    row: Row = {**ancova.place, "unit": "", "statistic": "group_f", "test_value": f}
    row |= {"df": float(df1), "df2": float(df2), "p": p, "estimate": f * df1 / (f * df1 + df2)}
    row["method"] = "F test of equal adjusted means (Types II and III agree here)"
    row["text"] = "estimate is the partial eta squared"
    return [row]


def slope_rows(ancova: Ancova) -> list[Row]:
    """Return the differences of baseline slopes between groups, and the joint F test."""
    wide = slope_design(ancova.design)
    if wide is None:
        why = "too few athletes, or a baseline without spread, in a group"
        return [
            not_estimable({**ancova.at(c), "unit": ""}, "slope_difference", why)
            for c in ancova.contrasts
        ]
    larger = least_squares(ancova.pairs.after, wide)
    if explains_all(larger, ancova.pairs):
        why = "a line per group explains the values completely"
        return [
            not_estimable({**ancova.at(c), "unit": ""}, "slope_difference", why)
            for c in ancova.contrasts
        ]
    names, k = ancova.design.groups, len(ancova.design.groups)
    scale = ancova.pairs.before.std() if ancova.design.covariates[0] == "before" else 1.0
    alone = bool((larger.leverage > _ALONE).any())
    rows: list[Row] = []
    for pair in ancova.contrasts:
        weights = np.zeros(wide.shape[1])
        weights[k + names.index(pair[0])] = 1.0 / scale
        weights[k + names.index(pair[1])] = -1.0 / scale
        for kind in ["classical"] if alone else ["hc2_bm", "classical"]:
            row: Row = {**ancova.at(pair), "unit": "", "statistic": "slope_difference"}
            what = ancova.design.covariates[0]
            row["method"] = f"slope of after on {what}, by group; {COVARIANCES[kind]}"
            rows.append({**row, **estimate_fields(contrast(larger, weights, kind), ancova.level)})
    if larger.df >= ancova.model.df:
        return rows
    f, df1, df2, p = f_test(ancova.model, larger)
    joint: Row = {**ancova.place, "unit": "", "statistic": "slope_f", "test_value": f, "p": p}
    joint |= {"df": float(df1), "df2": float(df2), "method": "F test of equal baseline slopes"}
    joint["text"] = "shown, never used to choose a model"
    return [*rows, joint]


def adjusted_points(ancova: Ancova) -> list[Row]:
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


def leave_one_out(ancova: Ancova) -> list[Row]:
    """Return the adjusted differences without each athlete in turn, at the others' mean."""
    rows: list[Row] = []
    k = len(ancova.design.groups)
    for i, athlete in enumerate(ancova.pairs.athletes):
        keep = np.arange(len(ancova.pairs.athletes)) != i
        columns = ancova.design.columns[keep]
        columns = np.hstack([columns[:, :k], columns[:, k:] - columns[:, k:].mean(axis=0)])
        model = fit(ancova.pairs.after[keep], columns)
        for pair in ancova.contrasts if model is not None else []:
            value = float(model.coefficients @ ancova.design.weights(pair))  # type: ignore[union-attr]
            rows.append(
                {
                    "metric": ancova.pairs.metric,
                    "statistic": "adjusted_difference",
                    "contrast": f"{pair[0]} - {pair[1]}",
                    "athlete": athlete,
                    "estimate": value,
                }
            )
    return rows


def leave_one_out_rows(ancova: Ancova, points: list[Row]) -> list[Row]:
    """Return the range of each adjusted difference over leaving out one athlete."""
    rows: list[Row] = []
    for pair in ancova.contrasts:
        place = ancova.at(pair)
        mine = [p for p in points if p["contrast"] == place["contrast"]]
        if not mine:
            continue
        full = float(ancova.model.coefficients @ ancova.design.weights(pair))
        far = max(mine, key=lambda p: abs(p["estimate"] - full))
        row: Row = {**place, "statistic": "leave_one_out_range", "estimate": full}
        row["ci_low"] = min(p["estimate"] for p in mine)
        row["ci_high"] = max(p["estimate"] for p in mine)
        row["method"] = "range of adjusted_difference when one athlete at a time is left out"
        rows.append({**row, "text": f"moved most by leaving out {far['athlete']}"})
    return rows
