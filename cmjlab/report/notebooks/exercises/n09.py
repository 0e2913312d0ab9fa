"""Exercises of notebook 09, screening and missing data."""

from __future__ import annotations

import math
from typing import Any

import pandas as pd

from cmjlab.report.notebooks.exercises.kinds import Exercise, in_shown
from cmjlab.stats.change.missing import change_if_missing_differ

_YES, _NO = "yes", "no"


def _two_tests(table: pd.DataFrame, study: Any, metric: str) -> pd.DataFrame:
    """Return one row per athlete with the values before and after."""
    columns = [
        table[table["session"].astype(str) == session].set_index("athlete")[metric]
        for session in (study.before, study.after)
    ]
    return pd.concat(columns, axis=1, keys=["before", "after"])


def _complete(source: Any, metric: str) -> float:
    table, study = source
    return float(len(_two_tests(table, study, metric).dropna()))


def _tested_after(source: Any, metric: str) -> float:
    table, study = source
    return float(_two_tests(table, study, metric)["after"].notna().sum())


def _excess(source: Any, metric: str) -> float:
    """Return the difference of two means of different athletes less the mean change."""
    table, study = source
    both = _two_tests(table, study, metric)
    if both["after"].notna().sum() == 0:
        return math.nan
    paired = both.dropna()
    naive = both["after"].mean() - both["before"].mean()
    return in_shown(naive - (paired["after"] - paired["before"]).mean(), metric)


def _naive(source: Any, metric: str) -> float:
    table, study = source
    both = _two_tests(table, study, metric)
    return in_shown(both["after"].mean() - both["before"].mean(), metric)


def _do_they_decide(source: Any, metric: str) -> str:
    table, study, differ = source
    rows = change_if_missing_differ(
        table.drop(columns="group", errors="ignore"),
        metric,
        before=study.before,
        after=study.after,
        shifts=(-differ, differ),
        level=study.plan.level,
    ).rows("mean_change_shifted")
    excludes = (rows["ci_low"] > 0) | (rows["ci_high"] < 0)
    return _YES if excludes.sum() == 1 else _NO


EXERCISES = {
    "09.1": Exercise(1, _complete, known={"tested_after": _tested_after}),
    "09.2": Exercise(2, _excess, "metric", 0.5, known={"naive_itself": _naive}),
    "09.3": Exercise(3, _do_they_decide, choices=(_YES, _NO)),
}
