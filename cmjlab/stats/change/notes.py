"""Remarks that a reader of a change needs; each with a code."""

from __future__ import annotations

from collections.abc import Sequence

from cmjlab.plan import Selection
from cmjlab.results import Note
from cmjlab.stats.change.along_baseline import slopes_differ
from cmjlab.stats.change.comparison import Comparison
from cmjlab.stats.change.left_out import in_session
from cmjlab.stats.change.pairs import Pairs, Prepared
from cmjlab.stats.common.best_of import best_notes

#: A baseline difference of this many pooled SDs is named. Our own choice; no paper prescribes it.
GAP = 0.5
#: With fewer athletes the interval rests on normality that so few values cannot show.
FEW = 6


def _estimand(prepared: Prepared, every: Sequence[Pairs], *, between: bool) -> Note:
    """Say what is estimated: population, contrast, and what happens to drop-outs."""
    missing = {one.athlete for p in every for one in p.left_out}
    code = "estimand_of_differences" if between else "estimand"
    values = {"before": prepared.before, "after": prepared.after}
    if missing:
        return Note(f"{code}_left_out", {**values, "n": len(missing)})
    return Note(code, values)


def within_notes(prepared: Prepared, every: Sequence[Pairs]) -> list[Note]:
    """Return the remarks of a change within groups."""
    notes = [_estimand(prepared, every, between=False), Note("no_comparison_group")]
    notes += best_notes(prepared.table)
    if prepared.group_order:
        notes.append(Note("not_a_comparison"))
    sizes = [len(p.athletes) for p in every if 1 < len(p.athletes) < FEW]
    if sizes:
        notes.append(Note("few_for_normality", {"n": min(sizes)}))
    return notes


def between_notes(
    prepared: Prepared, comparisons: Sequence[Comparison], assignment: str | Selection
) -> list[Note]:
    """Return the remarks of a comparison between groups."""
    every = [c.pairs for c in comparisons]
    notes = [
        _estimand(prepared, every, between=True),
        _formed(prepared, assignment),
        Note("one_coach_per_group", {"groups": len(prepared.group_order)}),
    ]
    if assignment == "other":
        notes.append(Note("lords_paradox"))
    notes += best_notes(prepared.table)
    return [*notes, *(n for c in comparisons for n in _metric_notes(c))]


def _formed(prepared: Prepared, assignment: str | Selection) -> Note:
    """Say how the groups came about and what follows for the estimate that leads."""
    if not isinstance(assignment, Selection):
        return Note("groups_random" if assignment == "random" else "groups_other")
    values = {"metrics": list(assignment.metrics), "session": assignment.session}
    if assignment.session == prepared.before:
        return Note("groups_selected", values)
    return Note("groups_selected_elsewhere", {**values, "before": prepared.before})


def _metric_notes(found: Comparison) -> list[Note]:
    metric = found.pairs.metric
    if found.why_not:
        return [Note("not_comparable", {"metric": metric, "why": found.why_not})]
    notes = []
    if found.small_groups:
        notes.append(Note("small_group", {"metric": metric, "groups": list(found.small_groups)}))
    for covariate in found.constant:
        values = {"metric": metric, "covariate": in_session(covariate)}
        notes.append(Note("covariate_constant", values))
    for (first, second), gap in found.baseline_gap.items():
        if abs(gap) >= GAP:
            pair = {"first": first, "second": second}
            notes.append(Note("baseline_gap", {"metric": metric, **pair, "gap": gap}))
    for group, covariates in found.extrapolated.items():
        where = [in_session(c) for c in covariates]
        notes.append(Note("mean_outside_group", {"metric": metric, "group": group, "means": where}))
    test = slopes_differ(found.rows)
    if test is not None:
        notes.append(Note("slopes_differ", {"metric": metric, **test}))
    return [*notes, *found.notes]
