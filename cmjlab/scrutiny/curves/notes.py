"""What a reader of the curves must know: how they were stretched, what the band means, who is out."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from cmjlab.plan import Selection
from cmjlab.results import Note, Reason, Sentence
from cmjlab.scrutiny.curves.effects import Effect
from cmjlab.scrutiny.curves.question import Question
from cmjlab.scrutiny.curves.squad import SquadCurves
from cmjlab.stats.curves.max_t import Band
from cmjlab.stats.curves.noise import CurveNoise


def curve_notes(
    question: Question, squad: SquadCurves, effects: Sequence[Effect], noise: CurveNoise | Reason
) -> tuple[Note, ...]:
    """Return the notes in the order in which they are read."""
    between = [e for e in effects if e.second]
    return (
        Note("curves_normalised", {"points": question.points, "phases": list(question.phases)}),
        *_formed(question, squad),
        *_band(effects, between),
        *_left_out(squad),
        *_noise(noise, len(squad.athletes)),
    )


def _formed(question: Question, squad: SquadCurves) -> list[Note]:
    """Return what may be concluded, by how the groups came about."""
    if len(squad.groups) < 2:
        return [Note("no_comparison_group")]
    how = question.assignment
    if not isinstance(how, Selection):
        return [Note(f"curves_groups_{how}"), Note("not_a_comparison")]
    values: dict[str, Any] = {
        "deciding": list(how.metrics),
        "session": how.session,
        "before": question.before,
    }
    code = "curves_selected_here" if question.biased else "curves_selected_elsewhere"
    return [Note(code, values), Note("not_a_comparison")]


def _band(effects: Sequence[Effect], between: Sequence[Effect]) -> list[Note]:
    bands = [e.band for e in effects if isinstance(e.band, Band)]
    if not bands:
        return []
    notes = [Note("curves_band", {"level": bands[0].level, "alpha": 1 - bands[0].level})]
    if len(between) > 1:
        notes.append(Note("curves_several", {"n": len(between)}))
    if any(e.found for e in effects):
        notes.append(Note("curves_found_by_looking"))
    notes += [
        Note("curves_uneven", {"first": e.first, "second": e.second}) for e in effects if e.uneven
    ]
    return notes


def _left_out(squad: SquadCurves) -> list[Note]:
    notes = []
    if squad.left_out:
        who = [Sentence("curves.left_out", values={"athlete": a, "why": r}) for a, r in squad.left_out.items()]  # fmt: skip
        notes.append(Note("left_out", {"n": len(who), "athletes": who}))
    if squad.jumps_left_out:
        notes.append(Note("curves_jumps_left_out", {"n": squad.jumps_left_out}))
    return notes


def _noise(noise: CurveNoise | Reason, athletes: int) -> list[Note]:
    if isinstance(noise, Reason):
        return []
    by_chance = athletes * (1 - noise.level)
    return [Note("curves_noise", {"df": noise.df, "level": noise.level, "athletes": athletes, "chance": by_chance})]  # fmt: skip
