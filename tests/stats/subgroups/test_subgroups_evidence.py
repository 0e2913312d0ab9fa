"""First the evidence: threshold against line, and whether a split repeats."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest
from result_kit import assert_typed
from scipy import stats

import cmjlab as cj
from cmjlab.errors import StatsError
from cmjlab.stats.subgroups.evidence import (
    icc_verdict,
    metric_repeatability,
    split_repeatability,
    threshold_evidence,
)


def table(
    x: np.ndarray, y: np.ndarray, sessions: int = 1, error: float = 0.0, seed: int = 1
) -> pd.DataFrame:
    rng = np.random.default_rng(seed)
    return pd.DataFrame([
        {"athlete": f"A{i:02d}", "session": f"base{k + 1}", "role": "baseline",
         "relative_strength": x[i] + error * rng.standard_normal(), "jump_height_m": y[i]}
        for i in range(len(x)) for k in range(sessions)
    ])  # fmt: skip


def test_line_difference_and_correlation_agree_with_scipy():
    rng = np.random.default_rng(2)
    x = 1.5 + 0.2 * rng.standard_normal(24)
    y = 0.3 + 0.08 * (x - 1.5) + 0.02 * rng.standard_normal(24)
    result = threshold_evidence(table(x, y), 1.5)
    line = stats.linregress(x, y)
    slope = result.rows("outcome_slope").iloc[0]
    assert slope["estimate"] == pytest.approx(line.slope, rel=1e-10)
    assert slope["se"] == pytest.approx(line.stderr, rel=1e-10)
    assert slope["p"] == pytest.approx(line.pvalue, rel=1e-8)
    welch = stats.ttest_ind(y[x >= 1.5], y[x < 1.5], equal_var=False)
    limits = welch.confidence_interval(0.95)
    row = result.rows("cut_difference").iloc[0]
    assert (row["ci_low"], row["ci_high"]) == pytest.approx((limits.low, limits.high), rel=1e-10)
    assert row["df"] == pytest.approx(welch.df, rel=1e-10)
    r = stats.pearsonr(x, y)
    interval = r.confidence_interval(0.95)
    row = result.rows("correlation").iloc[0]
    assert (row["estimate"], row["ci_low"], row["ci_high"]) == pytest.approx(
        (r.statistic, interval.low, interval.high), rel=1e-10
    )


def test_the_verdicts_on_a_threshold():
    rng = np.random.default_rng(3)
    x = 1.5 + 0.2 * rng.standard_normal(60)
    noise = 0.02 * rng.standard_normal(60)
    line = threshold_evidence(table(x, 0.3 + 0.2 * (x - 1.5) + noise), 1.5)
    assert line.settings["verdict"] == {"all": "line_only"}
    assert "More goes with more, and these data show no step at 1.5" in line.sentences[0].text
    less = threshold_evidence(table(x, 0.3 - 0.2 * (x - 1.5) + noise), 1.5)
    assert less.settings["verdict"] == {"all": "line_only"}
    assert "More goes with less" in less.sentences[0].text
    step = threshold_evidence(table(x, 0.3 + 0.1 * (x > 1.5) + noise), 1.5)
    assert step.settings["verdict"] == {"all": "supported"}
    assert "says more than the measure itself" in step.sentences[-1].text
    back = threshold_evidence(table(x, 0.3 + 0.8 * (x - 1.5) - 0.1 * (x > 1.5) + noise), 1.5)
    assert back.settings["verdict"] == {"all": "cannot_tell"}
    assert "the straight line does not describe these athletes" in back.sentences[-1].text
    # the same outcome in every second athlete of each side: no difference, narrow interval
    y = np.tile([0.29, 0.31], 50)
    x = np.repeat(np.linspace(1.2, 1.8, 50), 2)
    none = threshold_evidence(table(x, y), 1.5)
    assert none.settings["verdict"] == {"all": "not_supported"}
    assert none.sentences[0].key == "threshold.not_supported"
    assert "not supported in this squad" in none.sentences[0].text
    few = threshold_evidence(table(x[::13], y[::13] + np.linspace(0, 0.02, 8)), 1.5)
    assert few.settings["verdict"] == {"all": "cannot_tell"}
    assert "cannot be told from 8 athletes" in few.sentences[0].text


def test_one_athlete_above_the_cut_is_not_estimable():
    x = np.array([1.0, 1.1, 1.2, 1.3, 1.25, 1.15, 2.0])
    result = threshold_evidence(table(x, 0.3 + 0.01 * x), 1.8)
    row = result.rows("cut_difference").iloc[0]
    assert row["reason_code"] == "few_on_a_side"
    assert "1 at or above the cut and 6 below" in row["text"]
    assert row["contrast"] == "with relative strength, at or above 1.80 less below"


def test_a_measure_that_is_noise_is_not_supported():
    rng = np.random.default_rng(4)
    data = table(np.full(20, 1.5), np.full(20, 0.3), sessions=2, error=0.1)
    data["jump_height_m"] += 0.01 * rng.standard_normal(40)
    result = metric_repeatability(data, "relative_strength")
    assert result.settings["verdict"]["relative_strength"] == "not_supported"
    assert result.table["remark_code"][0] == "repeats_not_supported"
    assert "not supported in this squad" in result.sentences[0].text


def test_a_measure_that_repeats_is_supported_and_equals_the_published_form():
    rng = np.random.default_rng(5)
    data = table(1.5 + 0.3 * rng.standard_normal(25), np.full(25, 0.3), sessions=2, error=0.05)
    result = metric_repeatability(data, "relative_strength")
    assert result.settings["verdict"]["relative_strength"] == "supported"
    icc = cj.reliability(data, "relative_strength").value("icc_c1")
    assert result.value("split_icc") == icc


@pytest.mark.parametrize(
    ("numbers", "verdict"),
    [
        ((0.8, 0.6, 0.9), "supported"),
        ((0.8, 0.4, 0.9), "cannot_tell"),
        ((0.6, 0.2, 0.85), "cannot_tell"),
        ((0.4, -0.1, 0.75), "not_supported"),
        ((0.6, 0.5, 0.69), "not_supported"),
    ],
)
def test_limits_of_the_verdict(numbers, verdict):
    assert icc_verdict(*numbers) == verdict


RULES = pd.DataFrame(
    [("low", "relative_strength < 1.5"), ("usual", "else")], columns=["subgroup", "rule"]
)


def test_changes_of_subgroup_seen_and_expected():
    rng = np.random.default_rng(6)
    data = table(1.5 + 0.2 * rng.standard_normal(30), np.full(30, 0.3), sessions=2, error=0.1)
    result = split_repeatability(data, RULES)
    wide = data.pivot(index="athlete", columns="session", values="relative_strength") < 1.5
    assert result.value("changed_group") == (wide["base1"] != wide["base2"]).sum()
    row = result.rows("changed_group_expected").iloc[0]
    assert row["ci_low"] < row["estimate"] < row["ci_high"]
    assert row["ci_low"] <= result.value("changed_group") <= row["ci_high"]
    assert len(result.points["both"]) == 30


def test_a_real_change_between_baselines_is_more_than_noise():
    rng = np.random.default_rng(7)
    data = table(1.4 + 0.05 * rng.standard_normal(30), np.full(30, 0.3), sessions=2, error=0.02)
    data.loc[data["session"] == "base2", "relative_strength"] += 0.25
    result = split_repeatability(data, RULES)
    assert result.sentences[-1].key == "changed_group.more"
    assert "something changed between the sessions" in result.sentences[-1].text


def test_noise_alone_moves_as_many_as_expected_on_average():
    """200 squads: the mean expected count must be the mean count seen (Monte Carlo, 4 SE)."""
    from placement import count_coverage

    found = count_coverage(200, seed=11)
    assert found["seen"] == pytest.approx(found["expected"], abs=0.75)
    assert found["coverage"] > 0.95  # both tests give the error, so the limits are wide


def test_one_baseline_says_what_is_missing():
    data = table(np.linspace(1.2, 1.8, 10), np.full(10, 0.3))
    with pytest.raises(StatsError, match="a second baseline is needed"):
        split_repeatability(data, RULES)


@pytest.mark.parametrize(
    "change", ["whole", "few", "two", "equal", "same_test", "one_above", "tied"]
)
def test_evidence_is_typed_and_can_be_said(change):
    rng = np.random.default_rng(8)
    x = 1.5 + 0.2 * rng.standard_normal(24)
    data = table(x, 0.3 + 0.08 * (x - 1.5), sessions=2, error=0.05)
    data["jump_height_m"] += 0.01 * rng.standard_normal(48)
    cut = 1.5
    if change == "few":
        data = data[data["athlete"].isin([f"A{i:02d}" for i in range(5)])]
    if change == "two":
        data = data[data["athlete"].isin(["A00", "A01"])]
    if change == "equal":
        data["relative_strength"] = 1.4
    if change == "same_test":
        data["relative_strength"] = data.groupby("athlete")["relative_strength"].transform("mean")
    if change == "one_above":
        cut = 3.0
    if change == "tied":
        data["relative_strength"] = np.where(data["relative_strength"] > 1.5, 1.7, 1.3)
    data["force_share"] = data["jump_height_m"]
    for result in (
        threshold_evidence(data, cut),
        threshold_evidence(data, 0.3, metric="force_share", outcome="relative_strength"),
        metric_repeatability(data, ["relative_strength", "force_share"]),
        split_repeatability(data, RULES),
    ):
        assert_typed(result)
        assert set(result.settings["verdict"].values()) <= {
            "supported",
            "line_only",
            "not_supported",
            "cannot_tell",
        }
