"""From the sessions table to one array for all metrics, with a note for everything left out."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
import pandas as pd

from cmjlab.catalog import METRICS
from cmjlab.errors import StatsError
from cmjlab.results import Note
from cmjlab.stats.common.mean_squares import Array


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
    array = np.full((len(metrics), len(athletes), len(sessions)), np.nan)
    array[:, who, when] = values.T
    present = np.isfinite(array).any(axis=(0, 2))
    notes: list[Note] = []
    if not present.all():
        names = ", ".join(np.asarray(athletes)[~present])
        notes.append(Note("no_value", f"No value in {', '.join(sessions)}: {names}; left out."))
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
        listed = ", ".join(f"{athletes[a]} ({sessions[s]})" for a, s in where[:8])
        more = f" and {len(where) - 8} more" if len(where) > 8 else ""
        what = "All metrics" if len(names) == len(metrics) else ", ".join(names[:6])
        if len(names) > 6 and len(names) < len(metrics):
            what += f" and {len(names) - 6} more"
        out.append(Note("missing_value", f"{what}: no value for {listed}{more}."))
    return out


def log_values(data: Cube) -> tuple[Array, list[str]]:
    """Return natural logs, all nan for a metric without percent, and the reason per metric.

    Logs, percent and CV need a metric that is declared ratio scale (a user's own column counts
    as such) and values that are all positive.
    """
    reasons = []
    logs = np.full_like(data.values, np.nan)
    for i, metric in enumerate(data.metrics):
        values = data.values[i]
        there = np.isfinite(values)
        declared = METRICS[metric].ratio_scale if metric in METRICS else True
        if not declared:
            reasons.append("percent has no meaning for this metric (it has no true zero)")
        elif (values[there] <= 0).any():
            reasons.append("percent needs values that are all above zero")
        else:
            reasons.append("")
            logs[i][there] = np.log(values[there])
    return logs, reasons
