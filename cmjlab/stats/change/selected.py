"""Groups that were selected on a baseline: drift, change beyond it, constrained model."""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from typing import TYPE_CHECKING

import numpy as np

from cmjlab.plan import Selection
from cmjlab.results import Note
from cmjlab.stats.change.design import Contrast
from cmjlab.stats.change.drift import constrained_model
from cmjlab.stats.change.drift_rows import drift_part
from cmjlab.stats.change.pairs import Pairs, Prepared, session_values
from cmjlab.stats.common.estimate_rows import Row, estimate_fields, not_estimable
from cmjlab.stats.common.tables import unit_of

if TYPE_CHECKING:
    from cmjlab.stats.change.groups import Question

#: method words of the constrained longitudinal model
CONSTRAINED = "constrained longitudinal model (no group difference at baseline), Kenward-Roger"


@dataclass
class SelectedPart:
    """Rows, points, sentences and notes about selected groups."""

    rows: list[Row] = field(default_factory=list)
    points: list[Row] = field(default_factory=list)
    sentences: list[str] = field(default_factory=list)
    notes: list[Note] = field(default_factory=list)


def selected_part(
    prepared: Prepared, pairs: Pairs, question: Question, contrasts: list[Contrast]
) -> SelectedPart:
    """Return drift and change beyond it for each group, and the constrained model.

    Parameters
    ----------
    prepared : Prepared
    pairs : Pairs
    question : Question
        ``assignment`` is a Selection.
    contrasts : list of (group, group)
    """
    out = SelectedPart()
    selection = question.assignment
    assert isinstance(selection, Selection)
    second = question.second_baseline
    groups = [g for g in prepared.group_order if any(g in c for c in contrasts)]
    if not second:
        why = (
            f"only {selection.session} is known as a baseline; the drift needs a second baseline session"
            " (role 'baseline'), or a slope from elsewhere (drift_from_outside)"
        )
        for group in groups:
            place = {"metric": pairs.metric, "group": group, "unit": unit_of(pairs.metric)}
            out.rows += [
                not_estimable(place, s, why) for s in ("drift_expected", "change_beyond_drift")
            ]
        out.notes.append(Note("drift_unknown", f"{pairs.metric}: drift not estimable: {why}."))
    else:
        based = replace(prepared, before=second)
        for group in groups:
            part = drift_part(based, pairs.metric, selection, group, question.level)
            out.rows += part.rows
            out.points += part.points
            out.notes += [n for n in part.notes if n not in out.notes]
            out.sentences += [part.sentence] if part.sentence else []
    sessions = [s for s in (selection.session, second, prepared.after) if s]
    if prepared.before not in sessions:
        sessions.insert(1, prepared.before)
    if selection.metrics == (pairs.metric,):
        out.rows += _constrained_rows(prepared, pairs.metric, sessions, question, contrasts)
    return out


def _constrained_rows(
    prepared: Prepared,
    metric: str,
    sessions: list[str],
    question: Question,
    contrasts: list[Contrast],
) -> list[Row]:
    """Return the differences after the block; only where the outcome itself was selected on."""
    order = list(prepared.group_order)
    control = question.control or order[0]
    order.remove(control)
    columns = [session_values(prepared.table, metric, s) for s in sessions]
    who = [a for a in prepared.groups if any(a in c for c in columns)]
    values = np.array([[c.get(a, np.nan) for c in columns] for a in who]).reshape(len(who), -1)
    number = {control: 0, **{g: i + 1 for i, g in enumerate(order)}}
    group = np.array([number[prepared.groups[a]] for a in who])
    estimates, status = constrained_model(values, group, np.isfinite(values))
    rows: list[Row] = []
    for name, estimate in zip(order, estimates, strict=True):
        if (name, control) not in contrasts:
            continue
        place = {
            "metric": metric,
            "contrast": f"{name} - {control}",
            "n": len(who),
            "unit": unit_of(metric),
        }
        if int(status[0]) > 1 or not np.isfinite(float(estimate.se)):
            why = "the model cannot be fitted (perfect correlation or an empty cell)"
            rows.append({**not_estimable(place, "adjusted_difference", why), "method": CONSTRAINED})
            continue
        row = {**place, "statistic": "adjusted_difference", "method": CONSTRAINED}
        row["text"] = "narrower than ANCOVA; wrong if athletes drift slowly without training"
        rows.append({**row, **estimate_fields(estimate, question.level)})
    return rows
