"""Tidy data behind the figures and tables of reliability."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import numpy as np
import pandas as pd

from cmjlab.later import Later, Tables
from cmjlab.results import Note, Reason, Sentence
from cmjlab.stats.common.components import session_components
from cmjlab.stats.common.intervals import f_quantile, f_tail
from cmjlab.stats.common.tables import athlete_in_session
from cmjlab.stats.reliability.data import Cube
from cmjlab.stats.reliability.icc import FORMS
from cmjlab.stats.reliability.missing import intra_block
from cmjlab.stats.reliability.robust import shares

#: Bands of an ICC in words: Koo & Li 2016, J Chiropr Med 15:155. Shown, never decided by.
BANDS = ((0.5, "poor"), (0.75, "moderate"), (0.9, "good"), (np.inf, "excellent"))


def all_points(data: Cube, table: pd.DataFrame, group: Mapping[str, str] | None) -> Tables:
    """Return everything that figures and tables need, by name; each is made when it is read.

    Parameters
    ----------
    data : Cube
    table : pandas.DataFrame
        Rows of the single ICCs at least; nobody else may hold it, so that it stays as it is.
    group : mapping of athlete to stratum, optional
    """
    values = Later(lambda: values_points(data, group))
    return Tables(
        {
            "values": values,
            "pairs": values,
            "agreement": Later(lambda: agreement_points(data)),
            "influence": Later(lambda: influence_points(data)),
            "components": Later(lambda: component_points(data)),
            "icc_forms": Later(icc_form_points),
            "icc_bands": Later(lambda: icc_band_points(table, data.k)),
        }
    )


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
        earlier, later = data.values[:, :, j - 1], data.values[:, :, j]
        i, a = np.nonzero(np.isfinite(earlier) & np.isfinite(later))
        parts.append(
            pd.DataFrame(
                {
                    "metric": np.array(data.metrics, dtype=object)[i],
                    "athlete": np.array(data.athletes, dtype=object)[a],
                    "first": data.sessions[j],
                    "second": data.sessions[j - 1],
                    "mean": 0.5 * (earlier[i, a] + later[i, a]),
                    "difference": later[i, a] - earlier[i, a],
                }
            )
        )
    empty = pd.DataFrame(columns=["metric", "athlete", "first", "second", "mean", "difference"])
    return pd.concat(parts, ignore_index=True) if parts else empty


def influence_points(data: Cube) -> pd.DataFrame:
    """Return each athlete's part in the noise: share, typical error without, probability.

    ``p`` is the chance that some athlete stands out this far when all have the same noise.
    """
    block = intra_block(data.values)
    part = shares(data.values, block)
    total = part.squares.sum(axis=1, keepdims=True)
    i, a = np.nonzero((part.df > 0) & (total > 0))
    return pd.DataFrame(
        {
            "metric": np.array(data.metrics, dtype=object)[i],
            "athlete": np.array(data.athletes, dtype=object)[a],
            "share": part.squares[i, a] / total[i, 0],
            "typical_error_without": part.without[i, a],
            "p": part.p[i, a],
        }
    )


def icc_band_points(table: pd.DataFrame, k: int) -> pd.DataFrame:
    """Return the bands that limits of single ICCs fall into, and what n could show at best.

    ``chance`` is the probability that a study of this n gives a lower limit of .75 or more for
    a metric whose true ICC(C,1) is .95: when it is small, "not good enough" mostly means "too
    few athletes".
    """
    single = table[table["statistic"].isin(["icc_a1", "icc_c1"]) & np.isfinite(table["ci_low"])]
    out = single[
        ["metric", "group", "statistic", "interval_kind", "ci_low", "ci_high", "level", "n"]
    ].copy()
    out["band_low"] = [_band(x) for x in out["ci_low"]]
    out["band_high"] = [_band(x) for x in out["ci_high"]]
    n, level = out["n"].to_numpy(dtype=float), out["level"].to_numpy(dtype=float)
    df1, df2 = n - 1, (n - 1) * (k - 1)
    # The lower limit reaches .75 when F / F-quantile reaches 1 + k .75 / .25.
    needed = f_quantile(0.5 + level / 2, df1, df2) * (1 + k * 0.75 / 0.25)
    out["chance"] = f_tail(needed / (1 + k * 0.95 / 0.05), df1, df2)
    return out.reset_index(drop=True)


def _band(value: float) -> str:
    return next(word for top, word in BANDS if value < top)


def component_points(data: Cube) -> pd.DataFrame:
    """Return variance components of athletes, sessions and remainder, by two methods."""
    return session_components(data.values, data.metrics)


def icc_form_points() -> pd.DataFrame:
    """Return the names of the ICC forms in the two papers."""
    rows = [
        {"statistic": key, "mcgraw_wong_1996": mw, "shrout_fleiss_1979": sf}
        for key, (mw, sf) in FORMS.items()
    ]
    return pd.DataFrame(rows)


def jump_count_notes(table: pd.DataFrame) -> list[Note]:
    """Return a note when the values of the sessions are means of unequal numbers of jumps."""
    if "n_jumps" not in table:
        return []
    counts = pd.to_numeric(table["n_jumps"], errors="coerce").dropna()
    if counts.nunique() < 2:
        return []
    few = table.loc[counts.index[counts < counts.max()], ["athlete", "session"]]
    cells = [athlete_in_session(str(a), str(s)) for a, s in few.itertuples(index=False)]
    values = {"least": int(counts.min()), "most": int(counts.max()), "cells": cells}
    return [Note("unequal_jumps", values)]


def retest_days(table: pd.DataFrame, sessions: tuple[str, ...]) -> tuple[Any, list[Note]]:
    """Return the median days between consecutive sessions, and a note that says what it means."""
    why = Reason("dates_unreadable" if "date" in table else "no_dates")
    unknown = Note("retest_interval_unknown", {"why": why})
    if len(sessions) < 2 or "date" not in table:
        return None, [unknown] if len(sessions) > 1 else []
    dates = pd.to_datetime(table["date"], errors="coerce", format="ISO8601")
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
    ends = {"low": float(days.min()), "high": float(days.max())}
    span = "" if ends["low"] == ends["high"] else Sentence("reliability.days_span", values=ends)
    values = {"days": middle, "retests": int(days.size), "span": span}
    return middle, [Note("retest_interval", values)]
