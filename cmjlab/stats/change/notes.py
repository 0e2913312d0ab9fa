"""Remarks that a reader of a change needs; each with a code."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

from cmjlab.plan import Selection
from cmjlab.results import Note
from cmjlab.stats.change.pairs import Pairs, Prepared

if TYPE_CHECKING:
    from cmjlab.stats.change.groups import Between

#: A baseline difference of this many pooled SDs is named. Our own choice; no paper prescribes it.
GAP = 0.5
_UNTRAINED = Note(
    "no_comparison_group",
    "Without a comparison group the change holds everything that happened between the sessions:"
    " training, season, learning, body mass, and regression to the mean if the athletes were"
    " chosen for their values.",
)


def _estimand(prepared: Prepared, contrast: str, every: Sequence[Pairs]) -> Note:
    """Say what is estimated: population, contrast, and what happens to drop-outs."""
    missing = sorted({a for p in every for a, _ in p.left_out})
    handled = (
        f"; {len(missing)} without a complete pair are left out, as if they had changed like the others"
        if missing
        else ""
    )
    return Note(
        "estimand",
        f"Estimated is {contrast} from {prepared.before} to {prepared.after} in athletes like those of this table"
        f" who were tested both times{handled}.",
    )


def within_notes(prepared: Prepared, every: Sequence[Pairs]) -> list[Note]:
    """Return the remarks of a change within groups."""
    notes = [_estimand(prepared, "the mean change", every), _UNTRAINED]
    if prepared.group_order:
        notes.append(
            Note(
                "not_a_comparison",
                "Changes of groups stand side by side here; that one interval holds zero and another"
                " does not is no comparison of the groups. Use change_between for that.",
            )
        )
    small = sorted({len(p.athletes) for p in every if len(p.athletes) < 6})
    if small:
        notes.append(
            Note(
                "few_athletes",
                f"With {small[0]} athletes the interval rests on the changes being close to normal,"
                " which so few values cannot show.",
            )
        )
    return notes


def between_notes(
    prepared: Prepared, results: Sequence[Between], assignment: str | Selection
) -> list[Note]:
    """Return the remarks of a comparison between groups."""
    every = [r.pairs for r in results]
    contrast = "the difference between the groups' mean changes"
    notes = [
        _estimand(prepared, contrast, every),
        _formed(prepared, assignment),
        _clustering(prepared),
    ]
    if assignment == "other":
        notes.append(
            Note(
                "lords_paradox",
                "Groups that were not formed at random can differ before the block. ANCOVA asks who"
                " ends higher at equal baseline, the change score asks who changed more; with unequal"
                " baselines the answers can have opposite signs (Lord's paradox). ANCOVA is then"
                " biased towards the group that started higher by the unreliable part of the"
                " baseline. Both are shown and neither leads.",
            )
        )
    notes += [n for r in results for n in _metric_notes(r)]
    return notes


def _formed(prepared: Prepared, assignment: str | Selection) -> Note:
    if isinstance(assignment, Selection):
        metrics = ", ".join(assignment.metrics)
        text = f"Groups were selected on {metrics} in session {assignment.session}."
        if assignment.session == prepared.before:
            text += (
                " Every value that decided the group is a covariate; the difference of changes from"
                " this session is biased by regression to the mean and is shown for comparison only."
            )
        else:
            text += (
                f" The change from {prepared.before}, which did not decide the group, leads; the ANCOVA"
                f" beside it also holds the values of {assignment.session}."
            )
        return Note("groups_selected", text)
    if assignment == "random":
        return Note("groups_random", "Groups were formed at random; ANCOVA leads.")
    return Note("groups_other", "Groups were formed neither at random nor on a recorded baseline.")


def _clustering(prepared: Prepared) -> Note:
    return Note(
        "one_coach_per_group",
        f"If each of the {len(prepared.group_order)} groups had its own coach or its own sessions, the"
        " effect of the coach cannot be separated from the effect of the training, however many"
        " athletes each group has.",
    )


def _metric_notes(result: Between) -> list[Note]:
    metric, notes = result.pairs.metric, []
    if result.why:
        return [Note("not_comparable", f"{metric}: {result.why}.")]
    if result.small_groups:
        names = ", ".join(result.small_groups)
        notes.append(Note("small_group", f"{metric}: fewer than 2 complete athletes in {names}."))
    for name in result.dropped:
        notes.append(
            Note(
                "covariate_constant",
                f"{metric}: {name} is the same for every athlete; left out as covariate.",
            )
        )
    for contrast, gap in result.baseline_gap.items():
        if abs(gap) >= GAP:
            notes.append(
                Note(
                    "baseline_gap",
                    f"{metric}: {contrast} differs by {gap:+.2f} pooled SD before the block.",
                )
            )
    for row in result.rows:
        if row["statistic"] == "slope_f" and row["p"] < 0.05:
            notes.append(
                Note(
                    "slopes_differ",
                    f"{metric}: the relation of after to before differs between groups"
                    f" (F({row['df']:.0f},{row['df2']:.0f}) = {row['test_value']:.2f}, p ="
                    f" {row['p']:.4f}); the difference then depends on the baseline and is given at"
                    " the squad mean. The model is not switched for that.",
                )
            )
    return [*notes, *result.notes]
