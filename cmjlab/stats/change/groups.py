"""Comparison of groups for one metric: ANCOVA and change scores, and which of them leads."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from cmjlab.errors import StatsError
from cmjlab.plan import Selection
from cmjlab.results import Reason, Sentence
from cmjlab.stats.change import adjusted as adjust
from cmjlab.stats.change.along_baseline import (
    add_along_baseline,
    along_points,
    lines_of,
    slopes_differ,
)
from cmjlab.stats.change.comparison import Comparison, GroupQuestion
from cmjlab.stats.change.design import (
    Contrast,
    ancova_design,
    contrasts_of,
    fit,
    selection_covariates,
)
from cmjlab.stats.change.difference import add_change_differences
from cmjlab.stats.change.overlap import contrasts_apart, middle_outside
from cmjlab.stats.change.pairs import Covariate, Pairs, Prepared, make_pairs
from cmjlab.stats.change.selected import add_selected_groups
from cmjlab.stats.change.sentences import between_sentences
from cmjlab.stats.common.rows import Place, Rows


def compare_groups(prepared: Prepared, metric: str, question: GroupQuestion) -> Comparison:
    """Compare the groups on one metric.

    Raises
    ------
    StatsError
        When a variable that decided the group is not in the table and the change starts
        from the session of the selection: every estimate would then be biased.
    """
    covariates = selection_covariates(metric, prepared.before, question.assignment)
    absent = absent_covariates(prepared, covariates)
    leading = question.leading(prepared.before)["statistic"]
    if absent and leading == "adjusted_difference":
        names = ", ".join(f"{m} in {s}" for m, s in absent)
        raise StatsError(
            f"{metric}: the groups were selected on {names}, which the table does not hold."
            " ANCOVA without every variable that decided the group is biased and is refused. Add the"
            " column(s), or compare from a baseline session that did not decide the group."
        )
    pairs = make_pairs(prepared, metric, [] if absent else covariates)
    out = Comparison(pairs, Rows(level=question.level), leading=leading)
    sizes = {g: int((pairs.group == g).sum()) for g in prepared.group_order}
    out.small_groups = tuple(g for g, n in sizes.items() if n < 2)
    enough = pairs.take(np.isin(pairs.group, [g for g, n in sizes.items() if n >= 2]))
    out.why_not = _why_not(enough, sizes, prepared)
    place = out.rows.at(metric=metric, n=len(enough.athletes), role=question.role)
    contrasts = contrasts_of(prepared.group_order, question.control)
    usable = [] if out.why_not else [c for c in contrasts if not set(c) & set(out.small_groups)]
    _add_not_compared(out, [c for c in contrasts if c not in usable], place)
    if out.why_not:
        out.sentences.append(Sentence("change.not_comparable", metric, values={"why": out.why_not}))
        return out
    _add_ancova(out, enough, prepared, usable, question, absent, place)
    add_change_differences(enough, usable, place, question, leading)
    out.baseline_gap = _baseline_gap(enough, usable)
    out.sentences += between_sentences(out, enough, usable, prepared)
    out.along = along_points(metric, out.lines)
    if isinstance(question.assignment, Selection):
        add_selected_groups(out, prepared, question, usable)
    return out


def absent_covariates(prepared: Prepared, covariates: list[Covariate]) -> list[Covariate]:
    """Return the selecting values that the table cannot give."""
    absent = []
    for metric, session in covariates:
        rows = prepared.table[prepared.table["session"].astype(str) == session]
        if metric not in prepared.table or rows.empty or rows[metric].notna().sum() == 0:
            absent.append((metric, session))
    return absent


def _why_not(pairs: Pairs, sizes: dict[str, int], prepared: Prepared) -> Reason | None:
    """Return why no groups can be compared at all, None when some can."""
    values = {"before": prepared.before, "after": prepared.after}
    if sum(n >= 2 for n in sizes.values()) < 2:
        counts = {"groups": list(sizes), "counts": list(sizes.values())}
        return Reason("groups_too_small", {**values, **counts})
    if np.array_equal(pairs.before, pairs.after):
        return Reason("copied_session", values)
    return None


def _add_not_compared(out: Comparison, contrasts: list[Contrast], place: Place) -> None:
    """Add rows that say why two groups are not compared."""
    for first, second in contrasts:
        small = [g for g in (first, second) if g in out.small_groups]
        why = out.why_not or Reason("group_too_small", {"groups": small})
        for statistic in ("adjusted_difference", "change_difference"):
            place.at(first=first, second=second).none(
                statistic, why, leads=statistic == out.leading
            )


def _add_ancova(
    out: Comparison,
    pairs: Pairs,
    prepared: Prepared,
    contrasts: list[Contrast],
    question: GroupQuestion,
    absent: list[Covariate],
    place: Place,
) -> None:
    """Add the rows of the analysis of covariance, or the reason why there are none."""
    covariates = selection_covariates(pairs.metric, prepared.before, question.assignment)
    design = ancova_design(pairs, prepared, [] if absent else covariates)
    out.constant = design.constant
    model = fit(pairs.after, design.columns)
    leads = out.leading == "adjusted_difference"
    if absent or model is None:
        why = Reason("too_few_for_covariates")
        if absent:
            names = {"covariates": [m for m, _ in absent], "covariates_session": absent[0][1]}
            why = Reason("ancova_refused", names)
        for first, second in contrasts:
            place.at(first=first, second=second).none("adjusted_difference", why, leads=leads)
        return
    no = contrasts_apart(pairs, design, contrasts, question.assignment)
    for pair, why in no.items():
        here = place.at(first=pair[0], second=pair[1])
        for i, kind in enumerate(adjust.COVARIANCES):  # no kind of standard error helps
            words = {"interval_kind": kind, "leads": None if i else leads}
            here.none("adjusted_difference", why, **words)
    whole = adjust.Ancova(model, pairs, design, contrasts, place)
    ancova = replace(whole, contrasts=[c for c in contrasts if c not in no])
    adjust.add_adjusted_differences(ancova, leads=leads)
    adjust.add_simultaneous_differences(ancova)
    if not no:  # these speak of all groups at one value of the covariates
        adjust.add_adjusted_means(ancova)
        adjust.add_group_f(ancova)
    adjust.add_slope_differences(whole)
    out.extrapolated = middle_outside(pairs, design)
    if slopes_differ(out.rows) is not None:
        out.lines = lines_of(ancova, question.level)
        add_along_baseline(ancova, out.lines)
    if question.assignment == "random":
        adjust.add_permutation_tests(ancova)
    out.adjusted = adjust.adjusted_points(ancova)
    out.leave_one_out = adjust.leave_one_out(ancova)
    adjust.add_ranges_without_one(ancova, out.leave_one_out)


def _baseline_gap(pairs: Pairs, contrasts: list[Contrast]) -> dict[Contrast, float]:
    """Return the baseline difference of each contrast in pooled SDs of ``before``."""
    gaps = {}
    for first, second in contrasts:
        a, b = pairs.before[pairs.group == first], pairs.before[pairs.group == second]
        df = len(a) + len(b) - 2
        pooled = np.sqrt((((a - a.mean()) ** 2).sum() + ((b - b.mean()) ** 2).sum()) / df)
        if pooled > 1e-10 * max(float(np.abs(pairs.before).max()), 1e-300):
            gaps[first, second] = float((a.mean() - b.mean()) / pooled)
    return gaps
