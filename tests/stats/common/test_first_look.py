"""What a person reads first, the rows behind it, and names that rows had before."""

from __future__ import annotations

import pickle

import pandas as pd
import pytest
from change_kit import chosen_squad, pre_post, several_sessions

from cmjlab.results import DETAILS
from cmjlab.stats.change.change import change_between, change_within

PAIR = {"before": "s0", "after": "s1"}


@pytest.fixture
def result():
    return change_between(several_sessions((8, 8, 8), 2), "h", **PAIR, control="a")


def test_one_interval_per_question_comes_first(result):
    for statistic in ("adjusted_difference", "change_difference", "adjusted_mean"):
        rows = result.rows(statistic)
        assert not rows.duplicated(["first", "second", "group"]).any()
    kinds = set(result.table["interval_kind"].dropna())
    assert not kinds & {"classical", "hc3", "pooled_t", "multivariate_t_classical"}
    behind = set(result.points[DETAILS]["interval_kind"])
    assert {"classical", "hc3", "pooled_t", "multivariate_t_classical"} <= behind


def test_details_come_back_in_their_places(result):
    whole = result.with_details()
    assert len(whole.table) == len(result.table) + len(result.points[DETAILS])
    kinds = whole.rows("adjusted_difference", first="b")["interval_kind"].tolist()
    assert kinds == ["hc2_bm", "classical", "hc3"]
    assert whole.table.index.tolist() == list(range(len(whole.table)))
    assert DETAILS not in whole.points
    assert whole.with_details() is whole
    assert pd.concat([result.table, result.points[DETAILS]]).shape == whole.table.shape
    assert len(pickle.loads(pickle.dumps(result)).with_details().table) == len(whole.table)


def test_nothing_leading_is_ever_kept_aside(result):
    assert not result.points[DETAILS]["leads"].fillna(False).astype(bool).any()
    one = change_between(
        chosen_squad(sharp=False).query("session != 'base2'"), "value", before="base1", after="post",
        assignment="random", control="rest",
    )  # fmt: skip
    assert one.row("adjusted_difference")["interval_kind"] == "hc2_bm"


def test_a_variant_stays_where_it_is_the_only_interval():
    """One athlete decides a coefficient: HC2 and HC3 have no number, the classical interval has."""
    before = [30.0, 31, 32, 33, 60, 30.5, 31.5, 32.5]
    after = [31.0, 31.5, 33, 33.2, 61, 30.7, 32.4, 33.0]
    table = pre_post(before, after, ["a"] * 5 + ["b"] * 3)
    found = change_between(table, "value", before="pre", after="post", assignment="random")
    rows = found.rows("adjusted_difference")
    assert rows["estimate"].notna().any()


def test_hedges_g_has_two_names_and_is_still_found_by_the_old_one(result):
    within = change_within(several_sessions((8,), 2), "h", **PAIR)
    assert "hedges_g" not in set(within.table["statistic"]) | set(result.table["statistic"])
    assert within.value("hedges_g") == within.value("hedges_g_within")
    old = result.rows("hedges_g", first="b")
    pd.testing.assert_frame_equal(old, result.rows("hedges_g_between", first="b"))
    assert len(old) == 1
