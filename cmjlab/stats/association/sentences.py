"""Sentences and notes of an association, from its rows."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

import numpy as np
import pandas as pd
from scipy import special

from cmjlab.results import Note, Reason, Sentence
from cmjlab.stats.association.rows import coupling
from cmjlab.stats.common.rows import Rows
from cmjlab.stats.common.verdicts import relation_says

#: Fewer athletes say next to nothing about a correlation.
_HARDLY_ANY = 5


def association_sentences(rows: Rows) -> tuple[Sentence, ...]:
    """Return one sentence per correlation that is there; of two forms the leading one."""
    return tuple(
        _sentence(row)
        for row in rows.records()
        if np.isfinite(row["estimate"]) and row["leads"] is not False
    )


def _sentence(row: Mapping[str, Any]) -> Sentence:
    kind = str(row["statistic"])
    if kind == "correlation_with_change" and row["other_metric"] == row["metric"]:
        kind = "correlation_with_own_change"
    places = {"other": row.get("other_metric"), "session": row.get("session"),
              "before": row.get("second"), "after": row.get("first")}  # fmt: skip
    numbers = {c: float(row[c]) for c in ("estimate", "ci_low", "ci_high", "level")}
    says = relation_says(row["ci_low"], row["ci_high"])
    values = {**places, **numbers, "athletes": int(row["n"]), "says": says}
    return Sentence(f"association.{kind}", str(row["metric"]), values=values)


def association_notes(
    table: pd.DataFrame,
    left: Sequence[str],
    right: Sequence[str],
    pair: tuple[str, str] | None,
    rows: Rows,
) -> tuple[Note, ...]:
    """Return what a reader must know: association only, coupling, few athletes, pooled sexes."""
    notes = [Note("association_only")]
    for a in left:
        for b in right:
            why = coupling(a, b) if a != b else ""
            if why:
                notes.append(Note("coupling", {"metric": a, "other": b, "why": Reason(why)}))
            if a == b and pair:
                sessions = {"before": pair[0], "after": pair[1]}
                notes.append(Note("change_contains_start", {"metric": a, **sessions}))
    counts = [int(r["n"]) for r in rows.records() if r["n"] > 0]
    if counts:
        notes.append(chance_note(min(counts)))
    if "sex" in table and table["sex"].nunique() > 1:
        notes.append(Note("sexes_together"))
    if pair and "group" in table and table["group"].dropna().nunique() > 1:
        notes.append(Note("groups_together"))
    return tuple(notes)


def chance_note(n: int) -> Note:
    """Return how large a correlation chance alone makes among n athletes, in 95 of 100 squads."""
    if n < _HARDLY_ANY:
        return Note("hardly_any_athletes", {"n": n})
    t = float(special.stdtrit(n - 2, 0.975))
    return Note("chance_correlation", {"n": n, "edge": t / np.sqrt(n - 2 + t * t)})
