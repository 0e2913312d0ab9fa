"""Comparison of groups for one metric: ANCOVA and change scores, and which of them leads."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Any

import numpy as np

from cmjlab.errors import StatsError
from cmjlab.plan import Selection
from cmjlab.stats.change_design import (
    Contrast,
    Design,
    ancova_design,
    contrasts_of,
    fit,
    selection_covariates,
    slope_design,
)
from cmjlab.stats.change_difference import difference_rows
from cmjlab.stats.change_pairs import Pairs, Prepared, make_pairs
from cmjlab.stats.change_rows import Row, estimate_fields, not_estimable
from cmjlab.stats.change_sentences import between_sentences
from cmjlab.stats.linear import COVARIANCES, LeastSquares, contrast, f_test
from cmjlab.stats.tidy import unit_of

#: Share of leverage above which one athlete alone decides a coefficient.
_ALONE = 1.0 - 1e-9


@dataclass
class Between:
    """Everything about one metric's comparison."""

    pairs: Pairs
    leading: str = ""
    usable: bool = False
    why: str = ""
    baseline_gap: dict[str, float] = field(default_factory=dict)
    dropped: tuple[str, ...] = ()
    slopes_differ: tuple[float, int, int, float] | None = None
    small_groups: tuple[str, ...] = ()
    rows: list[Row] = field(default_factory=list)
    sentences: list[str] = field(default_factory=list)
    adjusted: list[Row] = field(default_factory=list)
    leave_one_out: list[Row] = field(default_factory=list)
    drift: list[Row] = field(default_factory=list)


def leading_statistic(assignment: str | Selection, before: str) -> str:
    """Return which estimate leads: adjusted_difference, change_difference or "" (neither)."""
    if isinstance(assignment, Selection):
        return "adjusted_difference" if assignment.session == before else "change_difference"
    return "adjusted_difference" if assignment == "random" else ""


def between_one(
    prepared: Prepared,
    metric: str,
    assignment: str | Selection,
    control: str | None,
    level: float,
) -> Between:
    """Compare the groups on one metric.

    Raises
    ------
    StatsError
        When a variable that decided the group is not in the table and the change starts
        from the session of the selection: every estimate would then be biased.
    """
    covariates = selection_covariates(metric, prepared.before, assignment)
    refused = _missing_selectors(prepared, covariates)
    leading = leading_statistic(assignment, prepared.before)
    if refused and leading == "adjusted_difference":
        raise StatsError(
            f"{metric}: the groups were selected on {', '.join(refused)}, which the table does not hold."
            " ANCOVA without every variable that decided the group is biased and is refused. Add the"
            " column(s), or compare from a baseline session that did not decide the group."
        )
    pairs = make_pairs(prepared, metric, [] if refused else covariates)
    out = Between(pairs, leading=leading)
    counts = {g: int((pairs.group == g).sum()) for g in prepared.group_order}
    out.small_groups = tuple(g for g, n in counts.items() if n < 2)
    enough = pairs.take(np.isin(pairs.group, [g for g, n in counts.items() if n >= 2]))
    contrasts = contrasts_of(prepared.group_order, control)
    out.why = _why_not(enough, counts, prepared)
    if out.why:
        place = {"metric": metric, "n": len(pairs.athletes), "unit": unit_of(metric)}
        for a, b in contrasts:
            for name in ("adjusted_difference", "change_difference"):
                out.rows.append(not_estimable({**place, "contrast": f"{a} - {b}"}, name, out.why))
        out.sentences = [f"{metric}: the groups cannot be compared: {out.why}."]
        return out
    out.usable = True
    _fill(out, enough, prepared, assignment, contrasts, level, refused)
    return out


def _missing_selectors(prepared: Prepared, covariates: list[tuple[str, str]]) -> list[str]:
    """Return the selecting values that the table cannot give, as ``metric in session``."""
    missing = []
    for metric, session in covariates:
        rows = prepared.table[prepared.table["session"].astype(str) == session]
        if metric not in prepared.table or rows.empty or rows[metric].notna().sum() == 0:
            missing.append(f"{metric} in {session}")
    return missing


def _why_not(pairs: Pairs, counts: dict[str, int], prepared: Prepared) -> str:
    listed = ", ".join(f"{g}: {n}" for g, n in counts.items())
    if sum(n >= 2 for n in counts.values()) < 2:
        return (
            f"athletes with values in both {prepared.before} and {prepared.after} by group are"
            f" {listed}; each of two groups needs at least 2"
        )
    if np.array_equal(pairs.before, pairs.after):
        return (
            f"{prepared.after} equals {prepared.before} for every athlete; one was probably copied"
            " from the other"
        )
    return ""


def _fill(
    out: Between,
    pairs: Pairs,
    prepared: Prepared,
    assignment: str | Selection,
    contrasts: list[Contrast],
    level: float,
    refused: list[str],
) -> None:
    metric = pairs.metric
    names = [f"{m} in {s}" for m, s in selection_covariates(metric, prepared.before, assignment)]
    design = ancova_design(pairs, prepared.group_order, [] if refused else names)
    out.dropped = design.dropped
    model = fit(pairs.after, design.columns)
    place = {"metric": metric, "n": len(pairs.athletes), "unit": unit_of(metric)}
    for pair in contrasts:
        here = {**place, "contrast": f"{pair[0]} - {pair[1]}"}
        if not set(pair) <= set(design.groups):
            few = ", ".join(g for g in pair if g not in design.groups)
            why = f"fewer than 2 complete athletes in {few}"
            out.rows.append(not_estimable(here, "adjusted_difference", why))
            continue
        if refused:
            why = f"ANCOVA is refused: the table does not hold {', '.join(refused)}, which decided the group"
            out.rows.append(not_estimable(here, "adjusted_difference", why))
        else:
            out.rows += _adjusted_rows(model, design, pair, here, level)
    if model is not None and not refused:
        out.rows += _mean_rows(model, design, place, level)
        out.rows += _group_f(model, pairs, design, place)
        _slopes(out, model, pairs, design, contrasts, place, level)
        out.adjusted = _adjusted_points(model, pairs, design)
        out.leave_one_out = _leave_one_out(pairs, design, contrasts)
        out.rows += _leave_one_out_rows(out.leave_one_out, model, design, contrasts, place)
    usable = [c for c in contrasts if set(c) <= set(design.groups)]
    out.rows += difference_rows(pairs, usable, place, level, isinstance(assignment, Selection))
    out.baseline_gap = _baseline_gap(pairs, usable)
    out.sentences = between_sentences(out.rows, pairs, usable, out.leading, prepared)


def _adjusted_rows(
    model: LeastSquares | None, design: Design, pair: Contrast, place: Row, level: float
) -> list[Row]:
    """Return the adjusted difference with each kind of standard error, the default first."""
    if model is None:
        why = "too few athletes for the covariates, or covariates that depend on each other"
        return [not_estimable(place, "adjusted_difference", why)]
    what = (
        "ANCOVA at the squad-mean baseline"
        if design.covariates
        else "groups only (constant baseline)"
    )
    rows: list[Row] = []
    alone = bool((model.leverage > _ALONE).any())
    for kind, words in COVARIANCES.items():
        row: Row = {**place, "statistic": "adjusted_difference", "method": f"{what}; {words}"}
        if alone and kind != "classical":
            row["text"] = "not estimable: one athlete alone decides a coefficient"
        else:
            row |= estimate_fields(contrast(model, design.weights(pair), kind), level)
            if "se" not in row:
                row["text"] = "interval not estimable: the baseline explains the values completely"
        rows.append(row)
    return rows


def _mean_rows(model: LeastSquares, design: Design, place: Row, level: float) -> list[Row]:
    rows = []
    for name in design.groups:
        n = int(design.columns[:, design.groups.index(name)].sum())
        for kind in ("hc2_bm", "classical"):
            if kind != "classical" and bool((model.leverage > _ALONE).any()):
                continue
            rows.append(
                {
                    **place,
                    "n": n,
                    "group": name,
                    "statistic": "adjusted_mean",
                    "method": f"ANCOVA at the squad-mean baseline; {COVARIANCES[kind]}",
                    **_without_test(
                        estimate_fields(contrast(model, design.mean_weights(name), kind), level)
                    ),
                }
            )
    return rows


def _without_test(fields: Row) -> Row:
    """Drop t and p of a mean: that a jump is higher than zero is no question."""
    return {k: v for k, v in fields.items() if k not in ("test_value", "p")}


def _group_f(model: LeastSquares, pairs: Pairs, design: Design, place: Row) -> list[Row]:
    """Return the joint F test of equal adjusted means."""
    k = len(design.groups)
    smaller = fit(pairs.after, np.hstack([np.ones((len(pairs.after), 1)), design.columns[:, k:]]))
    if smaller is None or float(model.variance) <= 0:
        return []
    f, df1, df2, p = f_test(smaller, model)
    eta = f * df1 / (f * df1 + df2)
    return [
        {
            **place,
            "unit": "",
            "statistic": "group_f",
            "method": "F test of equal adjusted means (Type II and III)",
            "test_value": f,
            "df": float(df1),
            "df2": float(df2),
            "p": p,
            "estimate": eta,
            "text": "estimate is the partial eta squared",
        }
    ]


def _slopes(
    out: Between,
    model: LeastSquares,
    pairs: Pairs,
    design: Design,
    contrasts: list[Contrast],
    place: Row,
    level: float,
) -> None:
    """Add the differences of baseline slopes between groups, with the joint F test."""
    wide = slope_design(design)
    for pair in contrasts if wide is None else []:
        why = "too few athletes, or a baseline without spread, in a group"
        out.rows.append(
            not_estimable({**place, "contrast": f"{pair[0]} - {pair[1]}"}, "slope_difference", why)
        )
    if wide is None:
        return
    larger = fit(pairs.after, wide)
    assert larger is not None
    k = len(design.groups)
    scale = pairs.before.std() if design.covariates[0] == "before" else 1.0
    for first, second in contrasts:
        if not {first, second} <= set(design.groups):
            continue
        weights = np.zeros(wide.shape[1])
        weights[k + design.groups.index(first)] = 1.0 / scale
        weights[k + design.groups.index(second)] = -1.0 / scale
        for kind in ("hc2_bm", "classical"):
            if kind == "hc2_bm" and bool((larger.leverage > _ALONE).any()):
                continue
            row = {
                **place,
                "unit": "",
                "contrast": f"{first} - {second}",
                "statistic": "slope_difference",
                "method": f"slope of after on before, by group; {COVARIANCES[kind]}",
                **estimate_fields(contrast(larger, weights, kind), level),
            }
            out.rows.append(row)
    if float(larger.variance) > 0 and larger.df < model.df:
        out.slopes_differ = f_test(model, larger)
        f, df1, df2, p = out.slopes_differ
        out.rows.append(
            {
                **place,
                "unit": "",
                "statistic": "slope_f",
                "method": "F test of equal baseline slopes",
                "test_value": f,
                "df": float(df1),
                "df2": float(df2),
                "p": p,
                "text": "shown, never used to choose a model",
            }
        )


def _adjusted_points(model: LeastSquares, pairs: Pairs, design: Design) -> list[Row]:
    """Return each athlete's value moved to the squad-mean baseline along the common slope."""
    k = len(design.groups)
    moved = pairs.after - design.columns[:, k:] @ model.coefficients[k:]
    return [
        {
            "metric": pairs.metric,
            "athlete": a,
            "group": str(g),
            "before": float(x),
            "after": float(y),
            "after_adjusted": float(m),
        }
        for a, g, x, y, m in zip(
            pairs.athletes, pairs.group, pairs.before, pairs.after, moved, strict=True
        )
    ]


def _leave_one_out(pairs: Pairs, design: Design, contrasts: list[Contrast]) -> list[Row]:
    """Return the adjusted differences without each athlete in turn."""
    rows: list[Row] = []
    for i, athlete in enumerate(pairs.athletes):
        keep = np.arange(len(pairs.athletes)) != i
        part = pairs.take(keep)
        columns = design.columns[keep].copy()
        k = len(design.groups)
        columns[:, k:] -= columns[:, k:].mean(axis=0)
        model = fit(part.after, columns)
        for pair in contrasts if model is not None else []:
            if set(pair) <= set(design.groups):
                value = float(model.coefficients @ design.weights(pair))  # type: ignore[union-attr]
                rows.append(
                    {
                        "metric": pairs.metric,
                        "statistic": "adjusted_difference",
                        "contrast": f"{pair[0]} - {pair[1]}",
                        "athlete": athlete,
                        "estimate": value,
                    }
                )
    return rows


def _leave_one_out_rows(
    points: list[Row], model: LeastSquares, design: Design, contrasts: list[Contrast], place: Row
) -> list[Row]:
    rows = []
    for pair in contrasts:
        name = f"{pair[0]} - {pair[1]}"
        values = [p["estimate"] for p in points if p["contrast"] == name]
        if not values:
            continue
        full = float(model.coefficients @ design.weights(pair))
        far = max(
            (p for p in points if p["contrast"] == name), key=lambda p: abs(p["estimate"] - full)
        )
        rows.append(
            {
                **place,
                "contrast": name,
                "statistic": "leave_one_out_range",
                "estimate": full,
                "ci_low": min(values),
                "ci_high": max(values),
                "method": "range of adjusted_difference when one athlete at a time is left out",
                "text": f"moved most by leaving out {far['athlete']}",
            }
        )
    return rows


def _baseline_gap(pairs: Pairs, contrasts: list[Contrast]) -> dict[str, Any]:
    """Return the baseline difference of each contrast in pooled SDs of ``before``."""
    gaps = {}
    for first, second in contrasts:
        a, b = pairs.before[pairs.group == first], pairs.before[pairs.group == second]
        df = len(a) + len(b) - 2
        pooled = np.sqrt((((a - a.mean()) ** 2).sum() + ((b - b.mean()) ** 2).sum()) / df)
        if pooled > 0:
            gaps[f"{first} - {second}"] = float((a.mean() - b.mean()) / pooled)
    return gaps
