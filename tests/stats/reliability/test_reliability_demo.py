"""Intervals against the truth of regenerated demo studies (committed table), and a slice again.

The demo's noise is no normal model: it grows with the athlete's level and metrics such as RSImod
are ratios. The typical error's interval takes normal, equal noise, so it covers a little less
than it says; the table shows by how much. On average over metrics and over the three questions
(noise, reliability, session change) the intervals hold 94 to 96 %.
"""

import pandas as pd
import pytest
import reliability_demo_calibration as demo


def table():
    return pd.read_csv(demo.TABLE)


def test_intervals_hold_the_truth_on_average_over_metrics():
    mean = table().groupby("statistic")["proportion"].mean()
    questions = mean[["typical_error", "icc_c1", "session_change"]]
    assert 0.94 <= questions.mean() <= 0.96
    for statistic in ("icc_c1", "icc_a1", "session_change", "sd_between_athletes"):
        assert 0.935 <= mean[statistic] <= 0.965, statistic
    # Shown, not passed: normal equal noise is assumed and the demo does not have it.
    assert 0.92 <= mean["typical_error"] <= 0.96


def test_the_table_is_of_enough_studies_and_all_metrics():
    part = table()
    part = part[part["statistic"] == "typical_error"]
    assert (part["studies"] >= 200).all()
    assert len(part) >= 10


@pytest.mark.slow
def test_again_with_fewer_studies():
    again = demo.run(60).groupby("statistic")["proportion"].mean()
    assert 0.90 <= again["icc_c1"] <= 0.99
    assert 0.90 <= again["session_change"] <= 0.99


def test_one_study_gives_every_interval():
    rows = demo.one_study(0)
    assert set(rows["statistic"]) == set(demo.STATISTICS)
    assert not rows.duplicated(["metric", "statistic"]).any()
