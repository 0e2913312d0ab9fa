"""Rows of per-athlete contrasts, and the tidy data behind their figures."""

from __future__ import annotations

from typing import Any

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from cmjlab.checks import shown
from cmjlab.errors import ArgumentError
from cmjlab.results import Note
from cmjlab.stats.common.contrasts import (
    Estimate,
    difference_of_changes,
    holm,
    leave_one_out,
    mean_of_changes,
)
from cmjlab.stats.common.tables import unit_of
from cmjlab.stats.mixed.panel import Panel
from cmjlab.units import show

#: Methods of the contrast rows.
OWN_T = "change per athlete, t"
POOLED_T = "change per athlete, pooled t"
HC2_T = "change per athlete, HC2 with Bell–McCaffrey df"


def primary_pair(panel: Panel, primary: tuple[str, str] | None) -> tuple[int, int]:
    """Return the indices of the pre-declared sessions (earlier, later)."""
    if primary is None:
        return 0, len(panel.sessions) - 1
    if isinstance(primary, str) or len(primary) != 2:
        raise ArgumentError(
            f"primary: (earlier session, later session) is needed, found {shown(primary)}."
        )
    for name in primary:
        if name not in panel.sessions:
            raise ArgumentError(
                f"primary: there is no session {name!r} with values; sessions are"
                f" {', '.join(panel.sessions)}."
            )
    first, last = (panel.sessions.index(s) for s in primary)
    if first >= last:
        raise ArgumentError(
            f"primary: {primary[0]!r} does not come before {primary[1]!r} in the order"
            f" {', '.join(panel.sessions)}; write (earlier, later) or set order=."
        )
    return first, last


def pair_label(panel: Panel, pair: tuple[int, int]) -> str:
    """Return "later - earlier"."""
    return f"{panel.sessions[pair[1]]} - {panel.sessions[pair[0]]}"


def group_label(panel: Panel, pair: tuple[int, int]) -> str:
    """Return "group - control"."""
    return f"{panel.groups[pair[1]]} - {panel.groups[pair[0]]}"


def changes(panel: Panel, pair: tuple[int, int]) -> NDArray[np.float64]:
    """Return later minus earlier per athlete, nan where one is missing, shape (n_athletes,)."""
    return np.asarray(panel.values[:, pair[1]] - panel.values[:, pair[0]])


def contrast_rows(
    panel: Panel, primary: tuple[int, int], level: float
) -> tuple[list[dict[str, Any]], list[Note]]:
    """Return rows of all pairs of sessions within and between groups, and who was left out."""
    rows: list[dict[str, Any]] = []
    for pair in panel.session_pairs:
        rows += _within_rows(panel, pair, pair == primary, level)
    for pair in panel.session_pairs:
        rows += _between_rows(panel, pair, pair == primary, level)
    adjust(rows)
    return rows, _left_out(panel)


def _scale(panel: Panel) -> float:
    return float(np.nanmax(np.abs(panel.values)))


def _within_rows(
    panel: Panel, pair: tuple[int, int], declared: bool, level: float
) -> list[dict[str, Any]]:
    rows = []
    d = changes(panel, pair)
    alone = len(panel.groups) == 1
    for index, label in enumerate(panel.groups):
        part = d[panel.member == index]
        found = mean_of_changes(part, _scale(panel))
        row = _row(panel, "mean_change", label, pair_label(panel, pair), OWN_T)
        row |= found.row(level)
        row["role"] = "primary" if declared and alone else "exploratory"
        if declared:
            row["text"] = _with_range(panel, found, leave_one_out(part, None))
        rows.append(row)
    return rows


def _between_rows(
    panel: Panel, pair: tuple[int, int], declared: bool, level: float
) -> list[dict[str, Any]]:
    rows = []
    d = changes(panel, pair)
    for groups in panel.group_pairs:
        reference, other = (d[panel.member == g] for g in groups)
        pooled, separate = difference_of_changes(other, reference, _scale(panel))
        for method, found in ((POOLED_T, pooled), (HC2_T, separate)):
            label, contrast = group_label(panel, groups), pair_label(panel, pair)
            row = _row(panel, "change_difference", label, contrast, method)
            row |= found.row(level)
            first = declared and groups[0] == 0 and method == POOLED_T
            row["role"] = "primary" if first else "exploratory"
            if first:
                row["text"] = _with_range(panel, found, leave_one_out(other, reference))
            rows.append(row)
    return rows


def _row(panel: Panel, statistic: str, group: str, contrast: str, method: str) -> dict[str, Any]:
    return {
        "metric": panel.metric,
        "statistic": statistic,
        "group": group or None,
        "contrast": contrast,
        "unit": unit_of(panel.metric),
        "method": method,
    }


def _with_range(panel: Panel, found: Estimate, without: list[NDArray[np.float64]]) -> str:
    """Return the text of a declared row: a reason, or the leave-one-out range."""
    values = np.concatenate(without)
    if found.text or not np.isfinite(values).any():
        return found.text
    unit = unit_of(panel.metric)
    low, high = show(np.nanmin(values), unit, with_unit=False), show(np.nanmax(values), unit)
    return f"leaving out one athlete at a time: {low} to {high}"


def adjust(rows: list[dict[str, Any]]) -> None:
    """Fill p_adjusted (Holm) within each family: same statistic, method and role."""
    families: dict[tuple[str, str, str], list[int]] = {}
    for i, row in enumerate(rows):
        families.setdefault((row["statistic"], row["method"], row["role"]), []).append(i)
    for members in families.values():
        for i, value in zip(members, holm([rows[i]["p"] for i in members]), strict=True):
            rows[i]["p_adjusted"] = value


def _left_out(panel: Panel) -> list[Note]:
    """Return one note naming the athletes who miss a session, per session."""
    missing = ~panel.observed
    if not missing.any():
        return []
    parts = [
        f"{session}: {panel.names(missing[:, j])}"
        for j, session in enumerate(panel.sessions)
        if missing[:, j].any()
    ]
    text = (
        f"{panel.metric}: no value in {'; '.join(parts)}. A contrast leaves out who misses one of"
        " its two sessions; the models use every value that is there."
    )
    return [Note("missing_sessions", text)]


def leave_one_out_data(panel: Panel, primary: tuple[int, int]) -> pd.DataFrame:
    """Return the pre-declared estimates without each athlete: group, athlete left out, estimate."""
    d = changes(panel, primary)
    columns = ["group", "contrast", "athlete", "estimate"]
    pairs: list[tuple[int | None, int]] = [(None, 0)]
    if panel.group_pairs:
        pairs = [(r, o) for r, o in panel.group_pairs if r == 0]
    rows: list[tuple[str, str, str, float]] = []
    for reference, other in pairs:
        members = [panel.member == other]
        label = panel.groups[other]
        if reference is not None:
            members.append(panel.member == reference)
            label = group_label(panel, (reference, other))
        parts = [d[m] for m in members]
        estimates = leave_one_out(parts[0], parts[1] if len(parts) > 1 else None)
        for member, values in zip(members, estimates, strict=True):
            names = [a for a, m in zip(panel.athletes, member, strict=True) if m]
            contrast = pair_label(panel, primary)
            rows += [(label, contrast, a, float(v)) for a, v in zip(names, values, strict=True)]
    return pd.DataFrame(rows, columns=columns).dropna(subset="estimate", ignore_index=True)


def figure_data(panel: Panel, primary: tuple[int, int]) -> dict[str, pd.DataFrame]:
    """Return values, means per group, changes per athlete, and estimates leaving one out."""
    labels = np.array(panel.groups, dtype=object)[panel.member]
    values = pd.DataFrame(
        {
            "athlete": np.repeat(np.array(panel.athletes, dtype=object), len(panel.sessions)),
            "group": np.repeat(labels, len(panel.sessions)),
            "session": list(panel.sessions) * len(panel.athletes),
            "value": panel.values.ravel(),
        }
    )
    grouped = values.dropna(subset="value").groupby(["group", "session"], sort=False)["value"]
    means = grouped.agg(n="count", mean="mean", sd="std").reset_index()
    parts = [
        pd.DataFrame(
            {
                "athlete": panel.athletes,
                "group": labels,
                "contrast": pair_label(panel, pair),
                "change": changes(panel, pair),
            }
        )
        for pair in panel.session_pairs
    ]
    return {
        "values": values,
        "means": means,
        "changes": pd.concat(parts, ignore_index=True),
        "leave_one_out": leave_one_out_data(panel, primary),
    }
