"""A change in time to take-off that a new way of starting can make is told as such."""

from __future__ import annotations

from types import SimpleNamespace

import pandas as pd

from cmjlab.jump.onset import ONSET_STYLE_S
from cmjlab.method import Method
from cmjlab.report.sections.change import _onset_style
from cmjlab.results import Result
from cmjlab.words.catalog import read_words


def said(method: Method, **changes: float) -> str:
    rows = [
        {"metric": "time_to_takeoff_s", "group": g, "statistic": "mean_change", "estimate": c}
        for g, c in changes.items()
    ]
    result = Result("change_within", pd.DataFrame(rows), {}, {}, (), ())
    context = SimpleNamespace(
        study=SimpleNamespace(method=method), words=read_words(), metrics=["time_to_takeoff_s"]
    )
    return " ".join(b.text for b in _onset_style(context, result))


def test_only_groups_within_the_limit_of_the_rule_are_named():
    text = said(Method(), slow=-0.095, quick=0.004, usual=-0.007)
    assert "8 ms" in text
    assert "quick and usual" in text
    assert "slow" not in text.partition("in: ")[2]
    assert said(Method(), slow=-0.095) == ""


def test_a_threshold_leaves_more_to_the_way_of_starting():
    assert ONSET_STYLE_S["sd"] > ONSET_STYLE_S["fit"]
    assert "25 ms" in said(Method(onset_rule="sd"), slow=-0.020)
