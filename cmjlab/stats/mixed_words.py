"""Sentences and standing notes of :func:`cmjlab.change_mixed`, written from the numbers."""

from __future__ import annotations

from typing import Any

import numpy as np

from cmjlab.results import Note
from cmjlab.stats.mixed_panel import Panel
from cmjlab.stats.tidy import label_of
from cmjlab.units import show


def sentences(panel: Panel, rows: list[dict[str, Any]]) -> tuple[str, ...]:
    """Return one sentence per pre-declared contrast."""
    return tuple(_sentence(panel, row) for row in rows if row.get("role") == "primary")


def _sentence(panel: Panel, row: dict[str, Any]) -> str:
    what, unit = label_of(panel.metric), row["unit"]
    later, earlier = row["contrast"].split(" - ", 1) if row["contrast"] else ("", "")
    of = f"{what}, {later} minus {earlier}"
    if not np.isfinite(row["estimate"]):
        return f"{of}: {row['text']}."
    if row["statistic"] == "change_difference":
        other, reference = row["group"].split(" - ", 1)
        said = f"{of}: the mean change of {other} minus that of {reference} is"
    else:
        said = f"{of}: the mean change is"
    value = show(row["estimate"], unit)
    if not np.isfinite(row["ci_low"]):
        return f"{said} {value}; {row['text']}."
    low, high = show(row["ci_low"], unit, with_unit=False), show(row["ci_high"], unit)
    interval = f"{100 * row['level']:.4g} % interval {low} to {high}"
    size = f"t, {row['df']:.3g} degrees of freedom, {row['n']} athletes"
    return f"{said} {value}, {interval} ({size}). {_reading(row)}"


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
