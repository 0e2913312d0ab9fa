"""Sentences and notes of a placement, written from its numbers."""

from __future__ import annotations

import pandas as pd

from cmjlab.results import Note
from cmjlab.stats.subgroups.noise import FoundNoise
from cmjlab.stats.subgroups.rules import Rules


def placement_sentences(
    placements: pd.DataFrame, rules: Rules, session: str, sure: float
) -> tuple[str, ...]:
    """Return the result in plain words: sizes, how sure, who was moved."""
    counts = placements["subgroup"].value_counts()
    sizes = ", ".join(f"{g} {int(counts.get(g, 0))}" for g in rules.every_subgroup)
    out = [f"{len(placements)} athletes placed on the values of {session}: {sizes}."]
    call = placements["call"]
    if (call == "not estimable").all():
        out.append("How sure the placements are is not estimable; the notes say why.")
    else:
        clear = int((call == "clear").sum())
        out.append(
            f"{clear} of {int((call != 'not estimable').sum())} placements are at least"
            f" {100 * sure:g} % sure given the noise of a test."
        )
        close = placements[call == "too close to call"].sort_values("probability")
        if len(close):
            who = ", ".join(
                f"{r.athlete} ({r.by_rules} {100 * r.probability:.0f} %"
                + (f", likelier {r.likelier})" if r.likelier else ")")
                for r in close.itertuples()
            )
            out.append(f"Too close to call: {who}.")
    moved = placements[placements["moved"] == "yes"]
    if len(moved):
        who = "; ".join(
            f"{r.athlete} from {r.by_rules or 'no subgroup'} to {r.subgroup} ({r.reason})"
            for r in moved.itertuples()
        )
        out.append(f"Moved by a person: {who}.")
    return tuple(out)


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
        notes.append(
            Note(
                "selected_on_baseline",
                f"The groups were selected on {', '.join(rules.metrics)} in {session}. They will"
                " drift towards the squad without any training; a change analysis must know it"
                " (assignment=selection_of(result)).",
            )
        )
    if rules.metrics and (placements["call"] != "not estimable").any():
        notes.append(
            Note(
                "one_kind_assumed",
                "The probabilities take the athletes of a stratum for one kind, spread like a normal"
                " distribution. In a squad of two distinct kinds they are off (in simulations down"
                " to 66 % right where 80 % is said), and a squad of this size cannot show it: look"
                " at the figure.",
            )
        )
    notes += [Note("not_estimable", f"Not estimable: {why}.") for why in noise.missing.values()]
    notes += list(noise.notes)
    if missing:
        notes.append(
            Note(
                "not_placed", f"Not placed, because not tested in {session}: {', '.join(missing)}."
            )
        )
    without = placements.loc[placements["subgroup"] == "", "athlete"]
    if len(without):
        notes.append(
            Note(
                "no_subgroup",
                "Without a subgroup, because a value that decides is missing:"
                f" {', '.join(without)}. Move them by hand, with a reason.",
            )
        )
    unknown = sorted(set(rules.moves) - set(placements["athlete"]))
    if unknown:
        notes.append(
            Note(
                "move_without_athlete",
                f"Moves of athletes who were not tested: {', '.join(unknown)}.",
            )
        )
    if rules.moves:
        notes.append(
            Note(
                "moved_by_hand",
                "Moves by a person use knowledge that the table does not hold: an adjustment for"
                " the deciding metrics alone cannot take it out.",
            )
        )
    return tuple(notes)
