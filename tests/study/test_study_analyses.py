"""An opened study as a person asks it: each method is its function with the plan filled in."""

from __future__ import annotations

from dataclasses import replace

import pandas as pd
import pytest

import cmjlab as cj
from cmjlab.errors import ArgumentError, StatsError

METRIC = "jump_height_m"


def _same(one: cj.Result, other: cj.Result) -> None:
    assert one.kind == other.kind
    pd.testing.assert_frame_equal(one.table, other.table)


@pytest.fixture(scope="module")
def sessions(kit):
    return kit.sessions_table()


@pytest.fixture(scope="module")
def groups(sessions):
    return sessions[sessions["group"].notna() & (sessions["group"].astype(str) != "")]


def test_reliability_takes_baselines_and_the_change_that_matters_from_the_study(kit, sessions):
    plan = kit.plan
    base = list(kit.sessions.loc[kit.sessions["role"] == "baseline", "session"])
    by_hand = cj.reliability(
        sessions, [METRIC], use=base, level=plan.level, jumps=kit.jumps_at_load(),
        change_that_matters=plan.change_that_matters or None,
    )  # fmt: skip
    _same(kit.reliability(METRIC), by_hand)


def test_change_within_and_between_apply_the_plan(kit, groups):
    pair = {"before": kit.before, "after": kit.after}
    within = cj.change_within(groups, [METRIC], group="group", **pair)
    _same(kit.change_within(METRIC), cj.apply_plan(within, kit.plan, probabilities=False))
    between = cj.change_between(
        groups, [METRIC], assignment=kit.plan.assignment, control=kit.plan.control_group or None, **pair
    )  # fmt: skip
    _same(kit.change_between(METRIC), cj.apply_plan(between, kit.plan, probabilities=False))


def test_what_is_given_takes_the_place_of_the_plan(kit):
    first, *_, last = [s for s in kit.sessions["session"] if s not in kit.settings.monitoring]
    other = kit.change_within(METRIC, before=first, after=last, level=0.9)
    assert (other.settings["before"], other.settings["after"]) == (first, last)
    assert set(other.rows("mean_change")["level"]) == {0.9}


def test_individuals_use_the_noise_of_the_study_unless_another_is_given(kit):
    noise = kit.reliability(METRIC)
    _same(kit.individuals(METRIC), kit.individuals(METRIC, reliability=noise))
    louder = kit.individuals(METRIC, reliability={METRIC: (0.05, 30.0)})
    width = [r.rows("individual_change").eval("ci_high - ci_low").max() for r in (kit.individuals(METRIC), louder)]  # fmt: skip
    assert width[1] > 2 * width[0]


def test_group_by_time_declares_the_contrast_of_the_plan(kit):
    assert kit.change_mixed().settings["primary"] == [kit.before, kit.after]
    assert kit.change_mixed().settings["metrics"] == [kit.plan.primary_metric]


def test_placements_are_those_of_the_report():
    from cmjlab.report.build.subgroups import study_subgroups

    demo = cj.Study.open(cj.demo_study())
    _same(demo.subgroup_athletes(), study_subgroups(demo).results["placement"])


def test_what_the_study_has_no_table_for_says_which_to_write(kit):
    with pytest.raises(StatsError, match=r"write subgroups\.csv"):
        kit.subgroup_athletes()
    with pytest.raises(StatsError, match=r"targets\.csv states no target"):
        kit.change_targets()


def test_a_figure_takes_only_what_it_uses(kit):
    noise = kit.reliability(METRIC)
    with pytest.raises(
        ArgumentError, match="'noise' does not use it; it takes change_that_matters"
    ):
        noise.plot(athlete="A01")
    with pytest.raises(ArgumentError, match="figure"):
        noise.plot("placement")
    with pytest.raises(ArgumentError, match="no figure is made for a result of kind 'squad'"):
        kit.squad().plot()
    with pytest.raises(ArgumentError, match="figure"):
        kit.plot("everything")


def test_a_result_knows_the_change_that_matters_of_its_plan(kit):
    amount = kit.plan.change_that_matters[METRIC]
    within = kit.change_within(METRIC)
    own, other = within.plot(), within.plot(change_that_matters=2 * amount)
    heights = [_band(f) for f in (own, other)]
    assert heights[0] == pytest.approx(2 * 100 * amount)
    assert heights[1] == pytest.approx(2 * heights[0])


def _band(figure) -> float:
    """Return the height of the shaded band of the last panel."""
    from matplotlib.patches import Rectangle

    bands = [p for p in figure.axes[-1].patches if isinstance(p, Rectangle)]
    return max(p.get_height() for p in bands)


def test_a_study_without_what_is_asked_says_what_to_write(kit):
    alone = kit.with_choices(plan=kit.plan.replace(before="", after=""))
    roles = alone.settings.sessions.assign(role="")  # the kit itself stays as it is
    alone.settings = replace(alone.settings, sessions=roles)
    with pytest.raises(StatsError, match="role baseline; two without training"):
        alone.reliability(METRIC)
    with pytest.raises(StatsError, match="give one the role"):
        alone.change_within(METRIC)
