"""How the subgroups start: means before the block, and how far each stands from the rest."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np
import pandas as pd

from cmjlab.stats.common.intervals import mean_limits
from cmjlab.stats.common.tables import unit_of

#: Compared besides what decided, when the table has them.
OTHERS = ("jump_height_m", "time_to_takeoff_s", "rsi_modified_m_per_s", "body_mass_kg")


def balance_rows(
    rows: pd.DataFrame, placements: pd.DataFrame, deciding: Sequence[str], level: float
) -> tuple[list[dict[str, Any]], pd.DataFrame]:
    """Return rows of the statistics table, and a readable table, of the baseline of subgroups.

    Parameters
    ----------
    rows : pandas.DataFrame
        The deciding session, one row per athlete.
    placements : pandas.DataFrame
        athlete and subgroup.
    deciding : sequence of str
        Metrics that made the groups: they differ by construction.
    level : float
    """
    groups = dict(zip(placements["athlete"], placements["subgroup"], strict=True))
    group = rows["athlete"].astype(str).map(groups).fillna("")
    names = [g for g in dict.fromkeys(placements["subgroup"]) if g]
    metrics = list(dict.fromkeys([*deciding, *(m for m in OTHERS if m in rows)]))
    out: list[dict[str, Any]] = []
    points = []
    for metric in metrics:
        values = rows[metric].to_numpy(dtype=float, na_value=np.nan)
        for name in sorted(names):
            mine = values[(group == name).to_numpy() & np.isfinite(values)]
            rest = values[
                (group != name).to_numpy() & (group != "").to_numpy() & np.isfinite(values)
            ]
            how = "decided the groups" if metric in deciding else ""
            out.append(_mean_row(metric, name, mine, level) | {"text": how or None})
            d = standardised_difference(mine, rest)
            text = how or None
            if not np.isfinite(d):
                text = "not estimable: a group with fewer than two athletes, or no spread"
            out.append({
                "metric": metric, "statistic": "baseline_difference_sd", "group": name,
                "contrast": f"{name} - the rest", "estimate": d, "unit": "",
                "n": len(mine) + len(rest), "method": "pooled SD", "text": text,
            })  # fmt: skip
            points.append((metric, name, len(mine), out[-2]["estimate"], _sd(mine), d, how))
    columns = ["metric", "subgroup", "n", "mean", "sd", "difference_sd", "remark"]
    return out, pd.DataFrame(points, columns=columns)


def _sd(values: np.ndarray) -> float:
    return float(values.std(ddof=1)) if len(values) > 1 else float("nan")


def _mean_row(metric: str, group: str, values: np.ndarray, level: float) -> dict[str, Any]:
    row: dict[str, Any] = {
        "metric": metric, "statistic": "group_baseline", "group": group, "n": len(values),
        "unit": unit_of(metric), "method": "t",
    }  # fmt: skip
    if len(values) == 0:
        return row | {"text": "not estimable: nobody with a value"}
    row["estimate"] = float(values.mean())
    if len(values) > 1:
        se = _sd(values) / np.sqrt(len(values))
        low, high = mean_limits(values.mean(), se, len(values) - 1, level)
        row |= {"ci_low": float(low), "ci_high": float(high), "level": level}
        row |= {"df": len(values) - 1.0, "se": se}
    return row


def standardised_difference(mine: np.ndarray, rest: np.ndarray) -> float:
    """Return (mean - mean) / pooled SD; nan when it cannot be had.

    Source: Austin 2009, Stat Med 28:3083 (from memory), with the pooled SD.
    """
    n, m = len(mine), len(rest)
    if n < 2 or m < 2:
        return float("nan")
    pooled = ((n - 1) * mine.var(ddof=1) + (m - 1) * rest.var(ddof=1)) / (n + m - 2)
    return float((mine.mean() - rest.mean()) / np.sqrt(pooled)) if pooled > 0 else float("nan")
