"""Rows of per-athlete contrasts, and the tidy data behind their figures."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from cmjlab.checks import shown
from cmjlab.errors import ArgumentError
from cmjlab.results import Note, Reason, Sentence
from cmjlab.stats.common.contrasts import (
    MeanChange,
    difference_of_changes,
    holm_in_families,
    leave_one_out,
    mean_of_changes,
    side_by_side,
    two_sided_p,
)
from cmjlab.stats.common.rows import Rows
from cmjlab.stats.mixed.panel import Panel

#: Interval kinds of the difference between two groups, the one that leads first.
POOLED, SEPARATE = "pooled_t", "welch_bm"


@dataclass(frozen=True)
class ContrastRow:
    """One row to be: which groups and sessions, what was found, and whether it was declared.

    Attributes
    ----------
    groups : (str, ...)
        The group, or (group, reference).
    sessions : (str, str)
        Earlier and later session.
    found : MeanChange
    interval_kind : str
    declared : bool
        Whether it answers the question that was declared in advance.
    without_one : array
        The estimate without each athlete in turn; empty where it is not shown.
    """

    groups: tuple[str, ...]
    sessions: tuple[str, str]
    found: MeanChange
    interval_kind: str
    declared: bool
    without_one: NDArray[np.float64]

    @property
    def role(self) -> str:
        """Role of the row."""
        return "primary" if self.declared else "exploratory"

    @property
    def remark(self) -> Reason | None:
        """The range over leaving out one athlete, where it is shown."""
        if self.found.reason or not np.isfinite(self.without_one).any():
            return None
        ends = {"low": np.nanmin(self.without_one), "high": np.nanmax(self.without_one)}
        return Reason("range_leaving_out", {f"{k}_without_one": float(v) for k, v in ends.items()})


def primary_pair(panel: Panel, primary: tuple[str, str] | None) -> tuple[int, int]:
    """Return the indices of the pre-declared sessions (earlier, later)."""
    if primary is None:
        return 0, len(panel.sessions) - 1
    if not isinstance(primary, tuple | list) or len(primary) != 2:
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


def changes(panel: Panel, pair: tuple[int, int]) -> NDArray[np.float64]:
    """Return later minus earlier per athlete, nan where one is missing, shape (n_athletes,)."""
    return np.asarray(panel.values[:, pair[1]] - panel.values[:, pair[0]])


def add_contrasts(rows: Rows, panel: Panel, primary: tuple[int, int]) -> None:
    """Add all pairs of sessions, within groups and between them."""
    within = [c for pair in panel.session_pairs for c in _within(panel, pair, pair == primary)]
    between = [c for pair in panel.session_pairs for c in _between(panel, pair, pair == primary)]
    _add(rows, panel, "mean_change", within)
    _add(rows, panel, "change_difference", between)


def _within(panel: Panel, pair: tuple[int, int], declared: bool) -> list[ContrastRow]:
    change, scale = changes(panel, pair), float(np.nanmax(np.abs(panel.values)))
    out = []
    for index, label in enumerate(panel.groups):
        mine = change[panel.member == index]
        without = leave_one_out(mine, None)[0] if declared else np.empty(0)
        out.append(
            ContrastRow(
                (label,),
                panel.session_names(pair),
                mean_of_changes(mine, scale),
                "t",
                declared and len(panel.groups) == 1,
                without,
            )
        )
    return out


def _between(panel: Panel, pair: tuple[int, int], declared: bool) -> list[ContrastRow]:
    change, scale = changes(panel, pair), float(np.nanmax(np.abs(panel.values)))
    out = []
    for groups in panel.group_pairs:
        reference, other = (change[panel.member == g] for g in groups)
        found = difference_of_changes(other, reference, scale)
        names = (panel.groups[groups[1]], panel.groups[groups[0]])
        for kind, one in zip((POOLED, SEPARATE), found, strict=True):
            first = declared and groups[0] == 0 and kind == POOLED
            without = np.concatenate(leave_one_out(other, reference)) if first else np.empty(0)
            out.append(ContrastRow(names, panel.session_names(pair), one, kind, first, without))
    return out


def _add(rows: Rows, panel: Panel, statistic: str, contrasts: Sequence[ContrastRow]) -> None:
    """Add one statistic for all contrasts side by side, p adjusted by kind and role."""
    if not contrasts:
        return
    found = side_by_side([c.found for c in contrasts])
    p = [
        two_sided_p(c.found.estimate / c.found.se if c.found.se > 0 else np.nan, c.found.df)
        for c in contrasts
    ]
    earlier, later = ([c.sessions[i] for c in contrasts] for i in (0, 1))
    if statistic == "mean_change":
        groups = [c.groups[0] or None for c in contrasts]
        place = rows.at(metric=panel.metric, group=groups, first=later, second=earlier)
    else:
        first, second = ([c.groups[i] for c in contrasts] for i in (0, 1))
        place = rows.at(
            metric=panel.metric, first=first, second=second, session=later, since=earlier
        )
    place.add_estimate(
        statistic,
        found,
        reason=[c.found.reason for c in contrasts],
        remark=[c.remark for c in contrasts],
        n=[c.found.n for c in contrasts],
        df=found.df,
        p_adjusted=holm_in_families(p, [(c.interval_kind, c.role) for c in contrasts]),
        role=[c.role for c in contrasts],
        estimator="change_per_athlete",
        interval_kind=[c.interval_kind for c in contrasts],
    )


def missing_sessions(panel: Panel) -> list[Note]:
    """Return one note naming the athletes who miss a session, per session."""
    missing = ~panel.observed
    who = [
        Sentence(
            "mixed.missing_in_session",
            values={"session": session, "athletes": panel.who(missing[:, j])},
        )
        for j, session in enumerate(panel.sessions)
        if missing[:, j].any()
    ]
    return [Note("missing_sessions", {"metric": panel.metric, "missing": who})] if who else []


def leave_one_out_data(panel: Panel, primary: tuple[int, int]) -> pd.DataFrame:
    """Return the pre-declared estimates without each athlete.

    Returns
    -------
    pandas.DataFrame
        Columns first (group), second (reference group; none for the mean change of one group),
        session, since, athlete (left out), estimate.
    """
    change = changes(panel, primary)
    since, session = panel.session_names(primary)
    compared: list[tuple[int, int | None]] = [(o, r) for r, o in panel.group_pairs if r == 0]
    rows = []
    for group, reference in compared or [(0, None)]:
        members = [panel.member == i for i in (group, reference) if i is not None]
        others = None if reference is None else change[members[1]]
        estimates = leave_one_out(change[members[0]], others)
        place = (panel.groups[group], None if reference is None else panel.groups[reference])
        for member, values in zip(members, estimates, strict=True):
            who = panel.who(member)
            rows += [
                (*place, session, since, a, float(v)) for a, v in zip(who, values, strict=True)
            ]
    columns = ["first", "second", "session", "since", "athlete", "estimate"]
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
    every = [
        pd.DataFrame(
            {
                "athlete": panel.athletes,
                "group": labels,
                "session": panel.sessions[pair[1]],
                "since": panel.sessions[pair[0]],
                "change": changes(panel, pair),
            }
        )
        for pair in panel.session_pairs
    ]
    return {
        "values": values,
        "means": means,
        "changes": pd.concat(every, ignore_index=True),
        "leave_one_out": leave_one_out_data(panel, primary),
    }
