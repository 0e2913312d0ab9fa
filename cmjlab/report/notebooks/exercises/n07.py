"""Exercises of notebook 07, the season."""

from __future__ import annotations

import math
from typing import Any

import pandas as pd

from cmjlab.report.notebooks.exercises.kinds import Exercise, in_shown

_NOTHING, _AGAIN, _CHANGED = "nothing", "test again", "level changed"


def _alarms(season: Any, metric: str) -> float:
    if season is None:
        return math.nan
    points = season.points["weeks"]
    return float((points.loc[points["metric"] == metric, "alarm"] != "").sum())


def _weeks(source: Any, metric: str) -> pd.DataFrame:
    """Return the weeks of one athlete in which there is a value, in their order."""
    season, who = source
    weeks = season.points["weeks"]
    mine = (weeks["athlete"] == who) & (weeks["metric"] == metric) & weeks["difference"].notna()
    return weeks[mine].sort_values("look")


def _weighted_mean(source: Any, metric: str) -> float:
    weeks = _weeks(source, metric)
    return in_shown(weeks["mean"].iloc[-1], metric) if len(weeks) else math.nan


def _from_the_first_week(source: Any, metric: str) -> float:
    """Return the weighted mean that starts at the first difference in place of zero."""
    weight = float(source[0].settings["charts"]["weight"])
    weeks = _weeks(source, metric)["difference"]
    if weeks.empty:
        return math.nan
    return in_shown(weeks.ewm(alpha=weight, adjust=False).mean().iloc[-1], metric)


def _last_difference(source: Any, metric: str) -> float:
    weeks = _weeks(source, metric)
    return in_shown(weeks["difference"].iloc[-1], metric) if len(weeks) else math.nan


def _plain_mean(source: Any, metric: str) -> float:
    return in_shown(_weeks(source, metric)["difference"].mean(), metric)


def _decision(source: Any, metric: str) -> str:
    weeks = _weeks(source, metric)
    if weeks.empty:
        return ""
    last = weeks.iloc[-1]
    if last["conclusion"] != "":
        return _CHANGED
    return _AGAIN if last["alarm"] != "" else _NOTHING


EXERCISES = {
    "07.1": Exercise(1, _alarms),
    "07.2": Exercise(
        2,
        _weighted_mean,
        "metric",
        0.5,
        known={
            "ewm_first": _from_the_first_week,
            "one_week": _last_difference,
            "plain_mean": _plain_mean,
        },
    ),
    "07.3": Exercise(3, _decision, choices=(_NOTHING, _AGAIN, _CHANGED)),
}
