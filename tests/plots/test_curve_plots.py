"""Curves and bands on the figure are those of the result."""

from __future__ import annotations

import numpy as np
import pytest
from curves_kit import curve_study

import cmjlab as cj


@pytest.fixture(scope="module")
def result(tmp_path_factory):
    folder = tmp_path_factory.mktemp("plots") / "curves"
    curve_study(folder, {"quick": 6, "slow": 5, "usual": 6}, change=0.3)
    return cj.Study.open(folder).compare_curves()


def band_of(axes):
    """Return the lowest and highest value of the band of a panel."""
    parts = axes.collections[0].get_paths()  # gaps where a point is fixed by definition
    corners = np.concatenate([p.vertices[:, 1] for p in parts])
    return corners.min(), corners.max()


def test_panels_show_curves_changes_and_bands(result):
    figure = result.plot()
    assert len(figure.axes) == 6
    curves = result.points["curves"]
    mine = curves[(curves["group"] == "quick") & (curves["session"] == "post")]
    after = figure.axes[0].get_lines()[1]
    np.testing.assert_allclose(after.get_ydata(), mine["mean"])
    np.testing.assert_allclose(after.get_xdata(), mine["place"])
    between = result.points["between"]
    band = between[(between["first"] == "quick") & (between["second"] == "usual")]
    low, high = band_of(figure.axes[5])
    assert (low, high) == pytest.approx((band["low"].min(), band["high"].max()))
    names = [t.get_text() for t in figure.axes[0].texts]
    assert names == ["unweighting", "braking", "propulsion"]
    assert figure.axes[0].get_ylabel() == "Force per body mass (N/kg)"


def test_the_zero_line_is_thick_where_the_band_leaves_it(result):
    axes = result.plot().axes[5]
    thick = next(line for line in axes.get_lines() if line.get_linewidth() > 4)
    between = result.points["between"]
    outside = between.loc[(between["first"] == "quick") & (between["second"] == "usual"), "outside"]
    np.testing.assert_array_equal(np.isfinite(thick.get_ydata()), outside.to_numpy(bool))
    assert outside.any()


def test_before_and_after_differ_by_their_line_and_words_tell_what_is_found(result):
    figure = result.plot()
    before, after = figure.axes[0].get_lines()[:2]
    assert before.get_linestyle() != after.get_linestyle()
    assert "quick compared with usual" in figure.alt_text
    assert "slow" not in figure.alt_text
    other = cj.plots.curves_figure(result, "slow")
    assert "slow compared with usual" in other.alt_text
    with pytest.raises(
        cj.StatsError, match="no comparison of usual and slow; there is: quick and usual"
    ):
        cj.plots.curves_figure(result, "usual", "slow")


def test_centimetres_where_a_person_looks(result):
    folder = result.points["athletes"]
    assert folder["athlete"].nunique() == 17
    study_result = cj.Study.open(cj.demo_study()).compare_curves("displacement")
    line = study_result.plot().axes[0].get_lines()[0].get_ydata()
    curves = study_result.points["curves"]
    mine = curves[(curves["group"] == "strength") & (curves["session"] == "base2")]
    np.testing.assert_allclose(line, 100 * mine["mean"])


def test_one_athlete_beside_noise(result):
    figure = result.plot("athlete", athlete="A01")
    mine = result.points["athletes"]
    mine = mine[mine["athlete"] == "A01"]
    left, right = figure.axes
    np.testing.assert_allclose(left.get_lines()[0].get_ydata(), mine["before"])
    assert band_of(right) == pytest.approx((mine["low"].min(), mine["high"].max()))
    assert "braking" in figure.alt_text.split("Beyond the noise: ")[1]
    with pytest.raises(cj.ArgumentError, match='athlete="A01"'):
        result.plot("athlete")
    with pytest.raises(cj.StatsError, match="'A99' is not among those compared"):
        result.plot("athlete", athlete="A99")
