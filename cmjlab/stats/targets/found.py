"""The estimates behind the answers: every target within its group and against the comparison.

Nothing is estimated here: the numbers come from :func:`cmjlab.change_within` and
:func:`cmjlab.change_between`; only their intervals are set anew, so that they hold together.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any

import pandas as pd

from cmjlab.plan import Plan, Selection
from cmjlab.results import Reason, stored_reason, stored_values
from cmjlab.stats.change.change import change_between, change_within
from cmjlab.stats.change.comparison import GroupQuestion
from cmjlab.stats.change.design import selection_covariates
from cmjlab.stats.change.groups import absent_covariates
from cmjlab.stats.change.pairs import Pairs, Prepared, make_pairs, prepare
from cmjlab.stats.common.least_squares import Estimate
from cmjlab.stats.targets.together import (
    Scores,
    adjusted_scores,
    difference_scores,
    level_of_each,
    mean_scores,
)
from cmjlab.stats.targets.wanted import Target

WITHIN = "mean_change"
#: Differences of changes, the one that is shown first where neither leads.
DIFFERENCES = ("change_difference", "adjusted_difference")


@dataclass(frozen=True)
class Question:
    """What is asked of which table.

    Attributes
    ----------
    prepared : Prepared
    plan : Plan
    control : str
        Comparison group, "" when there is none.
    leading : mapping
        As :meth:`cmjlab.stats.change.comparison.GroupQuestion.leading` gives it.
    """

    prepared: Prepared
    plan: Plan
    control: str
    leading: Mapping[str, str]

    @property
    def biased_within(self) -> bool:
        """Whether groups were chosen in the session that their change starts from."""
        return self.leading["why"] == "selected_before"


@dataclass(frozen=True)
class Found:
    """One estimate of one target; nan with a reason where there is none.

    Attributes
    ----------
    statistic : str
    estimate, se, df : float
    n : int
        Athletes behind it.
    scores : mapping of athlete to float
        What each adds to the error.
    columns : mapping
        Estimator and words of its row.
    reason, remark : Reason or None
    level, low, high : float
        Of the interval that holds together with the others.
    """

    statistic: str
    estimate: float
    se: float
    df: float
    n: int
    scores: Scores
    columns: Mapping[str, Any]
    reason: Reason | None = None
    remark: Reason | None = None
    level: float = math.nan
    low: float = math.nan
    high: float = math.nan

    @property
    def has_interval(self) -> bool:
        """Whether there is a number with a standard error."""
        return all(map(math.isfinite, (self.estimate, self.se, self.df))) and self.se > 0


def ask(
    table: pd.DataFrame, targets: Sequence[Target], plan: Plan, times: tuple[str, str]
) -> Question:
    """Return the question: which rows, groups and comparison; ``times`` are (before, after)."""
    before, after = times
    named = dict.fromkeys(t.metric for t in targets)
    metrics = [m for m in named if m in table and table[m].notna().any()]
    assignment = plan.assignment
    present = set(table["session"].astype(str)) if "session" in table else set()
    also = [assignment.session] if isinstance(assignment, Selection) else []
    prepared = prepare(
        table, metrics or None, before=before, after=after, group="group",
        also=[s for s in also if s in present],
    )  # fmt: skip
    prepared = replace(prepared, metrics=metrics)
    order = prepared.group_order
    control = plan.control_group if plan.control_group in order and len(order) > 1 else ""
    leading = GroupQuestion(assignment, control or None, plan.level).leading(prepared.before)
    return Question(prepared, plan, control, leading)


def within(question: Question, table: pd.DataFrame, targets: Sequence[Target]) -> list[Found]:
    """Return the mean change of each target's subgroup."""
    prepared = question.prepared
    result = None
    if prepared.metrics:
        result = change_within(
            table, prepared.metrics, before=prepared.before, after=prepared.after,
            group="group", level=question.plan.level,
        )  # fmt: skip
    every = {m: make_pairs(prepared, m) for m in prepared.metrics}

    def one(target: Target) -> Found:
        missing = _missing(question, target)
        if result is None or missing is not None:
            return _none(WITHIN, missing)
        rows = result.rows(WITHIN, metric=target.metric, group=target.subgroup)
        return _found(rows.iloc[0], lambda: mean_scores(every[target.metric], target.subgroup))

    return together([one(t) for t in targets], question.plan.level)


def against(
    question: Question, table: pd.DataFrame, targets: Sequence[Target]
) -> dict[str, list[Found]]:
    """Return each target's differences to the comparison group, by statistic; none without one."""
    prepared, plan = question.prepared, question.plan
    if not question.control or not prepared.metrics:
        return {}
    result = change_between(
        table, prepared.metrics, before=prepared.before, after=prepared.after,
        assignment=plan.assignment, control=question.control, level=plan.level,
    ).with_details()  # fmt: skip
    every = {m: _pairs(question, m) for m in prepared.metrics}

    def one(target: Target, statistic: str) -> Found:
        if target.subgroup == question.control:
            return _none(statistic, Reason("target_of_comparison_group"))
        missing = _missing(question, target)
        if missing is not None:
            return _none(statistic, missing)
        pair = (target.subgroup, question.control)
        rows = result.rows(statistic, metric=target.metric, first=pair[0], second=pair[1])
        pairs = every[target.metric]
        if statistic == "change_difference":
            return _found(rows.iloc[0], lambda: difference_scores(pairs, pair))
        return _found(rows.iloc[0], lambda: adjusted_scores(pairs, pair, prepared, plan.assignment))

    return {s: together([one(t, s) for t in targets], plan.level) for s in DIFFERENCES}


def _pairs(question: Question, metric: str) -> Pairs:
    """Return the pairs that a comparison of groups rests on."""
    prepared = question.prepared
    covariates = selection_covariates(metric, prepared.before, question.plan.assignment)
    absent = absent_covariates(prepared, covariates)
    return make_pairs(prepared, metric, [] if absent else covariates)


def _missing(question: Question, target: Target) -> Reason | None:
    """Return why nothing can be said about a target at all."""
    prepared = question.prepared
    if target.metric not in prepared.metrics:
        return Reason("target_without_values")
    if target.subgroup not in prepared.group_order:
        return Reason("target_without_athletes", {"group": target.subgroup})
    return None


def _none(statistic: str, why: Reason | None) -> Found:
    nan = math.nan
    return Found(statistic, nan, nan, nan, 0, {}, {}, why or Reason("target_without_values"))


def _found(row: pd.Series, scores: Callable[[], Scores]) -> Found:
    """Return the estimate of a row of a change result."""
    words = {k: v for k, v in stored_values(row).items() if k != "metric"}
    columns = {} if pd.isna(row["estimator"]) else {"estimator": row["estimator"], "words": words}
    estimate, se, df = (float(row[c]) for c in ("estimate", "se", "df"))
    found = Found(
        str(row["statistic"]), estimate, se, df, int(row["n"]), {}, columns,
        stored_reason(row), stored_reason(row, "remark_code"),
    )  # fmt: skip
    return replace(found, scores=scores()) if found.has_interval else found


def together(every: Sequence[Found], level: float) -> list[Found]:
    """Return the estimates with intervals that hold for all of them at once."""
    each = level_of_each([f.scores for f in every if f.has_interval], level)
    out = []
    for found in every:
        if found.has_interval:
            low, high = Estimate(found.estimate, found.se, found.df).interval(each)
            found = replace(found, level=each, low=float(low), high=float(high))
        out.append(found)
    return out
