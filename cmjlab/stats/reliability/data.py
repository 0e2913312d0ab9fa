"""From the sessions table to one array for all metrics, with a note for everything left out."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np
import pandas as pd

from cmjlab.errors import StatsError
from cmjlab.results import Note, Reason
from cmjlab.stats.common.mean_squares import Array
from cmjlab.stats.common.tables import athlete_in_session, measures


@dataclass(frozen=True)
class Cube:
    """Values of all metrics, shape (n_metrics, n_athletes, n_sessions); nan where missing."""

    metrics: tuple[str, ...]
    athletes: tuple[str, ...]
    sessions: tuple[str, ...]
    values: Array
    notes: tuple[Note, ...] = field(default=())

    @property
    def k(self) -> int:
        """Number of sessions."""
        return len(self.sessions)


def cube(table: pd.DataFrame, metrics: list[str], sessions: list[str]) -> Cube:
    """Return the metrics as one array; raise StatsError on infinite values.

    Parameters
    ----------
    table : pandas.DataFrame
        As :func:`cmjlab.stats.common.tables.check_table` returns it.
    metrics, sessions : list of str
        Columns, and sessions in protocol order.

    Raises
    ------
    StatsError
        No value at all; or naming athlete, session and metric of the first infinite values.
    """
    part = table[table["session"].isin(sessions)]
    values = part[metrics].to_numpy(dtype=np.float64, na_value=np.nan)
    if not np.isfinite(values).any() and not np.isinf(values).any():
        where = ", ".join(sessions) or "a table without rows"
        raise StatsError(
            f"there is no value of {', '.join(metrics[:8])} in {where}; give a table with at least"
            " one number per metric."
        )
    _refuse_infinite(part, metrics, values)
    who, athletes = pd.factorize(part["athlete"].astype(str))
    when = pd.Index(sessions).get_indexer(part["session"].astype(str))
    # In memory session by session: sums over an athlete's few sessions are quick then.
    array = np.full((len(sessions), len(metrics), len(athletes)), np.nan)
    array[when, :, who] = values
    array = array.transpose(1, 2, 0)
    present = np.isfinite(array).any(axis=(0, 2))
    notes: list[Note] = []
    if not present.all():
        names = [str(a) for a in np.asarray(athletes)[~present]]
        left_out = {"athletes": names, "sessions": list(sessions), "n": len(names)}
        notes.append(Note("athlete_without_value", left_out))
    kept = tuple(str(a) for a in np.asarray(athletes)[present])
    array = array[:, present]
    notes += missing_notes(array, metrics, kept, sessions)
    return Cube(tuple(metrics), kept, tuple(sessions), array, tuple(notes))


def _refuse_infinite(part: pd.DataFrame, metrics: list[str], values: Array) -> None:
    bad = np.argwhere(np.isinf(values))
    if len(bad):
        where = "; ".join(
            f"athlete {part['athlete'].iloc[i]}, session {part['session'].iloc[i]}, {metrics[j]}"
            for i, j in bad[:5]
        )
        raise StatsError(
            f"{len(bad)} infinite value(s): {where}. Correct them, or leave the cell empty."
        )


def missing_notes(
    array: Array, metrics: list[str], athletes: tuple[str, ...], sessions: list[str]
) -> list[Note]:
    """Return one note per kind of gap: who has no value in which session, for which metrics."""
    gaps: dict[tuple[tuple[int, int], ...], list[str]] = {}
    missing = ~np.isfinite(array)
    for i in np.flatnonzero(missing.any(axis=(1, 2))):
        where = tuple((int(a), int(s)) for a, s in np.argwhere(missing[i]))
        gaps.setdefault(where, []).append(metrics[i])
    out = []
    for where, names in gaps.items():
        cells = [athlete_in_session(athletes[a], sessions[k]) for a, k in where]
        what = measures([] if len(names) == len(metrics) else names)
        one = {"metric": names[0]} if len(names) == 1 else {}
        out.append(Note("missing_value", {"what": what, "cells": cells, **one}))
    return out


def log_values(data: Cube, reasons: Sequence[Reason | None]) -> Array:
    """Return natural logs of sizes; all nan for a metric with a reason against percent."""
    logs = np.full_like(data.values, np.nan)
    for i, reason in enumerate(reasons):
        if reason is None:
            there = np.isfinite(data.values[i])
            logs[i][there] = np.log(np.abs(data.values[i][there]))
    return logs
