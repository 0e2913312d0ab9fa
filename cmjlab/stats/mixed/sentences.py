"""Sentences and standing notes of :func:`cmjlab.change_mixed`, written from the numbers."""

from __future__ import annotations

from typing import Any

import numpy as np

from cmjlab.results import Note
from cmjlab.stats.common.tables import label_of
from cmjlab.stats.mixed.panel import Panel
from cmjlab.units import show


def sentences(
    panel: Panel, rows: list[dict[str, Any]], primary: tuple[int, int]
) -> tuple[str, ...]:
    """Return one sentence per pre-declared contrast.

    Parameters
    ----------
    panel : Panel
    rows : list of dict
        Rows of the contrasts; those with role "primary" are worded.
    primary : (int, int)
        Indices of the earlier and the later session.
    """
    earlier, later = panel.sessions[primary[0]], panel.sessions[primary[1]]
    of = f"{label_of(panel.metric)}, {later} minus {earlier}"
    declared = [row for row in rows if row["role"] == "primary"]
    if len(panel.groups) == 1:
        return tuple(_sentence(f"{of}: the mean change is", row) for row in declared)
    reference = panel.groups[0]
    return tuple(
        _sentence(f"{of}: the mean change of {other} minus that of {reference} is", row)
        for other, row in zip(panel.groups[1:], declared, strict=True)
    )


def _sentence(start: str, row: dict[str, Any]) -> str:
    if not np.isfinite(row["estimate"]):
        return f"{start} {row['text']}."
    value = show(row["estimate"], row["unit"])
    if not np.isfinite(row["ci_low"]):
        return f"{start} {value}; {row['text']}."
    low = show(row["ci_low"], row["unit"], with_unit=False)
    high = show(row["ci_high"], row["unit"])
    interval = f"{100 * row['level']:.4g} % interval {low} to {high}"
    degrees = "1 degree" if row["df"] == 1 else f"{row['df']:.3g} degrees"
    size = f"t, {degrees} of freedom, {row['n']} athletes"
    return f"{start} {value}, {interval} ({size}). {_reading(row)}"


def _reading(row: dict[str, Any]) -> str:
    """Return what the interval says, without a verdict beyond it."""
    two = row["statistic"] == "change_difference"
    if row["ci_low"] > 0 or row["ci_high"] < 0:
        return "All values in the interval have the same sign."
    if two:
        return "The interval holds zero: these data do not tell which group changed more."
    return "The interval holds zero: these data do not tell the direction of the change."


def standing_notes(panel: Panel, *, constrained: bool) -> list[Note]:
    """Return notes about what the comparison is and is not."""
    notes = []
    if len(panel.sessions) > 2:
        text = (
            "The random slope takes sessions as equally spaced steps; the contrasts per athlete take"
            " no spacing."
        )
        notes.append(Note("equal_steps", text))
    if len(panel.groups) == 1:
        if constrained:
            text = "The constrained model needs two groups; there is one, so it was not fitted."
            notes.append(Note("constrained_needs_groups", text))
        text = (
            "Without a comparison group the change holds everything that happened between the"
            " sessions: training, season, learning, and regression to the mean if the athletes were"
            " chosen for their values."
        )
        notes.append(Note("no_comparison_group", text))
        return notes
    notes.append(
        Note(
            "question",
            "Changes are compared as they are, without adjusting for differences at the first"
            f" session; the reference group is {panel.groups[0]}.",
        )
    )
    notes.append(
        Note(
            "clustering",
            "Athletes of a group train together under one coach: the effect of the training and"
            " that of coach and group cannot be separated by these data.",
        )
    )
    if constrained:
        text = (
            "The constrained model takes the groups as equal at the first session, which only"
            " forming them at random makes true."
        )
        notes.append(Note("constrained", text))
    return notes


def one_test_note(panel: Panel, rows: list[dict[str, Any]]) -> Note:
    """Return the note that two complete sessions hold one test of group × time."""
    row = next(r for r in rows if r["role"] == "primary")
    size = ""
    if len(panel.groups) == 2 and np.isfinite(row["test_value"]):
        size = f": F(1, {row['df']:.0f}) = t² = {row['test_value'] ** 2:.4g}"
    text = (
        f"{panel.metric}: with two sessions and no gaps the group × time interaction of a mixed"
        f" ANOVA, that of a mixed model and the t test of the changes are one test{size}. It is"
        " reported once."
    )
    return Note("one_test", text)
