"""Estimates, shares, joint test and sentences of many specifications, by closed forms and scipy."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest
import specifications as calibration
from scipy import stats

from cmjlab.plan import Selection
from cmjlab.results import Reason
from cmjlab.stats.change.change import change_between, change_within
from cmjlab.stats.change.pairs import Pairs, Prepared
from cmjlab.stats.specifications.estimates import (
    adjusted_difference,
    change_difference,
    over_squad,
    within,
)
from cmjlab.stats.specifications.joint import joint_test
from cmjlab.stats.specifications.sentences import survive_sentence
from cmjlab.stats.specifications.shares import (
    same_by_level,
    spread_beyond_noise,
    variance_shares,
)

PAIR = ("a", "b")
TABLE = calibration.TABLE


def _pairs(seed=1, n=9, groups=("a", "b"), effect=0.0):
    rng = np.random.default_rng(seed)
    group = np.repeat(groups, n)
    before = rng.normal(0.30, 0.04, len(group))
    after = before + rng.normal(0.01, 0.02, len(group)) + effect * (group == "a")
    who = tuple(f"A{i:02d}" for i in range(len(group)))
    return Pairs("jump_height_m", who, before, after, group, np.empty((len(group), 0)), ())


def _table(pairs):
    parts = [
        pd.DataFrame(
            {"athlete": pairs.athletes, "group": pairs.group, "session": s, pairs.metric: v}
        )
        for s, v in (("pre", pairs.before), ("post", pairs.after))
    ]
    return pd.concat(parts, ignore_index=True)


def _prepared(pairs):
    order = tuple(dict.fromkeys(map(str, pairs.group)))
    return Prepared(pd.DataFrame(), [pairs.metric], "pre", "post", {}, order)


# ---- estimates -------------------------------------------------------------------------------


def test_the_difference_is_welchs():
    pairs = _pairs(groups=("b", "a"))
    found = change_difference(pairs, PAIR)
    one, two = (pairs.change[pairs.group == g] for g in PAIR)
    outside = stats.ttest_ind(one, two, equal_var=False)
    assert found.estimate / found.se == pytest.approx(outside.statistic, rel=1e-12)
    assert np.sum(found.scores**2) == pytest.approx(found.se**2, rel=1e-12)


def test_estimates_are_those_of_the_analyses_of_change():
    pairs = _pairs(groups=("a", "b", "c"))
    between = change_between(
        _table(pairs), pairs.metric, before="pre", after="post", assignment="random", control="b"
    ).with_details()
    for kind, found in (
        ("change_difference", change_difference(pairs, PAIR)),
        ("adjusted_difference", adjusted_difference(pairs, _prepared(pairs), PAIR, "random")),
    ):
        row = between.rows(kind, first="a", second="b").iloc[0]
        assert (found.estimate, found.se, found.df) == pytest.approx(
            (row["estimate"], row["se"], row["df"]), rel=1e-12
        )
    alone = change_within(_table(pairs), pairs.metric, before="pre", after="post", group="group")
    row = alone.rows("mean_change", group="a").iloc[0]
    mine = within(pairs, "a")
    assert (mine.estimate, mine.se) == pytest.approx((row["estimate"], row["se"]), rel=1e-12)


def test_what_cannot_be_estimated_says_why():
    pairs = _pairs()
    alone = pairs.take(np.array([g == "a" or i == 9 for i, g in enumerate(pairs.group)]))
    assert change_difference(alone, PAIR).code == "group_too_small"
    assert adjusted_difference(alone, _prepared(pairs), PAIR, "random").code == "group_too_small"
    assert within(pairs.take(pairs.group == "b"), "a").code == "few_pairs"
    who, group, none = pairs.athletes, pairs.group, pairs.others
    copied = Pairs(pairs.metric, who, pairs.before, pairs.before, group, none, ())
    assert change_difference(copied, PAIR).code == "same_change_in_groups"
    assert within(copied, "a").code == "same_change"
    strength = np.random.default_rng(8).normal(0.0, 0.1, len(group))
    apart = (strength + np.where(group == "a", 2.0, 1.0))[:, None]
    chosen = Pairs(pairs.metric, who, pairs.before, pairs.after, group, apart, ())
    found = adjusted_difference(
        chosen, _prepared(pairs), PAIR, Selection(("relative_strength",), "base1")
    )
    assert isinstance(found, Reason)
    assert found.code == "groups_apart"


# ---- the joint test --------------------------------------------------------------------------


def test_one_specification_is_scipys_permutation_test_of_welchs_t():
    pairs = _pairs(n=5, effect=0.02)
    one, two = (pairs.change[pairs.group == g] for g in PAIR)
    outside = stats.permutation_test(
        (one, two), lambda x, y, axis: np.abs(stats.ttest_ind(x, y, axis=axis, equal_var=False).statistic),
        n_resamples=np.inf, alternative="greater", vectorized=True,
    ).pvalue  # fmt: skip
    ours = joint_test([change_difference(pairs, PAIR)], deals=20_000, seed=3).p["average_t"]
    assert ours == pytest.approx(outside, abs=4 * np.sqrt(outside * (1 - outside) / 20_000))


def test_changes_within_a_group_are_scipys_test_by_signs():
    pairs = _pairs(n=8, effect=0.004)
    change = pairs.change[pairs.group == "a"]
    outside = stats.permutation_test(
        (change,), lambda x, axis: np.abs(stats.ttest_1samp(x, 0.0, axis=axis).statistic),
        permutation_type="samples", n_resamples=np.inf, alternative="greater", vectorized=True,
    ).pvalue  # fmt: skip
    ours = joint_test([within(pairs, "a")], signs=True, deals=20_000, seed=3).p["average_t"]
    assert ours == pytest.approx(outside, abs=4 * np.sqrt(outside * (1 - outside) / 20_000))


def test_the_same_deal_goes_to_every_specification_and_to_those_with_fewer_athletes():
    pairs = _pairs(seed=4, effect=0.02)
    squad = pairs.athletes
    same = over_squad([change_difference(pairs, PAIR)] * 3, squad)
    single = over_squad([change_difference(pairs, PAIR)], squad)
    assert joint_test(same, seed=5).p["average_t"] == joint_test(single, seed=5).p["average_t"]
    fewer = pairs.take(np.arange(len(squad)) != 4)
    mixed = over_squad([change_difference(pairs, PAIR), change_difference(fewer, PAIR)], squad)
    found = joint_test(mixed, seed=5)
    assert 0 < found.p["average_t"] < 0.3
    assert found == joint_test(mixed, seed=5)


def test_covariates_stay_where_they_are():
    """What a covariate explains by itself is no part of what is dealt again."""
    pairs = _pairs(n=20, groups=("a", "b", "c"))
    after = 3.0 * pairs.before + (pairs.after - pairs.before)
    steep = Pairs(pairs.metric, pairs.athletes, pairs.before, after, pairs.group, pairs.others, ())
    found = [adjusted_difference(p, _prepared(p), PAIR, "random") for p in (pairs, steep)]
    p = [joint_test(over_squad([f], pairs.athletes), seed=2).p["average_t"] for f in found]
    assert p[0] == p[1]
    assert found[0].estimate == pytest.approx(found[1].estimate, rel=1e-9)


# ---- shares and agreement --------------------------------------------------------------------


def test_in_a_balanced_design_a_share_is_the_sum_of_squares_of_the_choice():
    codes = np.array([(i, j, k) for i in range(3) for j in range(2) for k in range(4)])
    rng = np.random.default_rng(2)
    values = codes[:, 0] * 2.0 + codes[:, 2] ** 2 + rng.normal(0, 0.3, len(codes))
    total = ((values - values.mean()) ** 2).sum()

    def squares(column):
        levels = [values[column == level] for level in np.unique(column)]
        return sum(len(v) * (v.mean() - values.mean()) ** 2 for v in levels) / total

    closed = [squares(column) for column in codes.T]
    assert variance_shares(values, codes) == pytest.approx(closed, rel=1e-10)


def test_in_an_unbalanced_design_a_share_is_the_mean_over_both_orders():
    rng = np.random.default_rng(4)
    codes = np.column_stack([rng.integers(0, 2, 60), rng.integers(0, 2, 60)])
    codes[:, 1] = np.where(rng.random(60) < 0.7, codes[:, 0], codes[:, 1])
    values = codes[:, 0] + 0.5 * codes[:, 1] + rng.normal(0, 0.5, 60)
    one, two = (stats.pearsonr(codes[:, c], values)[0] for c in range(2))
    r12 = stats.pearsonr(codes[:, 0], codes[:, 1])[0]
    both = (one**2 + two**2 - 2 * one * two * r12) / (1 - r12**2)
    closed = [(one**2 + both - two**2) / 2, (two**2 + both - one**2) / 2]
    assert variance_shares(values, codes) == pytest.approx(closed, rel=1e-9)


def test_estimates_that_do_not_differ_have_no_shares():
    codes = np.array([[0, 0], [0, 1], [1, 0], [1, 1]])
    assert variance_shares(np.full(4, 0.02), codes).tolist() == [0.0, 0.0]


def test_agreement_is_counted_by_level():
    choices = pd.DataFrame({"onset": ["fit", "fit", "sd_5", "sd_5"], "filter": ["none"] * 4})
    found = same_by_level(choices, np.array([True, True, True, False]))
    assert found.to_dict("records") == [
        {"choice": "onset", "level": "fit", "specifications": 2, "share": 1.0},
        {"choice": "onset", "level": "sd_5", "specifications": 2, "share": 0.5},
    ]


def test_the_spread_beyond_noise_is_that_of_the_truths():
    cell = {"n": 20, "effect": 1.0, "spread": 1.0}
    total, beyond = calibration.spread_ratio(cell, studies=300)
    assert total > 1.15
    assert beyond == pytest.approx(1.0, abs=0.1)
    assert spread_beyond_noise(np.array([1.0, 1.1]), np.eye(2))[1] == 0.0


# ---- what is said ----------------------------------------------------------------------------

FACTS = {
    "subgroup": "strength", "metric": "jump_height_m", "verdict": "reached", "total": 40, "same": 31,
    "direction": 40, "low": 0.012, "high": 0.024, "median": 0.018, "own": 0.02, "p": 0.004,
}  # fmt: skip
LEVELS = pd.DataFrame(
    {"choice": ["onset", "onset", "summary", "summary"], "level": ["fit", "sd_5", "mean", "best"],
     "specifications": 20, "share": [0.8, 0.75, 1.0, 0.55]}
)  # fmt: skip
SHARES = pd.DataFrame({"choice": ["onset", "summary"], "share": [0.1, 0.7]})


def test_the_sentence_says_how_many_agree_and_what_turns_it():
    said = str(survive_sentence(FACTS, LEVELS, SHARES))
    assert "31 of 40 defensible ways to analyse it give the study's own answer, “reached”" in said
    assert "40 of 40 the same direction" in said
    assert "from +1.2 to +2.4 cm, half of them above +1.8 cm; the study's own is +2.0 cm" in said
    assert "What turns the answer most is summary of jumps: it is the same in 55 % of the" in said
    assert "with “best”, in 100 % with “mean”" in said
    assert "p = 0.004" in said


def test_when_all_agree_it_says_what_moves_the_estimate():
    same = survive_sentence({**FACTS, "same": 40}, LEVELS.assign(share=1.0), SHARES)
    assert "All 40 defensible ways to analyse it give the answer “reached”" in str(same)
    assert "What moves the estimate most is summary of jumps (70 % of the spread)." in str(same)
    untested = survive_sentence({**FACTS, "p": float("nan")}, LEVELS, SHARES)
    assert str(untested).endswith("No test of all of them together.")
    still = survive_sentence({**FACTS, "same": 40}, LEVELS.iloc[:0], SHARES.assign(share=0.0))
    assert "No choice moves the estimate." in str(still)
