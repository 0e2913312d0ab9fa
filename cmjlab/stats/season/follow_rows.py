"""Rows and points of athletes who are followed through a season."""

from __future__ import annotations

from typing import Any

import numpy as np
import pandas as pd

from cmjlab.results import Reason
from cmjlab.stats.change.paired import mean_estimate
from cmjlab.stats.common.intervals import sd_limits
from cmjlab.stats.common.rows import Rows
from cmjlab.stats.season.charts import FollowSettings
from cmjlab.stats.season.stable import Stable
from cmjlab.stats.season.trend import Trend


def add_noise(rows: Rows, known: Stable) -> None:
    """Add the typical error that the limits rest on."""
    low, high = sd_limits(known.noise, known.df, rows.level)
    rows.at(metric=known.metric).add(
        "typical_error",
        known.noise,
        limits=(low, high),
        df=known.df,
        interval_kind="chi_square",
        estimator="noise_given" if known.given else "noise_of_stable_weeks",
    )


def add_trend(rows: Rows, metric: str, trend: Trend, how: FollowSettings) -> None:
    """Add each week's difference, the weighted mean and the running sums of one athlete."""
    here = rows.at(metric=metric, athlete=trend.athlete, session=list(trend.sessions), n=1)
    words = {"stable": trend.stable, "weight": how.weight, "slack": how.slack}
    difference = trend.differences
    here.add(
        "week_difference",
        difference,
        limits=(difference - trend.alarm_half, difference + trend.alarm_half),
        level=1.0 - how.alarm,
        se=trend.se,
        estimator="week_from_level",
        interval_kind="t",
        remark=[_remark("alarm", side) for side in trend.alarms],
        words=words,
    )
    here.add(
        "season_mean",
        trend.means,
        limits=(trend.means - trend.mean_half, trend.means + trend.mean_half),
        estimator="weighted_mean",
        interval_kind="all_weeks_at_once",
        remark=[_remark("season", side) for side in trend.conclusions],
        words=words,
    )
    for name, values in (("season_sum_above", trend.above), ("season_sum_below", trend.below)):
        here.add(name, values, estimator="running_sum", words=words)


def _remark(kind: str, side: str) -> Reason:
    return Reason(f"{kind}_{side or 'inside'}")


def add_squad(rows: Rows, metric: str, trends: list[Trend], weeks: list[str]) -> None:
    """Add the mean difference of all athletes in each week: what the whole squad shares."""
    for session in weeks:
        values = np.array(
            [t.differences[t.sessions.index(session)] for t in trends if session in t.sessions]
        )
        here = rows.at(metric=metric, session=session, n=len(values))
        if len(values) < 2:
            here.none("squad_difference", Reason("few_in_week", {"n": len(values)}))
            continue
        here.add_estimate(
            "squad_difference",
            mean_estimate(values),
            estimator="mean_of_weeks",
            interval_kind="t",
        )


def week_points(
    table: pd.DataFrame, followed: list[tuple[Stable, list[Trend]]]
) -> list[dict[str, Any]]:
    """Return one row per athlete, metric and week with everything that a figure needs."""
    extra = _columns_of(table, ("group", "date"))
    return [
        {**extra.get((trend.athlete, row["session"]), {}), **row}
        for known, trends in followed
        for trend in trends
        for row in _rows_of(known, trend)
    ]


def _rows_of(known: Stable, trend: Trend) -> list[dict[str, Any]]:
    parts = zip(
        trend.sessions, trend.values, trend.differences, trend.alarms, trend.means,
        trend.mean_half, trend.conclusions, trend.since, trend.above, trend.below, trend.sum_sides,
        strict=True,
    )  # fmt: skip
    return [
        {
            "athlete": trend.athlete, "metric": known.metric, "session": session, "look": look,
            "value": value, "own_level": trend.level, "stable_weeks": trend.stable,
            "difference": difference, "alarm_half": trend.alarm_half, "alarm": alarm,
            "mean": mean, "mean_half": half, "conclusion": side, "since": since,
            "sum_above": above, "sum_below": below, "sum_limit": trend.sum_limit,
            "sum_side": sum_side,
        }
        for look, (session, value, difference, alarm, mean, half, side, since, above, below, sum_side)
        in enumerate(parts, start=1)
    ]  # fmt: skip


def _columns_of(
    table: pd.DataFrame, names: tuple[str, ...]
) -> dict[tuple[str, str], dict[str, Any]]:
    there = [n for n in names if n in table]
    return {
        (str(row["athlete"]), str(row["session"])): {n: row[n] for n in there if pd.notna(row[n])}
        for row in table[["athlete", "session", *there]].to_dict("records")
    }
