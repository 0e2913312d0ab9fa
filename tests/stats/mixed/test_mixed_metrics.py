"""Several metrics at once, and what is read first."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest
from change_kit import several_sessions

from cmjlab.errors import StatsError
from cmjlab.stats.mixed.mixed import change_mixed


@pytest.fixture
def table():
    frame = several_sessions((9, 9), 4)
    rng = np.random.default_rng(3)
    return frame.assign(k=frame["h"] * 2 + rng.normal(size=len(frame)))


def test_several_metrics_are_each_alone_side_by_side(table):
    both = change_mixed(table, ["h", "k"])
    for name in ("h", "k"):
        alone = change_mixed(table, name)
        mine = both.table[both.table["metric"] == name].reset_index(drop=True)
        pd.testing.assert_frame_equal(mine, alone.table, check_dtype=False)
        assert [s.text for s in both.sentences_about(name)] == [s.text for s in alone.sentences]
    assert both.settings["metrics"] == ["h", "k"]
    for points in ("values", "means", "changes", "leave_one_out"):
        assert set(both.points[points]["metric"]) == {"h", "k"}


def test_all_numeric_columns_are_taken_when_none_is_named(table):
    assert set(change_mixed(table).table["metric"]) == {"h", "k"}


def test_a_metric_that_cannot_be_analysed_is_named_and_the_others_are(table):
    table = table.assign(empty=np.where(table["session"] == "s0", 1.0, np.nan))
    result = change_mixed(table, ["empty", "h"])
    assert set(result.table["metric"]) == {"h"}
    note = next(n for n in result.notes if n.code == "metric_refused")
    assert "change needs two sessions with values" in note.text
    with pytest.raises(StatsError, match="two sessions"):
        change_mixed(table, ["empty"])


def test_first_come_contrasts_and_the_joint_test_that_leads(table):
    result = change_mixed(table, "h", constrained=True)
    assert set(result.table["statistic"]) == {"mean_change", "change_difference", "group_by_time"}
    assert set(result.table["interval_kind"].dropna()) == {"t", "pooled_t", "kenward_roger"}
    assert len(result.rows("group_by_time")) == 1
    whole = result.with_details().table
    assert {"model_random_slope", "model_unstructured", "constrained_unstructured",
            "anova_greenhouse_geisser"} <= set(whole["estimator"])  # fmt: skip
    assert "welch_bm" in set(whole["interval_kind"])
    assert len(result.table) < len(whole) / 4


def test_two_complete_sessions_have_their_difference_only():
    result = change_mixed(several_sessions((6, 6), 2), "h")
    assert set(result.table["statistic"]) == {"mean_change", "change_difference"}
