"""Did the emphasis of each subgroup do what it was for: every target of a study, answered at once."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Any

import pandas as pd

from cmjlab import checks
from cmjlab.errors import StatsError
from cmjlab.plan import Plan, Selection
from cmjlab.results import Case, Note, Result
from cmjlab.stats.common.best_of import best_notes
from cmjlab.stats.common.row_words import as_json
from cmjlab.stats.common.rows import Rows
from cmjlab.stats.common.tables import every_group
from cmjlab.stats.targets.answers import Answer, answer, count_athletes
from cmjlab.stats.targets.found import Found, Question, against, ask, within
from cmjlab.stats.targets.sentences import target_sentence
from cmjlab.stats.targets.wanted import read_targets
from cmjlab.tables import TARGET_ANSWERS


def change_targets(
    table: pd.DataFrame,
    targets: pd.DataFrame,
    plan: Plan | None = None,
    *,
    before: str,
    after: str,
    reliability: Any = None,
) -> Result:
    """Answer every target of a study: did the measure move as it was meant to, in its subgroup.

    Parameters
    ----------
    table : pandas.DataFrame
        One row per athlete and session: ``athlete``, ``session``, ``group`` and metrics.
    targets : pandas.DataFrame
        As ``study.targets`` or targets.csv: ``subgroup`` (a value of ``group``), ``metric``,
        ``wanted`` (more, less, unchanged), ``amount`` in the metric's unit, ``why``.
    plan : Plan, optional
        How the groups came about, ``control_group`` (the others are compared with it), ``level``,
        and ``change_that_matters``: the amount of a target that states none.
    before, after : str
        Sessions to compare.
    reliability : Result, or mapping of metric to (typical error, df), optional
        As :func:`cmjlab.change_individual` takes it; then athletes are counted one by one.

    Returns
    -------
    Result
        Rows ``target_interval`` (``case`` says of which statistic: mean_change,
        change_difference or adjusted_difference) and ``target_detectable``. Points ``targets``: one
        row per target with columns of ``cmjlab.tables.TARGET_ANSWERS``; its ``verdict`` is
        explained at :func:`cmjlab.stats.targets.wanted.verdict`.

    Raises
    ------
    StatsError
        No targets, a word or an amount that is not allowed, no groups, or what
        :func:`cmjlab.change_between` refuses.

    Notes
    -----
    Which estimate leads is decided as in :func:`cmjlab.change_between`. The intervals of each
    kind of estimate hold together at ``plan.level`` over all targets (see
    ``cmjlab.stats.targets.together``). The smallest detectable change is the true change that such
    an interval would tell from zero in 80 % of studies of this size and spread.

    Examples
    --------
    >>> import pandas as pd
    >>> table = pd.DataFrame({"athlete": ["A1", "A2", "A3", "B1", "B2", "B3"] * 2,
    ...     "group": ["jump"] * 3 + ["usual"] * 3 + ["jump"] * 3 + ["usual"] * 3,
    ...     "session": ["pre"] * 6 + ["post"] * 6, "jump_height_m": [0.31, 0.34, 0.29, 0.30, 0.33, 0.28,
    ...     0.36, 0.40, 0.34, 0.30, 0.34, 0.28]})
    >>> wish = pd.DataFrame({"subgroup": ["jump"], "metric": ["jump_height_m"], "wanted": ["more"],
    ...     "amount": [0.02]})
    >>> answers = change_targets(table, wish, Plan(control_group="usual", groups_formed="random"),
    ...     before="pre", after="post").points["targets"]
    >>> answers["verdict"].tolist()
    ['reached']
    """
    plan = checks.given_or_default("plan", plan, Plan)
    wanted = read_targets(targets, plan.change_that_matters)
    if not wanted:
        raise StatsError("targets: there are no rows; write one per subgroup and measure.")
    question = ask(table, wanted, plan, (before, after))
    inside = within(question, table, wanted)
    outside = against(question, table, wanted)
    people = count_athletes(question, table, wanted, reliability)
    answers = [
        answer(question, t, (inside[i], {s: f[i] for s, f in outside.items()}), people[i])
        for i, t in enumerate(wanted)
    ]
    rows = Rows(level=plan.level)
    for one in answers:
        _add_rows(rows, one, question, len(wanted))
    return Result(
        kind="targets",
        table=rows.frame(),
        points={"targets": TARGET_ANSWERS.frame([_point(a, question) for a in answers])},
        settings=_settings(question, table, answers),
        notes=_notes(question, answers),
        sentences=tuple(target_sentence(a, question.control) for a in answers),
    )


def _add_rows(rows: Rows, one: Answer, question: Question, targets: int) -> None:
    """Add the intervals of one target, the one that its verdict rests on leading."""
    prepared = question.prepared
    place = rows.at(metric=one.target.metric, group=one.target.subgroup)
    _add_found(place.at(first=prepared.after, second=prepared.before), one.within,
               one.basis == "within", targets)  # fmt: skip
    pair = place.at(first=one.target.subgroup, second=question.control)
    if one.basis == "against":
        leads = bool(question.leading["statistic"])
        _add_found(pair, one.main, leads, targets)
        if one.other is not None:
            _add_found(pair, one.other, False, targets)
    here = pair if one.basis == "against" else place
    why = one.main.reason if math.isnan(one.detectable) else None
    here.add("target_detectable", one.detectable, reason=why, level=one.main.level)


def _add_found(place: Any, found: Found, leads: bool, targets: int) -> None:
    place = place.at(case=Case(found.statistic), n=found.n)
    if not math.isfinite(found.estimate):
        place.none("target_interval", found.reason, leads=leads)
        return
    columns = dict(found.columns)
    columns["words"] = {**columns.get("words", {}), "targets": targets, "each": found.level}
    place.add(
        "target_interval",
        found.estimate,
        limits=(found.low, found.high),
        reason=None if found.has_interval else found.reason,
        remark=found.remark,
        leads=leads,
        se=found.se,
        df=found.df,
        interval_kind="targets_together" if found.has_interval else None,
        **columns,
    )


def _point(one: Answer, question: Question) -> dict[str, Any]:
    """Return the row of one target in the table of answers."""
    target, other = one.target, one.other
    why = None if one.main.has_interval else one.main.reason
    return {
        "subgroup": target.subgroup,
        "metric": target.metric,
        "wanted": target.wanted,
        "amount": target.amount,
        "verdict": one.code,
        "surely": one.surely,
        "n": one.within.n,
        "within": one.within.estimate,
        "within_low": one.within.low,
        "within_high": one.within.high,
        "basis": one.basis,
        "control": question.control if one.basis == "against" else None,
        "statistic": one.main.statistic,
        "change": one.main.estimate,
        "change_low": one.main.low,
        "change_high": one.main.high,
        "other_statistic": other.statistic if other else None,
        "other": other.estimate if other else math.nan,
        "other_low": other.low if other else math.nan,
        "other_high": other.high if other else math.nan,
        "other_verdict": one.other_code or None,
        "agree": one.agree,
        "level": question.plan.level,
        "level_of_each": one.main.level,
        "detectable": one.detectable,
        "athletes_beyond": one.athletes.beyond if one.athletes else None,
        "athletes_known": one.athletes.known if one.athletes else None,
        "reason_code": why.code if why else None,
        "word_values": as_json(why.values) if why else None,
        "why": target.why,
    }  # fmt: skip


def _settings(question: Question, table: pd.DataFrame, answers: Sequence[Answer]) -> dict[str, Any]:
    prepared, assignment = question.prepared, question.plan.assignment
    return {
        "metrics": list(prepared.metrics),
        "before": prepared.before,
        "after": prepared.after,
        "level": question.plan.level,
        "assignment": assignment.to_dict() if isinstance(assignment, Selection) else assignment,
        "control": question.control or None,
        "groups": every_group(table),
        "leading": dict(question.leading) if question.control else {"statistic": "", "why": "no_comparison"},
        "targets": len(answers),
    }  # fmt: skip


def _notes(question: Question, answers: Sequence[Answer]) -> tuple[Note, ...]:
    values = {"n": len(answers), "level": question.plan.level}
    notes = [Note("targets_together", values)] if len(answers) > 1 else []
    if not question.control:
        notes.append(Note("targets_within_only"))
        if question.biased_within:
            notes.append(Note("targets_within_biased", {"before": question.prepared.before}))
    elif not question.leading["statistic"]:
        notes.append(Note("targets_neither_leads"))
    if any(math.isnan(a.target.amount) for a in answers):
        notes.append(Note("targets_without_amount"))
    return (*notes, *best_notes(question.prepared.table))
