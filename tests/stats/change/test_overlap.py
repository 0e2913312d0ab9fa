"""Groups that lie apart in a covariate are not compared at equal values of it."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest
from change_kit import chosen_squad, pre_post

from cmjlab.plan import Selection
from cmjlab.stats.change.change import change_between
from cmjlab.stats.change.overlap import apart

PAIR = {"before": "pre", "after": "post"}


def two_groups(gap, n=8, seed=3):
    """Return two groups whose baselines lie ``gap`` apart (each spans less than 3)."""
    rng = np.random.default_rng(seed)
    before = np.concatenate([30 + rng.uniform(-1.5, 1.5, n), 30 + gap + rng.uniform(-1.5, 1.5, n)])
    after = before + rng.normal(0.5, 1.0, 2 * n)
    return pre_post(before, after, ["a"] * n + ["b"] * n)


def test_ranges_that_touch_meet():
    assert apart(np.array([1.0, 2.0]), np.array([2.1, 3.0]))
    assert apart(np.array([2.1, 3.0]), np.array([1.0, 2.0]))
    assert not apart(np.array([1.0, 2.0]), np.array([2.0, 3.0]))
    assert not apart(np.array([1.0, 9.0]), np.array([4.0, 5.0]))


def test_groups_apart_have_no_difference_at_equal_baseline():
    result = change_between(two_groups(8.0), "value", **PAIR)
    row = result.rows("adjusted_difference").iloc[0]
    assert row["reason_code"] == "groups_apart"
    assert np.isnan(row["estimate"])
    assert "not estimable: the groups do not overlap in value (pre)" in row["text"]
    assert result.rows("adjusted_mean").empty
    assert result.rows("group_f").empty
    # the change score and the slopes of each group stay
    for statistic in ("change_difference", "slope_difference"):
        assert np.isfinite(result.rows(statistic)["estimate"]).all()
    assert "do not overlap" in result.sentences[0].text
    assert result.points["left_out"].empty


def test_groups_that_overlap_are_compared_as_before():
    result = change_between(two_groups(1.0), "value", **PAIR)
    assert np.isfinite(result.rows("adjusted_difference")["estimate"]).all()
    assert not result.has_note("mean_outside_group")


def test_a_mean_outside_one_group_is_said_and_nobody_is_dropped():
    rng = np.random.default_rng(1)
    before = np.concatenate([np.linspace(28, 31, 6), np.linspace(30.5, 40, 18)])
    after = before + rng.normal(0.5, 1.0, 24)
    result = change_between(pre_post(before, after, ["a"] * 6 + ["b"] * 18), "value", **PAIR)
    row = result.rows("adjusted_difference").iloc[0]
    assert row["n"] == 24
    assert np.isfinite(row["estimate"])
    note = next(n for n in result.notes if n.code == "mean_outside_group")
    assert "value in pre lies outside the range of a." in note.text
    assert "extrapolated along the line" in note.text


def test_only_the_covariates_that_keep_groups_apart_are_named():
    """Chosen on x, which splits the groups; y overlaps and is not named."""
    rng = np.random.default_rng(2)
    x = rng.normal(size=24)
    trait = rng.normal(30, 3, 24)
    wide = {s: trait + rng.normal(0, 1, 24) for s in ("base1", "post")}
    group = np.where(x > np.median(x), "high", "low")
    table = pd.concat(
        [
            pd.DataFrame({"athlete": [f"A{i:02d}" for i in range(24)], "group": group, "x": x,
                          "session": s, "y": y})
            for s, y in wide.items()
        ]
    )  # fmt: skip
    result = change_between(
        table, "y", before="base1", after="post", assignment=Selection(("x",), "base1"),
        control="low",
    )  # fmt: skip
    row = result.rows("adjusted_difference").iloc[0]
    assert row["reason_code"] == "groups_apart"
    assert "do not overlap in X (base1):" in row["text"]
    assert row["leads"]


def test_of_three_groups_those_that_overlap_are_still_compared():
    table = two_groups(1.0, n=6)
    more = two_groups(9.0, n=6, seed=5)
    more = more[more["group"] == "b"].assign(group="c", athlete=lambda t: t["athlete"] + "c")
    result = change_between(pd.concat([table, more]), "value", **PAIR)
    rows = result.rows("adjusted_difference").drop_duplicates(["first", "second"])
    found = {(r["first"], r["second"]): r["reason_code"] for _, r in rows.iterrows()}
    assert found[("b", "a")] is None or pd.isna(found[("b", "a")])
    assert found[("c", "a")] == found[("c", "b")] == "groups_apart"
    assert result.rows("leave_one_out_range")[["first", "second"]].drop_duplicates().shape == (1, 2)


def test_groups_dealt_at_random_are_not_judged():
    result = change_between(two_groups(8.0), "value", **PAIR, assignment="random")
    assert np.isfinite(result.value("adjusted_difference"))
    assert result.has_note("mean_outside_group")


def test_groups_chosen_by_a_cut_are_answered_from_a_second_baseline():
    """The selecting session itself keeps the groups apart; the clean change is not touched."""
    table = chosen_squad(seed=6)
    selection = Selection(("value",), "base1")
    first = change_between(
        table, before="base1", after="post", assignment=selection, control="rest"
    )
    assert first.rows("adjusted_difference").iloc[0]["reason_code"] == "groups_apart"
    model = first.rows("adjusted_difference", estimator="constrained_model")
    assert np.isfinite(model["estimate"]).all()
    clean = change_between(
        table, before="base2", after="post", assignment=selection, control="rest"
    )
    assert clean.leading == "change_difference"
    assert np.isfinite(clean.row("change_difference")["ci_low"])


@pytest.mark.parametrize("gap", [0.0, 2.0, 5.0, 9.0])
def test_a_difference_is_given_exactly_where_ranges_meet(gap):
    table = two_groups(gap)
    before = table[table["session"] == "pre"].groupby("group")["value"].agg(["min", "max"])
    meet = before["min"].max() <= before["max"].min()
    row = change_between(table, "value", **PAIR).rows("adjusted_difference").iloc[0]
    assert bool(np.isfinite(row["estimate"])) == bool(meet)
