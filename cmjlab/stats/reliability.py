"""Reliability of metrics: can they be trusted, here, with these athletes.

One row per athlete and session goes in; out come the intraclass correlations, the typical
error, three named CVs, the session change, the smallest detectable change and the limits of
agreement, for all metrics at once, each with its interval, its n and its degrees of freedom.
"""

from __future__ import annotations

from typing import Any

import numpy as np
import pandas as pd

from cmjlab import checks
from cmjlab.results import Note, Result
from cmjlab.stats import reliability_icc as icc
from cmjlab.stats.anova import MeanSquares, two_way
from cmjlab.stats.intervals import f_tail, mean_limits, t_tail
from cmjlab.stats.reliability_data import Cube, cube, log_values
from cmjlab.stats.reliability_missing import intra_block
from cmjlab.stats.reliability_noise import cv_rows, data_reasons, spread, typical_error_rows
from cmjlab.stats.tidy import Rows, check_table, metric_names, sessions_to_use


def reliability(
    table: pd.DataFrame,
    metrics: Any = None,
    *,
    use: Any = None,
    by: str | None = None,
    level: float = 0.95,
    change_that_matters: Any = None,
    jumps: pd.DataFrame | None = None,
) -> Result:
    """Return how well metrics repeat between sessions without training in between.

    Parameters
    ----------
    table : pandas.DataFrame
        One row per athlete and session; columns ``athlete``, ``session`` and metrics.
    metrics : str or sequence of str, optional
        Metrics; by default all numeric columns.
    use : str or sequence of str, optional
        Sessions; by default those with role baseline, else all.
    by : str, optional
        Column of strata, e.g. "sex": everything again within each stratum.
    level : float
        Level of the intervals.
    change_that_matters : float or mapping of metric to float, optional
        Smallest change worth acting on, in the metric's unit.
    jumps : pandas.DataFrame, optional
        Jumps table, for what needs single jumps.

    Returns
    -------
    Result
        kind "reliability".

    Raises
    ------
    StatsError
        Columns missing, ids empty, duplicate or infinite values.
    """
    level = checks.level(level)
    data_table = check_table(table)
    names = metric_names(data_table, metrics)
    sessions = sessions_to_use(data_table, use)
    data = cube(data_table, names, sessions)
    rows, notes = _all_rows(data, level, None)
    return Result(
        "reliability",
        rows.frame(),
        settings={"metrics": names, "use": sessions, "by": by, "level": level},
        notes=(*data.notes, *notes),
    )


def _all_rows(data: Cube, level: float, group: str | None) -> tuple[Rows, list[Note]]:
    rows = Rows(data.metrics, level=level, group=group)
    block = intra_block(data.values)
    reason = data_reasons(data, block)
    ms = two_way(data.values)
    _icc_rows(rows, ms, reason)
    typical_error_rows(rows, block, reason)
    logs, why = log_values(data)
    percent_reason = [r or w for r, w in zip(reason, why, strict=True)]
    usable = np.array([not w for w in why])
    cv_rows(rows, intra_block(logs), spread(data.values, usable), percent_reason)
    _session_rows(rows, data, ms, reason)
    return rows, []


def _icc_rows(rows: Rows, ms: MeanSquares, reason: list[str]) -> None:
    few = [
        r or ("" if n >= 2 else f"{int(n)} athlete(s) with every session; at least 2 are needed")
        for r, n in zip(reason, ms.n, strict=True)
    ]
    forms = {
        "icc_1": icc.one_way(ms, rows.level),
        "icc_a1": icc.agreement(ms, rows.level),
        "icc_c1": icc.consistency(ms, rows.level),
    }
    mean = {f"{k[:-1]}k" if k != "icc_1" else "icc_1k": v.of_mean(ms.k) for k, v in forms.items()}
    for key, value in {**forms, **mean}.items():
        rows.add(
            key,
            value.estimate,
            limits=(value.low, value.high),
            n=ms.n,
            df=value.df1,
            df2=value.df2,
            test_value=value.f,
            p=value.p,
            unit="",
            method="McGraw & Wong 1996",
            void=few,
        )


def _session_rows(rows: Rows, data: Cube, ms: MeanSquares, reason: list[str]) -> None:
    for j in range(data.k - 1):
        difference = data.values[:, :, j + 1] - data.values[:, :, j]
        there = np.isfinite(difference)
        n = there.sum(axis=1).astype(float)
        mean = np.where(there, difference, 0).sum(axis=1) / np.maximum(n, 1)
        ss = np.where(there, (difference - mean[:, None]) ** 2, 0.0).sum(axis=1)
        se = np.sqrt(ss / np.maximum(n - 1, 1) / np.maximum(n, 1))
        with np.errstate(divide="ignore", invalid="ignore"):
            t = mean / se
        rows.add(
            "session_change",
            np.where(n > 1, mean, np.nan),
            limits=mean_limits(mean, se, n - 1, rows.level),
            contrast=f"{data.sessions[j + 1]} - {data.sessions[j]}",
            n=n,
            df=n - 1,
            se=se,
            test_value=t,
            p=t_tail(t, n - 1),
            method="paired differences, t",
            void=reason,
            reason="fewer than 2 athletes with both sessions",
        )
    with np.errstate(divide="ignore", invalid="ignore"):
        f = ms.msc / ms.mse
    rows.add(
        "session_f",
        f,
        interval=False,
        df=ms.df_c,
        df2=ms.df_e,
        n=ms.n,
        test_value=f,
        p=f_tail(f, ms.df_c, ms.df_e),
        unit="",
        method="F = MSC / MSE",
        void=reason,
        reason="no noise to test against",
    )
