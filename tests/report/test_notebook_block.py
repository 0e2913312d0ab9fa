"""Estimates side by side and the test of group × time: what is shown is what was computed."""

from __future__ import annotations

import pytest
from scipy import stats

import cmjlab as cj
from cmjlab.notebook import estimates_side_by_side, group_by_time


@pytest.fixture(scope="module")
def demo():
    study = cj.Study.open(cj.demo_study())
    metric = study.plan.primary_metric
    between = study.change_between(metric)
    return metric, between, study.change_mixed(metric, order=[study.before, study.after])


def test_the_one_that_leads_stands_first_and_all_agree_with_their_results(demo):
    metric, between, over_time = demo
    table = estimates_side_by_side(between, over_time, metric)
    for contrast, rows in table.groupby("contrast"):
        first, second = contrast.split(" \u2212 ")
        assert rows["which leads"].iloc[0] == "this one leads"
        assert set(rows["which leads"].iloc[1:]) == {""}
        found = between.rows("change_difference", metric=metric)
        leads = found[found["leads"] & (found["first"] == first) & (found["second"] == second)]
        shown = float(rows["estimate"].iloc[0].removesuffix(" cm").replace("\u2212", "-"))
        assert shown == pytest.approx(100 * leads["estimate"].iloc[0], abs=0.051)
    assert (table["estimate"] == "not estimable").sum() == 1  # no overlap of strength at the start


def test_pingouins_anova_of_complete_pairs_is_the_anova_of_the_changes(demo):
    """F of group × time with two sessions against scipy's one-way ANOVA of the changes."""
    metric, between, over_time = demo
    table = group_by_time(between, over_time, metric)
    pairs = between.points["pairs"]
    pairs = pairs[pairs["metric"] == metric]
    f, p = stats.f_oneway(*(part for _, part in pairs.groupby("group", observed=True)["change"]))
    assert table["F"].tolist()[1:] == [f"{f:.3f}"] * 2
    assert table["p"].tolist()[1:] == [f"{p:.3f}"] * 2
    assert table["athletes"].tolist() == ["30", "28", "28"]


def test_the_figure_draws_first_what_leads(demo):
    metric, between, _ = demo
    leads = between.settings["leading"]["statistic"]
    assert leads == "change_difference"
    figure = cj.plots.difference_figure(between, metric)
    labels = [t.get_text() for t in figure.axes[0].get_yticklabels()][::-1]
    assert [label.endswith("of the changes") for label in labels] == [True, True, False, False]
