"""Sentences and standing notes of :func:`cmjlab.change_mixed`: which words fit which numbers."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import numpy as np

from cmjlab.results import Note, Sentence
from cmjlab.stats.common.rows import Rows
from cmjlab.stats.common.verdicts import change_says, difference_says, estimate_says
from cmjlab.stats.mixed.panel import Panel


def sentences(panel: Panel, rows: Rows, primary: tuple[int, int]) -> tuple[Sentence, ...]:
    """Return one sentence per pre-declared contrast.

    Parameters
    ----------
    panel : Panel
    rows : Rows
        Rows of the contrasts; those with role "primary" are worded.
    primary : (int, int)
        Indices of the earlier and the later session.
    """
    earlier, later = panel.session_names(primary)
    sessions = {"before": earlier, "after": later}
    return tuple(
        _sentence(panel.metric, row, sessions) for row in rows.records() if row["role"] == "primary"
    )


def _sentence(metric: str, row: Mapping[str, Any], sessions: Mapping[str, str]) -> Sentence:
    two = row["statistic"] == "change_difference"
    values = {**sessions, "first": row["first"], "second": row["second"]}
    values |= {"change": estimate_says(row), "df": float(row["df"]), "n": int(row["n"])}
    key = "mixed.difference" if two else "mixed.mean"
    if not np.isfinite(row["ci_low"]):
        return Sentence(f"{key}_without_interval", metric, values=values)
    ends = (float(row["ci_low"]), float(row["ci_high"]))
    says = difference_says(*ends, row["first"], row["second"]) if two else change_says(*ends)
    return Sentence(key, metric, values={**values, "says": says})


def standing_notes(panel: Panel, *, constrained: bool) -> list[Note]:
    """Return notes about what the comparison is and is not."""
    notes = [Note("equal_steps")] if len(panel.sessions) > 2 else []
    if len(panel.groups) == 1:
        more = [Note("constrained_needs_groups")] if constrained else []
        return [*notes, *more, Note("no_comparison_group")]
    notes += [Note("changes_unadjusted", {"reference": panel.groups[0]})]
    notes += [Note("one_coach_per_group", {"groups": len(panel.groups)})]
    return [*notes, Note("constrained")] if constrained else notes


def one_test_note(panel: Panel, rows: Rows) -> Note:
    """Return the note that two complete sessions hold one test of group × time."""
    t, df = (
        next(row[c] for row in rows.records() if row["role"] == "primary")
        for c in ("test_value", "df")
    )
    if not np.isfinite(t):
        return Note("one_test_without_value", {"metric": panel.metric})
    return Note("one_test", {"metric": panel.metric, "f": float(t) ** 2, "df": float(df)})
