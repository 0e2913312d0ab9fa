"""Groups that were selected on a baseline: drift, change beyond it, constrained model."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from cmjlab.plan import Selection
from cmjlab.results import Note, Reason
from cmjlab.stats.change.comparison import Comparison, GroupQuestion
from cmjlab.stats.change.design import Contrast
from cmjlab.stats.change.drift import constrained_model
from cmjlab.stats.change.drift_rows import add_no_drift, drift_of_group
from cmjlab.stats.change.pairs import Prepared
from cmjlab.stats.common.least_squares import Estimate


def add_selected_groups(
    out: Comparison, prepared: Prepared, question: GroupQuestion, contrasts: list[Contrast]
) -> None:
    """Add drift and change beyond it for each group, and the constrained model.

    Parameters
    ----------
    out : Comparison
        Gets the rows, points, sentences and notes.
    prepared : Prepared
    question : GroupQuestion
        ``assignment`` is a Selection.
    contrasts : list of (group, group)
    """
    selection = question.assignment
    assert isinstance(selection, Selection)
    metric, second = out.pairs.metric, question.second_baseline
    for group in [g for g in prepared.group_order if any(g in c for c in contrasts)]:
        if not second:
            place = out.rows.at(metric=metric, group=group, role=question.role)
            add_no_drift(place, Reason("one_baseline", {"session": selection.session}))
            continue
        based = replace(prepared, before=second)
        found = drift_of_group(out.rows, based, metric, selection, group, role=question.role)
        out.drift += found.points
        out.notes += [n for n in found.notes if n not in out.notes]
        out.sentences += found.sentences
    if not second:
        out.notes.append(Note("drift_unknown", {"metric": metric, "session": selection.session}))
    if selection.metrics == (metric,):
        sessions = [s for s in (selection.session, second, prepared.after) if s]
        if prepared.before not in sessions:
            sessions.insert(1, prepared.before)
        _add_constrained(out, prepared, sessions, question, contrasts)


def _add_constrained(
    out: Comparison,
    prepared: Prepared,
    sessions: list[str],
    question: GroupQuestion,
    contrasts: list[Contrast],
) -> None:
    """Add the differences after the block; only where the outcome itself was selected on."""
    metric, order = out.pairs.metric, list(prepared.group_order)
    control = question.control or order[0]
    order.remove(control)
    columns = [prepared.values(metric, s) for s in sessions]
    who = [a for a in prepared.groups if any(a in c for c in columns)]
    values = np.array([[c.get(a, np.nan) for c in columns] for a in who]).reshape(len(who), -1)
    number = {control: 0, **{g: i + 1 for i, g in enumerate(order)}}
    group = np.array([number[prepared.groups[a]] for a in who])
    estimates, status = constrained_model(values, group, np.isfinite(values))
    for name, estimate in zip(order, estimates, strict=True):
        if (name, control) not in contrasts:
            continue
        fitted = int(status[0]) <= 1 and np.isfinite(float(estimate.se))
        out.rows.at(
            metric=metric, first=name, second=control, n=len(who), role=question.role
        ).add_estimate(
            "adjusted_difference",
            estimate if fitted else Estimate(np.nan, np.nan, np.nan),
            reason=None if fitted else Reason("model_not_fitted"),
            remark=Reason("narrower_than_ancova"),
            estimator="constrained_model",
            interval_kind="kenward_roger",
        )
