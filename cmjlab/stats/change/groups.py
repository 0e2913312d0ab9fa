"""Comparison of groups for one metric: ANCOVA and change scores, and which of them leads."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Any

import numpy as np

from cmjlab.errors import StatsError
from cmjlab.plan import Selection
from cmjlab.results import Note
from cmjlab.stats.change import adjusted as adjust
from cmjlab.stats.change.design import (
    Contrast,
    ancova_design,
    contrasts_of,
    fit,
    selection_covariates,
)
from cmjlab.stats.change.difference import difference_rows
from cmjlab.stats.change.pairs import Pairs, Prepared, make_pairs
from cmjlab.stats.change.selected import selected_part
from cmjlab.stats.change.sentences import between_sentences
from cmjlab.stats.common.estimate_rows import Row, not_estimable
from cmjlab.stats.common.tables import unit_of

#: First words of the text of rows that no conclusion may rest on.
COMPARISON_ONLY = "for comparison only"


@dataclass
class Between:
    """Everything about one metric's comparison."""

    pairs: Pairs
    leading: str = ""
    usable: bool = False
    why: str = ""
    baseline_gap: dict[str, float] = field(default_factory=dict)
    dropped: tuple[str, ...] = ()
    small_groups: tuple[str, ...] = ()
    rows: list[Row] = field(default_factory=list)
    sentences: list[str] = field(default_factory=list)
    notes: list[Note] = field(default_factory=list)
    adjusted: list[Row] = field(default_factory=list)
    leave_one_out: list[Row] = field(default_factory=list)
    drift: list[Row] = field(default_factory=list)


@dataclass(frozen=True)
class Question:
    """What is compared and how: assignment, control group, level, a second baseline."""

    assignment: str | Selection
    control: str | None
    level: float
    second_baseline: str = ""


def leading_statistic(assignment: str | Selection, before: str) -> str:
    """Return which estimate leads: adjusted_difference, change_difference or "" (neither)."""
    if isinstance(assignment, Selection):
        return "adjusted_difference" if assignment.session == before else "change_difference"
    return "adjusted_difference" if assignment == "random" else ""


def between_one(prepared: Prepared, metric: str, question: Question) -> Between:
    """Compare the groups on one metric.

    Raises
    ------
    StatsError
        When a variable that decided the group is not in the table and the change starts
        from the session of the selection: every estimate would then be biased.
    """
    covariates = selection_covariates(metric, prepared.before, question.assignment)
    refused = _missing_selectors(prepared, covariates)
    leading = leading_statistic(question.assignment, prepared.before)
    if refused and leading == "adjusted_difference":
        raise StatsError(
            f"{metric}: the groups were selected on {', '.join(refused)}, which the table does not hold."
            " ANCOVA without every variable that decided the group is biased and is refused. Add the"
            " column(s), or compare from a baseline session that did not decide the group."
        )
    out = Between(make_pairs(prepared, metric, [] if refused else covariates), leading=leading)
    counts = {g: int((out.pairs.group == g).sum()) for g in prepared.group_order}
    out.small_groups = tuple(g for g, n in counts.items() if n < 2)
    enough = out.pairs.take(np.isin(out.pairs.group, [g for g, n in counts.items() if n >= 2]))
    contrasts = contrasts_of(prepared.group_order, question.control)
    place = {"metric": metric, "n": len(enough.athletes), "unit": unit_of(metric)}
    out.why = _why_not(enough, counts, prepared)
    few = [c for c in contrasts if set(c) & set(out.small_groups)]
    for a, b in contrasts if out.why else few:
        names = ", ".join(g for g in (a, b) if g in out.small_groups)
        why = out.why or f"fewer than 2 complete athletes in {names}"
        for name in ("adjusted_difference", "change_difference"):
            out.rows.append(not_estimable({**place, "contrast": f"{a} - {b}"}, name, why))
    if out.why:
        out.sentences = [f"{metric}: the groups cannot be compared: {out.why}."]
        return out
    out.usable = True
    usable = [c for c in contrasts if c not in few]
    _ancova(out, enough, prepared, usable, question, refused, place)
    selected = isinstance(question.assignment, Selection)
    differences = difference_rows(enough, usable, place, question.level, selected)
    if selected and leading == "adjusted_difference":
        for row in differences:
            if row["statistic"] in ("change_difference", "hedges_g"):
                more = f"; {row['text']}" if row.get("text") else ""
                row["text"] = f"{COMPARISON_ONLY}: biased by regression to the mean{more}"
    out.rows += differences
    out.baseline_gap = _baseline_gap(enough, usable)
    out.sentences = between_sentences(out.rows, enough, usable, out.leading, prepared)
    if selected:
        part = selected_part(prepared, enough, question, usable)
        out.rows, out.drift = out.rows + part.rows, part.points
        out.sentences, out.notes = out.sentences + part.sentences, part.notes
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


def _ancova(
    out: Between,
    pairs: Pairs,
    prepared: Prepared,
    contrasts: list[Contrast],
    question: Question,
    refused: list[str],
    place: Row,
) -> None:
    """Add the rows of the analysis of covariance, or the reason why there are none."""
    why = ""
    if refused:
        why = f"ANCOVA is refused: the table does not hold {', '.join(refused)}, which decided the group"
    names = [
        f"{m} in {s}"
        for m, s in selection_covariates(pairs.metric, prepared.before, question.assignment)
    ]
    design = ancova_design(pairs, prepared.group_order, [] if refused else names)
    out.dropped = design.dropped
    model = fit(pairs.after, design.columns)
    if model is None:
        why = why or "too few athletes for the covariates, or covariates that depend on each other"
    if why or model is None:
        for a, b in contrasts:
            here = {**place, "contrast": f"{a} - {b}"}
            out.rows.append(not_estimable(here, "adjusted_difference", why))
        return
    ancova = adjust.Ancova(model, pairs, design, contrasts, place, question.level)
    out.rows += adjust.adjusted_rows(ancova)
    out.rows += adjust.simultaneous_rows(ancova)
    out.rows += adjust.mean_rows(ancova)
    out.rows += adjust.group_f_rows(ancova)
    out.rows += adjust.slope_rows(ancova)
    if question.assignment == "random":
        out.rows += adjust.permutation_rows(ancova)
    out.adjusted = adjust.adjusted_points(ancova)
    out.leave_one_out = adjust.leave_one_out(ancova)
    out.rows += adjust.leave_one_out_rows(ancova, out.leave_one_out)


def _baseline_gap(pairs: Pairs, contrasts: list[Contrast]) -> dict[str, Any]:
    """Return the baseline difference of each contrast in pooled SDs of ``before``."""
    gaps = {}
    for first, second in contrasts:
        a, b = pairs.before[pairs.group == first], pairs.before[pairs.group == second]
        df = len(a) + len(b) - 2
        pooled = np.sqrt((((a - a.mean()) ** 2).sum() + ((b - b.mean()) ** 2).sum()) / df)
        if pooled > 1e-10 * max(float(np.abs(pairs.before).max()), 1e-300):
            gaps[f"{first} - {second}"] = float((a.mean() - b.mean()) / pooled)
    return gaps
