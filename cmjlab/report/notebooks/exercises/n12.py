"""Exercises of notebook 12, does the conclusion survive."""

from __future__ import annotations

from typing import Any

import pandas as pd

from cmjlab.report.notebooks.exercises.kinds import Exercise, in_shown
from cmjlab.scrutiny.methods.choices import CHOICES

_NONE = "none"


def _of(source: Any, metric: str) -> pd.DataFrame:
    """Return all analyses of the first target with this measure; the study's own is the first row."""
    every = source.points["specifications"]
    mine = every[every["metric"] == metric]
    return mine[mine["subgroup"] == mine["subgroup"].iloc[0]]


def _counted(source: Any, metric: str) -> pd.DataFrame:
    mine = _of(source, metric)
    return mine[mine["counts"].astype(bool)]


def _other_answers(source: Any, metric: str) -> float:
    mine = _counted(source, metric)
    return float((mine["verdict"] != mine["verdict"].iloc[0]).sum())


def _same_answers(source: Any, metric: str) -> float:
    return float(len(_counted(source, metric))) - _other_answers(source, metric)


def _spread(source: Any, metric: str) -> float:
    return in_shown(float(_counted(source, metric)["estimate"].std(ddof=0)), metric)


def _spread_of_repeats(source: Any, metric: str) -> float:
    """Return the spread when analyses with the very same numbers count again and again."""
    return in_shown(float(_of(source, metric)["estimate"].std(ddof=0)), metric)


def _turns(source: Any, metric: str) -> str:
    mine = _of(source, metric)
    same = mine["verdict"] == mine["verdict"].iloc[0]
    spans = {
        c: float(by.max() - by.min())
        for c in CHOICES
        if mine[c].nunique() > 1 and len(by := same.groupby(mine[c]).mean())
    }
    most = max(spans, key=lambda c: spans[c], default=_NONE)
    return most if spans.get(most, 0.0) > 0.0 else _NONE


EXERCISES = {
    "12.1": Exercise(1, _other_answers, known={"same_not_other": _same_answers}),
    "12.2": Exercise(2, _spread, "metric", 0.02, known={"repeats_counted": _spread_of_repeats}),
    "12.3": Exercise(3, _turns, choices=(*CHOICES, _NONE)),
}
