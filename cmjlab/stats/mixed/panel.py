"""From a table to one metric's panel: athletes × sessions, with the group of each athlete.

Everything that can be wrong with the labels is refused here, by name, so that the models
behind never meet an athlete twice, an athlete of two groups or a group without a label.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from itertools import combinations

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from cmjlab.checks import shown, suggestion
from cmjlab.errors import ArgumentError, StatsError
from cmjlab.results import Note
from cmjlab.stats.common.best_of import best_notes, refuse_unequal_best
from cmjlab.stats.common.tables import (
    check_table,
    compared_sessions,
    grid,
    metric_names,
    session_order,
    sessions_to_use,
)
from cmjlab.stats.common.weeks import unused_weeks

#: Label of the only group when the table names none.
EVERYBODY = ""


@dataclass(frozen=True)
class Panel:
    """One metric of a squad over sessions.

    Attributes
    ----------
    metric : str
    values : array, shape (n_athletes, n_sessions)
        nan where missing.
    athletes, sessions : tuple of str
        Sessions in protocol order.
    groups : tuple of str
        Labels; the first is the reference. ``("",)`` when the table has no groups.
    member : array of int, shape (n_athletes,)
        Index into ``groups``.
    notes : tuple of Note
    """

    metric: str
    values: NDArray[np.float64]
    athletes: tuple[str, ...]
    sessions: tuple[str, ...]
    groups: tuple[str, ...]
    member: NDArray[np.int64]
    notes: tuple[Note, ...] = ()

    @property
    def observed(self) -> NDArray[np.bool_]:
        """Where a value is present, shape (n_athletes, n_sessions)."""
        return np.isfinite(self.values)

    @property
    def complete(self) -> NDArray[np.bool_]:
        """Athletes with a value in every session, shape (n_athletes,)."""
        return np.asarray(self.observed.all(axis=1))

    @property
    def session_pairs(self) -> list[tuple[int, int]]:
        """All pairs (earlier, later)."""
        return list(combinations(range(len(self.sessions)), 2))

    @property
    def group_pairs(self) -> list[tuple[int, int]]:
        """All pairs (reference, other): group − control first, then the rest."""
        return list(combinations(range(len(self.groups)), 2))

    def who(self, which: NDArray[np.bool_]) -> list[str]:
        """Return the ids of some athletes."""
        return [a for a, w in zip(self.athletes, which, strict=True) if w]

    def session_names(self, pair: tuple[int, int]) -> tuple[str, str]:
        """Return the names of two sessions."""
        return self.sessions[pair[0]], self.sessions[pair[1]]


def read_panel(
    table: pd.DataFrame,
    metric: str,
    *,
    order: Sequence[str] | None = None,
    control: str | None = None,
) -> Panel:
    """Return the panel of one metric, or raise with the athlete, the finding and the remedy.

    Parameters
    ----------
    table : pandas.DataFrame
        One row per athlete and session: athlete, session, the metric; group is optional.
    metric : str
        Column to analyse.
    order : sequence of str, optional
        Sessions to use, in protocol order; else category order or order of appearance.
    control : str, optional
        Group that others are compared with; else the first category or first to appear.

    Raises
    ------
    StatsError
        Duplicates, an athlete of two groups, an empty group, fewer than two sessions, best jumps from
        unequal numbers of jumps.
    ArgumentError
        ``order`` or ``control`` is not usable.
    """
    if not isinstance(metric, str):
        raise ArgumentError(f"metric: one column name is needed, found {shown(metric)}.")
    labels, group_order = read_groups(table)
    checked = check_table(table)
    notes: list[Note] = []
    if len(checked) < len(table):
        notes.append(Note("repeated_rows", {"n": len(table) - len(checked)}))
    name = metric_names(checked, metric)[0]
    sessions, more = used_sessions(checked, name, order)
    compared = checked[checked["session"].astype(str).isin(sessions)]
    refuse_unequal_best(compared)
    notes += best_notes(compared)
    cells = grid(checked, name, sessions)
    notes += [*more, *cells.notes]
    if not cells.athletes:
        raise StatsError(f"{name}: no athlete has a value in {', '.join(sessions)}.")
    present = [g for g in group_order if any(labels.get(a) == g for a in cells.athletes)]
    lost = [g for g in group_order if g not in present]
    if lost:
        notes.append(Note("group_empty", {"metric": name, "groups": lost}))
    groups = reference_first(present or [EVERYBODY], control)
    member = np.array([groups.index(labels.get(a, EVERYBODY)) for a in cells.athletes])
    return Panel(name, cells.values, cells.athletes, tuple(sessions), groups, member, tuple(notes))


def used_sessions(
    table: pd.DataFrame, metric: str, order: Sequence[str] | None
) -> tuple[list[str], list[Note]]:
    """Return sessions in order (those with a value) and notes about the others."""
    notes: list[Note] = []
    if order is None:
        wanted = compared_sessions(table)
        if not isinstance(table["session"].dtype, pd.CategoricalDtype):
            notes.append(Note("order_of_appearance", {"sessions": wanted}))
        notes += unused_weeks(table, wanted)
    else:
        several = isinstance(order, Iterable) and not isinstance(order, str)
        if not several or not all(isinstance(s, str) for s in order):
            raise ArgumentError(f"order: a list of session names is needed, found {shown(order)}.")
        wanted = list(order)
        if len(set(wanted)) < len(wanted):
            raise ArgumentError(f"order: a session stands twice: {', '.join(wanted)}.")
        in_table = sessions_to_use(table, wanted)  # refuses names that are not there
        if in_table != wanted:
            notes.append(Note("order_differs", {"sessions": wanted, "in_table": in_table}))
        others = [s for s in session_order(table) if s not in wanted]
        if others:
            notes.append(Note("sessions_not_in_order", {"sessions": others}))
    values = pd.Series(table[metric].to_numpy(dtype=float, na_value=np.nan))
    filled = set(table["session"].astype(str).to_numpy()[values.notna().to_numpy()])
    empty = [s for s in wanted if s not in filled]
    if empty:
        notes.append(Note("session_empty", {"metric": metric, "sessions": empty}))
    used = [s for s in wanted if s in filled]
    if len(used) < 2:
        raise StatsError(
            f"{metric}: change needs two sessions with values, found {', '.join(used) or 'none'}."
        )
    return used, notes


def read_groups(table: pd.DataFrame) -> tuple[dict[str, str], list[str]]:
    """Return group per athlete and the order of groups; refuse what is ambiguous."""
    if not isinstance(table, pd.DataFrame) or not {"athlete", "group"} <= set(table.columns):
        return {}, []
    column = table["group"]
    athletes = table["athlete"].astype(str).str.strip()
    labels = column.map(_label, na_action="ignore").astype(object)
    empty = labels.isna() | (labels == "")
    if empty.all():
        return {}, []
    if empty.any():
        who = ", ".join(dict.fromkeys(athletes[empty]))
        raise StatsError(
            f"group is empty for athlete {who}; fill it in, or remove these rows to leave them out."
        )
    found: dict[str, str] = {}
    for athlete, label in zip(athletes, labels, strict=True):
        before = found.setdefault(athlete, label)
        if before != label:
            raise StatsError(
                f"athlete {athlete} stands in group {before!r} and in group {label!r}; an athlete"
                " has one group for the whole study. Correct the label, or give two persons two ids."
            )
    if isinstance(column.dtype, pd.CategoricalDtype):
        order = [_label(c) for c in column.cat.categories if _label(c) in found.values()]
    else:
        order = list(dict.fromkeys(found.values()))
    return found, order


def _label(value: object) -> str:
    """Return a group label as text; 1.0 (a column of numbers) becomes "1"."""
    if isinstance(value, float) and value.is_integer():
        value = int(value)
    return str(value).strip()


def reference_first(groups: Sequence[str], control: str | None) -> tuple[str, ...]:
    """Return the groups with the one first that the others are compared with."""
    if control is None:
        return tuple(groups)
    wanted = _label(control)
    if wanted not in groups:
        raise ArgumentError(
            f"control: there is no group {wanted!r} with values; groups are"
            f" {', '.join(map(repr, groups))}.{suggestion(wanted, groups)}"
        )
    return (wanted, *(g for g in groups if g != wanted))
