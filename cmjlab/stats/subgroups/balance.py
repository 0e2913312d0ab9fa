"""How the subgroups start: means before the block, and how far each stands from the rest."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from cmjlab.results import Reason
from cmjlab.stats.common.intervals import mean_limits
from cmjlab.stats.common.rows import Place, Rows

Array = NDArray[np.float64]

#: Compared besides what decided, when the table has them.
OTHERS = ("jump_height_m", "time_to_takeoff_s", "rsi_modified_m_per_s", "body_mass_kg")


def add_balance(
    rows: Rows, session: pd.DataFrame, placements: pd.DataFrame, deciding: Sequence[str]
) -> pd.DataFrame:
    """Add the baseline of subgroups; return it as a table: one row per metric and subgroup.

    Parameters
    ----------
    rows : Rows
    session : pandas.DataFrame
        The deciding session, one row per athlete.
    placements : pandas.DataFrame
        athlete and subgroup.
    deciding : sequence of str
        Metrics that made the groups: they differ by construction (column ``decided``).
    """
    groups = dict(zip(placements["athlete"], placements["subgroup"], strict=True))
    group = session["athlete"].astype(str).map(groups).fillna("").to_numpy()
    names = sorted(set(placements["subgroup"]) - {""})
    points = []
    for metric in dict.fromkeys([*deciding, *(m for m in OTHERS if m in session)]):
        values = session[metric].to_numpy(dtype=float, na_value=np.nan)
        known = np.isfinite(values) & (group != "")
        remark = Reason("decided_the_groups") if metric in deciding else None
        for name in names:
            mine, rest = values[known & (group == name)], values[known & (group != name)]
            here = rows.at(metric=metric, group=name)
            _add_mean(here.at(n=len(mine)), mine, remark)
            d = standardised_difference(mine, rest)
            here.at(n=len(mine) + len(rest)).add(
                "baseline_difference_sd",
                d,
                reason=Reason("few_or_no_spread"),
                remark=remark,
                estimator="pooled_sd",
            )
            mean = float(mine.mean()) if len(mine) else float("nan")
            points.append((metric, name, len(mine), mean, _sd(mine), d, remark is not None))
    columns = ["metric", "subgroup", "n", "mean", "sd", "difference_sd", "decided"]
    return pd.DataFrame(points, columns=columns)


def _sd(values: Array) -> float:
    return float(values.std(ddof=1)) if len(values) > 1 else float("nan")


def _add_mean(here: Place, values: Array, remark: Reason | None) -> None:
    n = len(values)
    if n < 2:
        mean = values.mean() if n else np.nan
        why = Reason("one_athlete_only" if n else "nobody_with_value")
        here.add("group_baseline", mean, reason=why, remark=remark)
        return
    se = _sd(values) / np.sqrt(n)
    here.add(
        "group_baseline",
        values.mean(),
        limits=mean_limits(values.mean(), se, n - 1, here.level),
        remark=remark,
        df=n - 1,
        se=se,
        interval_kind="t",
    )


def standardised_difference(mine: Array, rest: Array) -> float:
    """Return (mean - mean) / pooled SD; nan when it cannot be had.

    Source: Austin 2009, Stat Med 28:3083 (from memory), with the pooled SD.
    """
    n, m = len(mine), len(rest)
    if n < 2 or m < 2:
        return float("nan")
    pooled = ((n - 1) * mine.var(ddof=1) + (m - 1) * rest.var(ddof=1)) / (n + m - 2)
    return float((mine.mean() - rest.mean()) / np.sqrt(pooled)) if pooled > 0 else float("nan")
