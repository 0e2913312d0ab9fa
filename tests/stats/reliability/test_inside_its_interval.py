"""An estimate lies in its own interval, an SD has no interval that is a point, and the CV of a
measure whose values are all below zero relates to the size of its mean."""

import numpy as np
import pytest
from reliability_kit import squad, table

from cmjlab.stats.reliability.reliability import reliability

KINDS = ("mcgraw_wong", "pivotal_sessions_sample", "fiducial_these_sessions")


def numbers(result):
    t = result.table
    return t[np.isfinite(t["estimate"]) & np.isfinite(t["ci_low"])]


@pytest.mark.parametrize("n", [3, 5, 12])
@pytest.mark.parametrize("k", [2, 3])
@pytest.mark.parametrize("between", [0.0, 0.3, 4.0])
def test_no_estimate_leaves_its_interval(n, k, between):
    for seed in range(3):
        found = numbers(reliability(table(squad(n, k, seed, between=between))))
        inside = (found["ci_low"] <= found["estimate"]) & (found["estimate"] <= found["ci_high"])
        assert inside.all(), found.loc[
            ~inside, ["statistic", "interval_kind", "estimate", "ci_low", "ci_high"]
        ]


def test_athletes_who_mirror_each_other_keep_the_icc_in_its_interval():
    """MSR = 0 and MSC = MSE: ICC(A,1) = (0 − MSE)/(0 + MSE) = −1, and limits of −0.96 miss it."""
    a = np.array([0.4, -1.1, 0.8, 0.3, -0.4])
    shift = a.std(ddof=1) / np.sqrt(len(a)) * (1 - 1e-12)
    result = reliability(table(np.column_stack([40 + a + shift, 40 - a - shift])))
    rows = result.rows("icc_a1")
    assert rows["estimate"].tolist() == pytest.approx([-1.0] * len(rows))
    published, *ours = (rows[rows["interval_kind"] == kind].iloc[0] for kind in KINDS)
    assert published["reason_code"] == "icc_interval_below"
    for row in ours:
        assert row["ci_low"] <= row["estimate"] < row["ci_high"]


def test_a_spread_below_zero_has_no_interval_of_one_point():
    a = np.array([0.4, -1.1, 0.8, 0.3, -0.4])
    row = reliability(table(np.column_stack([40 + a, 40 - a]))).row("sd_between_athletes")
    assert row["estimate"] == 0.0
    assert np.isnan(row["ci_low"])
    assert np.isnan(row["ci_high"])
    assert row["reason_code"] == "interval_below_zero"
    assert "no interval" in row["text"]


def test_no_spread_is_given_with_an_interval_from_zero_to_zero():
    for seed in range(25):
        found = numbers(reliability(table(squad(5, 2, seed, between=0.0))))
        spread = found[found["statistic"] == "sd_between_athletes"]
        assert (spread["ci_high"] > 0).all()


def test_a_measure_below_zero_keeps_its_cv():
    """−x has the CV of x: the SD is the same and |mean| is (closed form)."""
    values = squad(10, 2, seed=3)
    there = reliability(table(values))
    mirrored = reliability(table(-values))
    for statistic in ("typical_error_percent", "cv_rms_percent", "cv_mean_percent"):
        for column in ("estimate", "ci_low", "ci_high", "df"):
            one, two = (r.value(statistic, column) for r in (there, mirrored))
            assert one == pytest.approx(two, rel=1e-12)
    assert mirrored.has_note("percent_of_size")
    assert not there.has_note("percent_of_size")
    change = mirrored.row("session_change_percent")
    assert change["reason_code"] == "not_all_positive"


def test_values_on_both_sides_of_zero_have_no_cv():
    values = squad(10, 2, seed=3, mean=0.0)
    row = reliability(table(values)).row("typical_error_percent")
    assert row["reason_code"] == "not_all_positive"
