"""Sentences and notes of a placement, from its numbers."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import pandas as pd

from cmjlab.results import Note, Sentence
from cmjlab.stats.common.measures import explanations
from cmjlab.stats.subgroups.noise import FoundNoise
from cmjlab.stats.subgroups.rules import Rules


def placement_sentences(
    placements: pd.DataFrame, rules: Rules, session: str, sure: float, exact: Sequence[str] = ()
) -> tuple[Sentence, ...]:
    """Return sizes, how certain the placements are, who is close to a limit, who was moved.

    ``exact`` are metrics whose error is not known, and which count as measured exactly.
    """
    counts = placements["subgroup"].value_counts()
    sizes = {g: int(counts.get(g, 0)) for g in rules.every_subgroup}
    placed = {"athletes": len(placements), "session": session, "sizes": group_sizes(sizes)}
    out = [Sentence("placement.placed", values=placed)]
    known = placements[placements["call"] != "unknown"]
    if known.empty:
        out.append(Sentence("placement.certainty_unknown"))
    else:
        clear = int((known["call"] == "clear").sum())
        certain = {"clear": clear, "known": len(known), "sure": sure, "exact": list(exact)}
        key = "placement.certainty_at_most" if exact else "placement.certainty"
        out.append(Sentence(key, values=certain))
    close = known[known["call"] == "close"].sort_values("probability")
    if len(close):
        who = [_close(r) for r in close.itertuples()]
        out.append(Sentence("placement.close", values={"who": who}))
    moved = [_moved(r) for r in placements[placements["moved"] == "yes"].itertuples()]
    if moved:
        out.append(Sentence("placement.moved", values={"who": moved}))
    return tuple(out)


def group_sizes(sizes: dict[str, int]) -> list[Sentence]:
    """Return each group with the number of its athletes, as phrases of a list."""
    return [
        Sentence("placement.size", group=g, values={"count": count}) for g, count in sizes.items()
    ]


def _close(row: Any) -> Sentence:
    """Return an athlete whose placement is too close to call, with its probability."""
    values = {"athlete": row.athlete, "probability": float(row.probability)}
    if not row.likelier:
        return Sentence("placement.close_one", group=row.by_rules, values=values)
    return Sentence(
        "placement.close_one_likelier", group=row.by_rules, values={**values, "other": row.likelier}
    )


def _moved(row: Any) -> Sentence:
    """Return an athlete whom a person moved, from where to where and why."""
    values = {"athlete": row.athlete, "before": row.by_rules, "reason": row.reason}
    if row.by_rules == row.subgroup:
        key = "kept_one"
    else:
        key = "moved_one" if row.by_rules else "moved_one_from_none"
    return Sentence(f"placement.{key}", group=row.subgroup, values=values)


def placement_notes(
    rules: Rules,
    noise: FoundNoise,
    placements: pd.DataFrame,
    missing: list[str],
    session: str,
) -> tuple[Note, ...]:
    """Return what a reader must know about these groups."""
    notes = []
    if rules.metrics:
        chosen = {"metrics": list(rules.metrics), "session": session}
        notes.append(Note("selected_on_baseline", chosen))
        if (placements["call"] != "unknown").any():
            notes.append(Note("one_kind_assumed"))
    notes += explanations(rules.metrics)
    kind = "error_taken_as_none" if noise.known(rules.metrics) else "error_unknown"
    notes += [Note(kind, {"why": why}) for why in noise.missing.values()]
    notes += noise.notes
    if missing:
        notes.append(Note("not_placed", {"session": session, "athletes": missing}))
    without = list(placements.loc[placements["subgroup"] == "", "athlete"])
    if without:
        notes.append(Note("no_subgroup", {"athletes": without}))
    unknown = sorted(set(rules.moves) - set(placements["athlete"]))
    if unknown:
        notes.append(Note("move_without_athlete", {"athletes": unknown}))
    if rules.moves:
        notes.append(Note("moved_by_hand"))
    return tuple(notes)
