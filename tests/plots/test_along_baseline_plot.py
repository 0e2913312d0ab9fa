"""The figure of the difference along the baseline shows the numbers of the result."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest
from change_kit import pre_post

import cmjlab as cj
from cmjlab.plots.along_baseline import along_baseline_figure


@pytest.fixture(scope="module")
def result(reference_data):
    wide = pd.read_csv(reference_data / "prepost" / "anorexia.csv")
    table = pre_post(wide["Prewt"], wide["Postwt"], wide["Treat"])
    return cj.change_between(table, before="pre", after="post", control="Cont", assignment="random")


def test_line_and_band_are_those_of_the_result(result):
    figure = along_baseline_figure(result, first="FT")
    axes = figure.axes[0]
    band = result.points["along_baseline"]
    band = band[band["first"] == "FT"]
    line = next(line for line in axes.lines if line.get_label() == "difference")
    np.testing.assert_allclose(line.get_xdata(), band["baseline"])
    np.testing.assert_allclose(line.get_ydata(), band["estimate"])
    clear = next(line for line in axes.lines if line.get_label() == "clear here")
    drawn = np.asarray(clear.get_xdata())[np.isfinite(np.asarray(clear.get_ydata(), float))]
    limit = result.rows("clear_limit", first="FT").iloc[0]["estimate"]
    step = np.diff(band["baseline"]).max()
    assert drawn.min() == pytest.approx(limit, abs=step)
    assert "The band reaches zero at 79.7" in figure.alt_text
    ticks = [line for line in axes.lines if line.get_label() == "athletes of FT"]
    assert len(ticks[0].get_xdata()) == 17


def test_the_first_contrast_is_drawn_when_none_is_named(result):
    assert "Difference between CBT and Cont" in along_baseline_figure(result).alt_text


def test_parallel_lines_have_no_such_figure():
    rng = np.random.default_rng(1)
    before = rng.normal(33, 3, 30)
    table = pre_post(before, before + rng.normal(1, 1, 30), ["a", "b"] * 15)
    found = cj.change_between(table, before="pre", after="post", assignment="random")
    with pytest.raises(cj.StatsError, match="where the slopes on the baseline differ"):
        along_baseline_figure(found)
