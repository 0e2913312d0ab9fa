"""The specification curve shows the numbers of the result."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest

import cmjlab as cj
from cmjlab.plots.specifications import specification_figure
from cmjlab.results import Result

SUMMARIES = ("mean", "best", "median")


def _result(same=True):
    rows = [
        {"subgroup": "strength", "metric": "jump_height_m", "onset": onset, "summary": how,
         "estimate": 0.01 + 0.004 * i + 0.001 * j, "low": -0.004 + 0.004 * i, "high": 0.03,
         "verdict": "reached" if same or i else "cannot_tell", "counts": (i, j) != (2, 1),
         "own": (i, j) == (1, 0)}
        for i, how in enumerate(SUMMARIES)
        for j, onset in enumerate(("fit", "sd_5"))
    ]  # fmt: skip
    every = pd.DataFrame(rows).sort_values("own", ascending=False, ignore_index=True)
    named = {"subgroup": "strength", "metric": "jump_height_m"}
    points = {
        "specifications": every,
        "targets": pd.DataFrame([{**named, "wanted": "more", "amount": 0.015}]),
        "choices": pd.DataFrame(
            [
                {**named, "choice": "onset", "share": 0.2},
                {**named, "choice": "summary", "share": 0.8},
            ]
        ),
    }
    return Result(kind="survival", table=pd.DataFrame(), points=points)


def test_the_curve_is_the_estimates_in_order_and_the_own_one_is_marked():
    figure = _result().plot()
    curve, below = figure.axes
    line, diamond = (curve.lines[i] for i in (0, -1))
    every = _result().points["specifications"]
    counted = np.sort(every.loc[every["counts"], "estimate"]) * 100
    assert line.get_ydata() == pytest.approx(counted)
    own = every.loc[every["own"], "estimate"].iloc[0] * 100
    assert diamond.get_ydata() == pytest.approx([own])
    assert diamond.get_marker() == "D"
    assert line.get_ydata()[int(diamond.get_xdata()[0])] == pytest.approx(own)
    amounts = [x.get_ydata()[0] for x in curve.lines if x.get_linestyle() == "--"]
    assert amounts == pytest.approx([1.5])
    labels = [t.get_text() for t in below.get_yticklabels()]
    assert labels == [
        "",
        "curves through the drop",
        "5 SD of standing",
        "",
        "best",
        "mean",
        "median",
    ]
    assert [t.get_text() for t in below.texts] == ["where the movement begins (20 %)", "summary of jumps (80 %)"]  # fmt: skip


def test_below_the_curve_each_level_stands_where_its_analyses_are():
    below = _result().plot().axes[1]
    shade = below.collections[0].get_array().reshape(7, 5)
    assert shade[5].tolist() == [1.0, 1.0, 0.0, 0.0, 0.0], "the mean has the smallest estimates"
    assert shade[6].tolist() == [0.0, 0.0, 0.0, 0.0, 1.0]
    assert shade[1:3].sum(axis=0).tolist() == [1.0] * 5


def test_another_answer_has_its_own_legend_only_where_there_is_one():
    def words(result):
        return [t.get_text() for t in result.plot().axes[0].get_legend().get_texts()]

    assert words(_result()) == ["the study's own", "its answer"]
    assert words(_result(same=False)) == ["the study's own", "its answer", "another answer"]
    text = _result(same=False).plot().alt_text
    assert "in 5 analyses" in text
    assert "from +1.0 cm to +1.8 cm" in text
    assert "3 give its answer" in text


def test_a_target_that_is_not_there_is_refused():
    with pytest.raises(cj.ArgumentError, match="metric: found 'depth'"):
        specification_figure(_result(), "depth")
    with pytest.raises(cj.ArgumentError, match="group: found 'endurance'"):
        _result().plot(group="endurance")
