"""Tidy data behind the figures and tables of reliability."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import numpy as np
import pandas as pd

from cmjlab.results import Note
from cmjlab.stats.components import session_components
from cmjlab.stats.reliability_data import Cube
from cmjlab.stats.reliability_icc import FORMS


def values_points(data: Cube, group: Mapping[str, str] | None) -> pd.DataFrame:
    """Return one row per metric, athlete and session with a value."""
    m, n, k = data.values.shape
    frame = pd.DataFrame(
        {
            "metric": np.repeat(np.array(data.metrics, dtype=object), n * k),
            "athlete": np.tile(np.repeat(np.array(data.athletes, dtype=object), k), m),
            "session": np.tile(np.array(data.sessions, dtype=object), m * n),
            "value": data.values.ravel(),
        }
    )
    if group is not None:
        frame["group"] = frame["athlete"].map(group)
    return frame[np.isfinite(frame["value"])].reset_index(drop=True)


def agreement_points(data: Cube) -> pd.DataFrame:
    """Return mean and difference of consecutive sessions, one row per metric and athlete."""
    parts = []
    for j in range(1, data.k):
        first, second = data.values[:, :, j - 1], data.values[:, :, j]
        i, a = np.nonzero(np.isfinite(first) & np.isfinite(second))
        parts.append(
            pd.DataFrame(
                {
                    "metric": np.array(data.metrics, dtype=object)[i],
                    "athlete": np.array(data.athletes, dtype=object)[a],
                    "contrast": f"{data.sessions[j]} - {data.sessions[j - 1]}",
                    "mean": 0.5 * (first[i, a] + second[i, a]),
                    "difference": second[i, a] - first[i, a],
                }
            )
        )
    empty = pd.DataFrame(columns=["metric", "athlete", "contrast", "mean", "difference"])
    return pd.concat(parts, ignore_index=True) if parts else empty


def component_points(data: Cube) -> pd.DataFrame:
    """Return variance components of athletes, sessions and remainder, by two methods."""
    return session_components(data.values, data.metrics)


def icc_form_points() -> pd.DataFrame:
    """Return the names of the ICC forms in the two papers, and what each is for."""
    rows = [
        {"statistic": key, "mcgraw_wong_1996": mw, "shrout_fleiss_1979": sf, "use": use}
        for (key, (sf, use)), mw in zip(
            FORMS.items(),
            ("ICC(1)", "ICC(A,1)", "ICC(C,1)", "ICC(k)", "ICC(A,k)", "ICC(C,k)"),
            strict=True,
        )
    ]
    return pd.DataFrame(rows)


def retest_days(table: pd.DataFrame, sessions: tuple[str, ...]) -> tuple[Any, list[Note]]:
    """Return the median days between consecutive sessions, and a note that says what it means."""
    unknown = Note("retest_interval_unknown", "The days between the sessions are not known (no column"
                   " 'date'); noise over a few days is a lower bound for that over a block.")  # fmt: skip
    if len(sessions) < 2 or "date" not in table:
        return None, [unknown] if len(sessions) > 1 else []
    dates = pd.to_datetime(table["date"], errors="coerce")
    frame = pd.DataFrame(
        {"athlete": table["athlete"], "session": table["session"].astype(str), "date": dates}
    )
    wide = frame.pivot(index="athlete", columns="session", values="date").reindex(
        columns=list(sessions)
    )
    days = np.concatenate(
        [
            (wide[b] - wide[a]).dt.total_seconds().dropna().to_numpy() / 86400
            for a, b in zip(sessions[:-1], sessions[1:], strict=True)
        ]
    )
    if not days.size:
        return None, [unknown]
    middle = float(np.median(days))
    span = "" if days.min() == days.max() else f", {days.min():g} to {days.max():g}"
    note = Note("retest_interval", f"The sessions lie {middle:g} days apart (median of"
                f" {days.size} retests{span}): for a longer block this noise is a lower bound.")  # fmt: skip
    return middle, [note]
