"""Scatter plots of a squad show the numbers they were given."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest

from cmjlab.plots.squad import relation_figure, squad_scatter
from cmjlab.stats.subgroups.relation import metric_relation

TABLE = pd.DataFrame({
    "athlete": [f"A{i:02d}" for i in range(8)], "session": "base1", "role": "baseline",
    "group": ["low", "usual"] * 4, "jump_height_m": np.linspace(0.25, 0.40, 8),
    "time_to_takeoff_s": [0.8, 0.7, 0.75, 0.9, 0.65, 0.7, 0.85, np.nan],
    "countermovement_depth_m": np.linspace(0.2, 0.35, 8),
})  # fmt: skip
DEPTH_TIME = ("countermovement_depth_m", "time_to_takeoff_s")
CUTS = pd.DataFrame({"metric": ["time_to_takeoff_s"], "cut": [0.75], "place": [""]})


def test_marks_crosses_and_cuts_are_where_the_numbers_are():
    figure = squad_scatter(
        TABLE, [DEPTH_TIME, ("countermovement_depth_m", "jump_height_m")],
        errors={"time_to_takeoff_s": 0.03}, cuts=CUTS, order=["low", "usual"], labelled=["A01"],
    )  # fmt: skip
    first, second = figure.axes
    marks = [
        line for line in first.lines if line.get_marker() in ("o", "s") and len(line.get_xdata())
    ]
    drawn = np.concatenate([np.column_stack(m.get_data()) for m in marks])
    known = TABLE.dropna()
    expected = np.column_stack(
        [100 * known["countermovement_depth_m"], 1000 * known["time_to_takeoff_s"]]
    )
    assert sorted(map(tuple, drawn.round(6))) == sorted(map(tuple, expected.round(6)))
    dashed = [
        line.get_ydata()[0]
        for line in first.lines
        if line.get_linestyle() == "--" and list(line.get_xdata()) == [0, 1]
    ]
    assert dashed == [750.0]
    bars = [c.get_segments() for c in first.collections]
    lengths = {round(float(np.ptp(s[:, 1])), 6) for part in bars for s in part}
    assert lengths == {0.0, 60.0}
    assert "A01" in [t.get_text() for t in first.texts]
    assert "n = 7" in first.get_xlabel()
    assert "n = 8" in second.get_xlabel()
    assert "Time to take-off 750 ms" in figure.alt_text


def test_the_line_of_a_relation_is_drawn_from_the_result():
    result = metric_relation(TABLE, "countermovement_depth_m", "jump_height_m", within=None)
    figure = relation_figure(result)
    line = next(line for line in figure.axes[0].lines if len(line.get_xdata()) == 41)
    assert line.get_ydata()[[0, -1]] == pytest.approx([25.0, 40.0])
    assert "correlation" in figure.alt_text
