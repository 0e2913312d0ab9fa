"""Placement with its certainty, the record, balance, force–distance balance."""

from __future__ import annotations

import re

import numpy as np
import pandas as pd
import pytest
from result_kit import assert_typed
from scipy import stats
from subgroups_kit import RULES, harder, squad

import cmjlab as cj
from cmjlab.errors import StatsError
from cmjlab.stats.common.measures import add_age_band, strata
from cmjlab.stats.subgroups.draws import Noise, second_test, squad_draws

# ---- the distribution of true values ------------------------------------------------------


def test_draws_agree_with_the_closed_form_when_the_error_is_known():
    """R known up to s²: mean μ + R(x - μ) and the t quantiles of statistics' closed form.

    With n = 200 athletes the uncertainty of s² is small, so draws and closed form must meet.
    """
    rng = np.random.default_rng(3)
    n, error = 200, 0.6
    x = rng.standard_normal(n) * np.sqrt(1 + error**2)
    noise = Noise(np.array([error]), np.array([np.inf]), np.eye(1))
    true, _ = squad_draws(x[:, None], noise, np.random.default_rng(4), 20_000)
    s2 = x.var(ddof=1)
    r = 1 - error**2 / s2
    mean = x.mean() + r * (x - x.mean())
    scale = np.sqrt(s2 * (r * (1 - r) + (1 - r) ** 2 / n))
    assert np.abs(true[..., 0].mean(axis=0) - mean).max() < 0.05
    assert np.abs(true[..., 0].std(axis=0) / scale - 1).max() < 0.06
    p = (true[..., 0] > 0.5).mean(axis=0)
    assert np.abs(p - stats.t.sf((0.5 - mean) / scale, n - 1)).max() < 0.03


def test_covariances_are_drawn_with_chi_square_margins():
    """Each variance alone must be (n - 1) s² / χ²(n - 1): compared with scipy's quantiles."""
    from cmjlab.stats.subgroups.draws import _covariance_roots

    rng = np.random.default_rng(5)
    x = rng.standard_normal((9, 3)) @ np.array([[1, 0.5, 0], [0, 1, 0.3], [0, 0, 2.0]])
    roots = _covariance_roots(x, np.random.default_rng(6), 40_000)
    covariances = roots @ np.swapaxes(roots, 1, 2)
    for j in range(3):
        drawn = 8 * x[:, j].var(ddof=1) / covariances[:, j, j]
        assert stats.kstest(drawn, stats.chi2(8).cdf).pvalue > 1e-3


def test_without_any_error_the_true_values_are_the_measured_ones():
    x = np.random.default_rng(7).standard_normal((12, 2))
    noise = Noise(np.full(2, 1e-9), np.full(2, 20.0), np.eye(2))
    true, errors = squad_draws(x, noise, np.random.default_rng(8), 50)
    assert np.abs(true - x).max() < 1e-6
    again = second_test(true, errors, np.random.default_rng(9))
    assert np.abs(again - x).max() < 1e-6


def test_when_all_is_noise_everybody_is_at_the_squad_mean():
    x = np.random.default_rng(10).standard_normal((12, 1))
    noise = Noise(np.array([50.0]), np.array([np.inf]), np.eye(1))
    true, _ = squad_draws(x, noise, np.random.default_rng(11), 200)
    assert np.ptp(true, axis=1).max() < 1e-9


# ---- placement ----------------------------------------------------------------------------


def test_placement_far_from_the_cut_is_clear_and_near_it_too_close():
    data = squad(30)
    result = cj.subgroup_athletes(data, RULES, within=None)
    people = result.points["placements"].set_index("athlete")
    first = data[data["session"] == "base1"].set_index("athlete")["relative_strength"]
    assert (people["by_rules"] == np.where(first < 1.5, "low", "usual")).all()
    gap = (first - 1.5).abs()
    assert (people.loc[gap > 0.25, "call"] == "clear").all()
    assert (people.loc[gap < 0.02, "call"] == "close").any()
    assert np.allclose(people["p_low"] + people["p_usual"], 1)
    rows = result.rows("placement_probability")
    assert len(rows) == 2 * 30
    assert rows["estimate"].between(0, 1).all()


def test_the_same_table_gives_the_same_numbers_in_any_row_order():
    data = squad()
    first = cj.subgroup_athletes(data, RULES).points["placements"]
    again = cj.subgroup_athletes(data.copy(), RULES).points["placements"]
    pd.testing.assert_frame_equal(first, again)
    mixed = data.sample(frac=1, random_state=1)
    other = cj.subgroup_athletes(mixed, RULES, session="base1").points["placements"]
    assert (other["by_rules"] == first["by_rules"]).all()
    assert (other["probability"] - first["probability"]).abs().max() < 0.05


def test_strength_measured_once_needs_a_supplied_error():
    data = squad(sessions=1)
    result = cj.subgroup_athletes(data, RULES, within=None)
    people = result.points["placements"]
    assert (people["call"] == "unknown").all()
    assert set(people["subgroup"]) == {"low", "usual"}
    assert set(result.rows("placement_probability")["reason_code"]) == {"measured_once"}
    assert set(people["reason_code"]) == {"measured_once"}
    assert result.sentences[1].key == "placement.certainty_unknown"
    given = cj.subgroup_athletes(data, RULES, within=None, reliability={"relative_strength": 0.08})
    assert (given.points["placements"]["call"] != "unknown").all()
    assert given.settings["typical_errors"]["relative_strength"]["source"] == "supplied"


def test_a_copied_strength_test_is_not_taken_for_a_perfect_one():
    data = squad(error=0.0)
    result = cj.subgroup_athletes(data, RULES, within=None)
    assert (result.points["placements"]["call"] == "unknown").all()
    why = [n.values["why"].code for n in result.notes if n.code == "error_unknown"]
    assert why == ["error_as_if_copied"]


def test_an_error_supplied_by_a_reliability_result_is_used():
    data = squad()
    trust = cj.reliability(data, ["relative_strength"])
    one = cj.subgroup_athletes(data, RULES, within=None, reliability=trust)
    two = cj.subgroup_athletes(data, RULES, within=None)
    p = [r.points["placements"]["probability"] for r in (one, two)]
    assert (p[0] - p[1]).abs().max() < 1e-9  # the same typical error, by another way


def test_sexes_have_their_own_spread_and_medians():
    data = squad(24)
    data.loc[data["sex"] == "male", "relative_strength"] += 0.8
    rules = pd.DataFrame(
        [("low", "relative_strength < median"), ("usual", "else")], columns=["subgroup", "rule"]
    )
    people = cj.subgroup_athletes(data, rules).points["placements"]
    assert people.groupby("stratum")["by_rules"].value_counts().tolist() == [6, 6, 6, 6]
    together = cj.subgroup_athletes(data, rules, within=None).points["placements"]
    sexes = data.drop_duplicates("athlete").set_index("athlete")["sex"]
    men = together["athlete"].map(sexes) == "male"
    assert (together.loc[men, "by_rules"] == "usual").all()


def test_a_threshold_per_sex_is_a_rule_like_others():
    data = squad(24)
    rules = pd.DataFrame(
        [
            ("low", "sex = female and relative_strength < 1.4"),
            ("low", "sex = male and relative_strength < 1.6"),
            ("usual", "else"),
        ],
        columns=["subgroup", "rule"],
    )
    people = cj.subgroup_athletes(data, rules).points["placements"].set_index("athlete")
    first = data[data["session"] == "base1"].set_index("athlete")
    cut = np.where(first["sex"] == "female", 1.4, 1.6)
    assert (people["by_rules"] == np.where(first["relative_strength"] < cut, "low", "usual")).all()


def test_moves_close_calls_and_missing_values():
    data = squad(20)
    data.loc[data["athlete"] == "A03", "relative_strength"] = np.nan
    rules = pd.concat([RULES, pd.DataFrame([
        {"subgroup": "mixed", "rule": "too close to call"},
        {"subgroup": "low", "rule": "", "athlete": "A05", "reason": "seen on court"},
        {"subgroup": "low", "rule": "", "athlete": "Z9", "reason": "no longer here"},
    ])])  # fmt: skip
    result = cj.subgroup_athletes(data, rules, within=None)
    people = result.points["placements"].set_index("athlete")
    assert (
        people.loc["A05", ["subgroup", "moved", "reason"]] == ["low", "yes", "seen on court"]
    ).all()
    close = (people["call"] == "close") & (people["moved"] != "yes")
    assert close.any()
    assert (people.loc[close, "subgroup"] == "mixed").all()
    assert people.loc["A03", "by_rules"] == ""
    assert people.loc["A03", "call"] == "unknown"
    assert result.has_note("move_without_athlete")
    assert result.has_note("moved_by_hand")
    assert people.loc["A03", "reason_code"] == "value_missing"
    assert set(people.loc[close, "reason_code"]) == {"too_close_to_call"}
    assert "A05 stays in low (seen on court)" in result.sentences[-1].text


def test_the_record_is_what_the_change_analysis_needs():
    data = squad(20)
    post = data[data["session"] == "base2"].assign(session="post", role="post")
    post["jump_height_m"] += 0.01 * np.random.default_rng(2).standard_normal(20)
    data = pd.concat([data, post], ignore_index=True)
    result = cj.subgroup_athletes(data, RULES, within=None)
    chosen = cj.selection_of(result)
    assert chosen.metrics == ("relative_strength",)
    assert chosen.session == "base1"
    record = result.settings["record"]
    assert record["formed"] == "selected"
    assert sum(record["groups"].values()) == 20
    grouped = cj.with_subgroups(data, result)
    change = cj.change_between(
        grouped, "jump_height_m", before="base2", after="post", assignment=chosen, control="usual"
    )
    assert len(change.table)


def test_who_was_not_tested_is_named():
    data = squad(12)
    data = data[~((data["athlete"] == "A02") & (data["session"] == "base1"))]
    result = cj.subgroup_athletes(data, RULES, within=None, session="base1")
    assert "A02" in next(str(n) for n in result.notes if n.code == "not_placed")


def test_balance_agrees_with_scipy():
    result = cj.subgroup_athletes(squad(20), RULES, within=None)
    data = squad(20).query("session == 'base1'").set_index("athlete")
    people = result.points["placements"].set_index("athlete")["subgroup"]
    low = data.loc[people[people == "low"].index, "jump_height_m"]
    row = result.rows("group_baseline", metric="jump_height_m", group="low").iloc[0]
    interval = stats.t.interval(0.95, len(low) - 1, low.mean(), stats.sem(low))
    assert (row["ci_low"], row["ci_high"]) == pytest.approx(interval, rel=1e-12)
    difference = result.value("baseline_difference_sd", metric="jump_height_m", group="low")
    rest = data.loc[people[people != "low"].index, "jump_height_m"]
    t = stats.ttest_ind(low, rest).statistic
    assert difference == pytest.approx(t * np.sqrt(1 / len(low) + 1 / len(rest)), rel=1e-12)


@pytest.mark.parametrize(
    ("change", "message"),
    [
        ({"session": "base9"}, "there is no session 'base9'"),
        ({"within": "team"}, "within: there is no column 'team'"),
        ({"sure": 0.3}, "sure"),
        ({"level": 2}, "level"),
    ],
)
def test_wrong_arguments_are_named(change, message):
    with pytest.raises((StatsError, cj.ArgumentError), match=re.escape(message)):
        cj.subgroup_athletes(squad(), RULES, **change)


def test_a_rule_on_an_unknown_column_says_where_such_values_belong():
    rules = RULES.assign(rule=["relative_strenght < 1.5", "else"])
    with pytest.raises(
        StatsError,
        match=r"no column 'relative_strenght'.*Did you mean 'relative_strength'.*measures\.csv",
    ):
        cj.subgroup_athletes(squad(), rules)


def test_too_few_athletes_and_one_stratum_only():
    result = cj.subgroup_athletes(squad(4), RULES, within=None)
    people = result.points["placements"]
    assert (people["call"] == "unknown").all()
    row = result.rows("placement_probability").iloc[0]
    assert row["reason_code"] == "few_with_every_value"
    assert "4 athletes with every value" in row["text"]
    alone = cj.subgroup_athletes(
        squad(8), pd.DataFrame([("all", "else")], columns=["subgroup", "rule"]), within=None
    )
    assert set(alone.points["placements"]["subgroup"]) == {"all"}
    assert alone.settings["record"]["formed"] == "other"


# ---- force–distance balance ---------------------------------------------------------------


def test_height_is_force_share_times_push_distance_on_a_simulated_jump():
    """Work–energy, exact: checked on a jump whose height the simulator knows."""
    made = cj.simulate_jump(rate_hz=1000.0, noise_sd_n=0.0, seed=1)
    m = cj.measure(made.recording).metrics
    share = m["mean_force_over_push_n"] / m["body_weight_n"] - 1
    assert share * m["push_distance_m"] == pytest.approx(m["jump_height_m"], abs=2e-4)


def test_the_closed_form_example():
    """Mean force over the push 1422.0 N, weight 784.5 N, push 0.424164 m: height 0.344664 m.

    Closed-form profile of the project's check values.
    """
    rows = [
        {"athlete": a, "session": "s", "mean_force_over_push_n": 1422.0 + i, "body_weight_n": 784.5,
         "push_distance_m": 0.424164 - 0.01 * i}
        for i, a in enumerate("abcd")
    ]  # fmt: skip
    out = cj.add_force_distance(pd.DataFrame(rows))
    assert out["force_share"].iloc[0] * 0.424164 == pytest.approx(0.344664, abs=2e-4)
    assert out["force_distance_balance"].is_monotonic_increasing
    assert out["force_distance_balance"].mean() == pytest.approx(0, abs=1e-12)
    z = stats.zscore(np.log(out["force_share"]), ddof=1) - stats.zscore(
        np.log(out["push_distance_m"]), ddof=1
    )
    assert out["force_distance_balance"].to_numpy() == pytest.approx(np.asarray(z), rel=1e-9)


def test_balance_needs_its_columns_and_a_scale():
    with pytest.raises(StatsError, match="no column 'mean_force_over_push_n'"):
        cj.add_force_distance(squad())
    rows = pd.DataFrame(
        {
            "athlete": ["a", "b"],
            "session": ["s", "s"],
            "mean_force_over_push_n": [1400.0, 1500.0],
            "body_weight_n": [700.0, 700.0],
            "push_distance_m": [0.4, 0.41],
        }
    )
    with pytest.raises(StatsError, match=r"2 athlete\(s\) with both factors"):
        cj.add_force_distance(rows)
    with pytest.raises(StatsError, match="no column 'stature_m'"):
        cj.add_force_distance(rows, per_stature=True)


def test_age_bands_and_strata():
    table = pd.DataFrame(
        {"athlete": list("abcd"), "session": "s", "birth_year": [2012, 2009, 2006, 2000]}
    )
    out = add_age_band(table, year=2026)
    assert out["age_band"].tolist() == ["under 16", "16 to 17", "18 to 20", "21 and over"]
    assert list(strata(out, "age_band")) == sorted(out["age_band"])
    assert list(strata(out, "sex")) == ["all"]
    with pytest.raises(StatsError, match="age_band is empty for d"):
        strata(out.assign(age_band=["x", "x", "x", None]), "age_band")


def test_infinite_values_and_empty_sexes_are_named():
    data = squad()
    data.loc[3, "relative_strength"] = np.inf
    with pytest.raises(StatsError, match="athlete A01, session base2 is infinite"):
        cj.subgroup_athletes(data, RULES)
    with pytest.raises(StatsError, match="within: sex is empty for A02"):
        cj.subgroup_athletes(squad().assign(sex=["f"] * 4 + [None] * 2 + ["f"] * 34), RULES)


# ---- typed facts and words ----------------------------------------------------------------


@pytest.mark.parametrize("change", ["whole", "few", "one", "once", "holes", "equal"])
@pytest.mark.parametrize("within", ["sex", None])
def test_placements_are_typed_and_can_be_said(change, within):
    rules = pd.concat([RULES, pd.DataFrame([
        {"subgroup": "mixed", "rule": "too close to call"},
        {"subgroup": "usual", "rule": "", "athlete": "A04", "reason": "seen"},
        {"subgroup": "low", "rule": "", "athlete": "A05", "reason": "seen"},
        {"subgroup": "low", "rule": "", "athlete": "Z9", "reason": "gone"},
    ])])  # fmt: skip
    data = harder(squad(), change)
    for table in (RULES, rules, rules.assign(rule=["sex = male", *rules["rule"][1:]])):
        result = cj.subgroup_athletes(data, table, within=within)
        assert_typed(result)
        people = result.points["placements"]
        unknown = people["probability"].isna()
        assert (unknown == (people["call"] == "unknown")).all()
        assert (people.loc[unknown, "reason_code"] != "").all()
        assert (people.loc[people["by_rules"] == "", "reason_code"] != "").all()


def test_measures_that_few_know_are_explained():
    data = squad().assign(force_share=lambda d: 1 + d["relative_strength"] / 10)
    rules = RULES.assign(rule=["force_share < 1.15", "else"])
    notes = [n for n in cj.subgroup_athletes(data, rules).notes if n.code == "measure_explained"]
    assert [n.metric for n in notes] == ["force_share"]
    assert "mean force of the push" in str(notes[0])
    assert not cj.subgroup_athletes(data, RULES).has_note("measure_explained")
