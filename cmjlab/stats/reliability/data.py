"""From the sessions table to one array for all metrics, with a note for everything left out."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field, replace
from functools import cache

import numpy as np
import pandas as pd

from cmjlab.errors import StatsError
from cmjlab.results import Note, Reason
from cmjlab.stats.common.mean_squares import Array
from cmjlab.stats.common.tables import athlete_in_session, measures

#: Values that are computed with at a time: some 100 MB with all that is made of them.
_VALUES_OF_BLOCK = 1_000_000


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
    rows = np.flatnonzero(table["session"].isin(sessions))
    who, athletes = pd.factorize(table["athlete"].astype(str).iloc[rows])
    when = pd.Index(sessions).get_indexer(table["session"].astype(str).iloc[rows])
    # In memory session by session: sums over an athlete's few sessions are quick then.
    array = np.full((len(sessions), len(metrics), len(athletes)), np.nan)
    for i, metric in enumerate(metrics):
        array[when, i, who] = table[metric].to_numpy(dtype=np.float64, na_value=np.nan)[rows]
    array = array.transpose(1, 2, 0)
    missing = np.isnan(array)
    if missing.all():
        where = ", ".join(sessions) or "a table without rows"
        raise StatsError(
            f"there is no value of {', '.join(metrics[:8])} in {where}; give a table with at least"
            " one number per metric."
        )
    if np.isinf(array).any():
        _refuse_infinite(table.iloc[rows], metrics)
    present = ~missing.all(axis=(0, 2))
    notes: list[Note] = []
    if not present.all():
        names = [str(a) for a in np.asarray(athletes)[~present]]
        left_out = {"athletes": names, "sessions": list(sessions), "n": len(names)}
        notes.append(Note("athlete_without_value", left_out))
    if not present.all() or array.size <= _VALUES_OF_BLOCK:  # a large one is not copied in vain
        array = array[:, present]
    kept = tuple(str(a) for a in np.asarray(athletes)[present])
    notes += missing_notes(array, metrics, kept, sessions)
    return Cube(tuple(metrics), kept, tuple(sessions), array, tuple(notes))


def blocks(data: Cube) -> Iterator[Cube]:
    """Yield a cube a few metrics at a time: what is computed from all of a large one fills memory.

    Metrics do not depend on each other, but for the last digits of a fit by steps; a cube of the
    size of any study is one block.
    """
    each = max(1, _VALUES_OF_BLOCK // max(1, data.values[0].size))
    if each >= len(data.metrics):
        yield data
        return
    for start in range(0, len(data.metrics), each):
        at = slice(start, start + each)
        values = np.ascontiguousarray(data.values[at].transpose(2, 0, 1)).transpose(1, 2, 0)
        yield replace(data, metrics=data.metrics[at], values=values, notes=())


def _refuse_infinite(part: pd.DataFrame, metrics: list[str]) -> None:
    values = part[metrics].to_numpy(dtype=np.float64, na_value=np.nan)
    bad = np.argwhere(np.isinf(values))
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
    gaps: dict[bytes, list[int]] = {}
    for i in range(len(metrics)):
        missing = ~np.isfinite(array[i])
        if missing.any():
            gaps.setdefault(np.packbits(missing).tobytes(), []).append(i)
    cell = cache(lambda a, k: athlete_in_session(athletes[a], sessions[k]))
    out = []
    for same in gaps.values():
        cells = [cell(*place) for place in np.argwhere(~np.isfinite(array[same[0]])).tolist()]
        names = [metrics[i] for i in same]
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
