"""The model on single jumps against lme4 and pbkrtest, its table of sizes, and awkward tables."""

from __future__ import annotations

import json

import numpy as np
import pandas as pd
import pytest
from places import REFERENCE

import cmjlab as cj

#: R 4.2.2, lme4 1.1-31 (bobyqa, rhoend 1e-12), pbkrtest 0.5.2: tests/reference/jumps_model.R.
R = json.loads((REFERENCE / "jumps_model.json").read_text("utf-8"))
SETS = [k for k in R if k not in ("r_version", "lme4", "pbkrtest")]
SPREADS = {"sd_between_jumps": "Residual", "sd_between_days": "athlete:session", "sd_between_athletes": "athlete"}  # fmt: skip


@pytest.fixture(scope="module")
def every():
    return pd.read_csv(REFERENCE / "jumps_model.csv")


def result_of(every, name):
    table = every[every["set"] == name].drop(columns="set")
    return cj.change_jumps(table, "h", order=sorted(table["session"].unique()), control="a")


@pytest.mark.parametrize("name", SETS)
def test_equals_lme4_and_pbkrtest(every, name):
    assert len(SETS) == 7
    result, theirs = result_of(every, name), R[name]
    for statistic, group in SPREADS.items():
        assert result.value(statistic) == pytest.approx(theirs["sd"][group], rel=1e-5)
    first, last = result.settings["order"][0], result.settings["order"][-1]
    for group, numbers in theirs["changes"].items():
        row = result.row("mean_change", group=group, first=last, second=first)
        for column in ("estimate", "se", "df"):
            assert row[column] == pytest.approx(numbers[column], rel=1e-5)
    for group, numbers in (theirs["differences"] or {}).items():
        row = result.row("change_difference", first=group, second="a", session=last, since=first)
        for column in ("estimate", "se", "df"):
            assert row[column] == pytest.approx(numbers[column], rel=1e-5)
    joint = result.row("group_by_time" if len(theirs["changes"]) > 1 else "time_main_effect")
    for column, key in (("estimate", "f"), ("df", "df"), ("df2", "df2"), ("p", "p")):
        assert joint[column] == pytest.approx(theirs["joint"][key], rel=1e-5)
    drawn = result.rows("shrunken_change").set_index("athlete")["estimate"]
    for athlete, value in theirs["shrunken"].items():
        assert drawn[athlete] == pytest.approx(value, abs=1e-5)


def test_equal_complete_jumps_give_the_t_test_of_session_means(every):
    """Balanced: the model's difference is the pooled t of the changes of means (closed form)."""
    table = every[every["set"] == "two_groups"].drop(columns="set")
    found = cj.change_jumps(table, "h", order=["s0", "s1"], control="a")
    means = table.groupby(["athlete", "group", "session"], as_index=False)["h"].mean()
    plain = cj.change_mixed(means, "h", order=["s0", "s1"], control="a")
    one, two = (r.row("change_difference") for r in (found, plain))
    for column in ("estimate", "se", "df", "p"):
        assert one[column] == pytest.approx(two[column], rel=1e-7)


def test_more_jumps_weigh_more(every):
    """An athlete with one jump is drawn in further than the same change from six."""
    table = every[every["set"] == "unequal_jumps"].drop(columns="set")
    result = cj.change_jumps(table, "h", order=["s0", "s1"], control="a")
    means = table.groupby(["athlete", "session"])["h"].agg(["mean", "size"]).unstack()
    change = means["mean"]["s1"] - means["mean"]["s0"]
    drawn = result.rows("shrunken_change").set_index("athlete")
    group = result.rows("mean_change").set_index("group")["estimate"]
    centre = drawn["group"].map(group)
    kept = (drawn["estimate"] - centre) / (change.loc[drawn.index] - centre)
    fewest = means["size"].min(axis=1).loc[drawn.index]
    clear = (change.loc[drawn.index] - centre).abs() > 0.5
    assert kept[clear & (fewest == 1)].mean() < kept[clear & (fewest >= 4)].mean() < 1
    widths = drawn["ci_high"] - drawn["ci_low"]
    assert widths[fewest == 1].mean() > widths[fewest >= 4].mean()


def test_spreads_have_intervals_that_hold_them(every):
    for name in SETS:
        result = result_of(every, name)
        for statistic in SPREADS:
            row = result.row(statistic)
            assert row["ci_low"] < row["estimate"] < row["ci_high"]


def test_what_leads_and_what_is_said(every):
    result = result_of(every, "missing")
    assert result.leading == "change_difference"
    assert set(result.table["interval_kind"].dropna()) == {
        "kenward_roger", "satterthwaite_chi_square", "prediction",
    }  # fmt: skip
    primary = result.table[result.table["role"] == "primary"]
    assert primary[["statistic", "session", "since"]].to_numpy().tolist() == [
        ["change_difference", "s2", "s0"]
    ]
    assert "the mean change of b minus that of a" in result.sentences[0].text
    assert result.has_note("days_unrelated")
    one = result.rows("shrunken_change", remark_code="from_one_session")
    assert len(one)
    assert len(result.points["jumps"]) == len(every[every["set"] == "missing"])


def test_rejected_jumps_are_left_out_with_a_note_and_order_of_rows_does_not_matter(every):
    table = every[every["set"] == "missing"].drop(columns="set").assign(accepted=True)
    bad = table.sample(20, random_state=1).assign(accepted=False, h=999.0)
    order = ["s0", "s1", "s2"]
    result = cj.change_jumps(
        pd.concat([table, bad]).sample(frac=1, random_state=2), "h", order=order, control="a"
    )
    assert result.has_note("not_accepted")
    same = result_of(every, "missing")
    assert result.value("sd_between_jumps") == pytest.approx(
        same.value("sd_between_jumps"), rel=1e-8
    )


@pytest.mark.parametrize(
    ("change", "words"),
    [
        (lambda t: t.drop_duplicates(["athlete", "session"]), "one row per jump"),
        (lambda t: t[t["session"] == "s0"], "two sessions"),
        (lambda t: t.assign(h=np.where(t.index == t.index[3], np.inf, t["h"])), "infinite"),
        (lambda t: t.drop(columns="session"), "no column 'session'"),
        (lambda t: t[t["athlete"].isin(["a00", "b00"])], "was not fitted"),
    ],
)
def test_awkward_tables_are_refused_in_words(every, change, words):
    table = every[every["set"] == "two_groups"].drop(columns="set").reset_index(drop=True)
    with pytest.raises(cj.StatsError, match=words):
        cj.change_jumps(change(table), "h")


def test_days_without_noise_draw_everybody_to_the_mean():
    """A variance of days below zero is kept in the tests, shown as 0, and nobody stands out."""
    rng = np.random.default_rng(5)
    rows = [
        (f"A{i}", s, 30 + 3 * (i % 5) + float(x))
        for i in range(10)
        for s in ("s0", "s1")
        for x in rng.permutation([-2.0, -1.0, 1.0, 2.0]) + 0.02 * rng.standard_normal(4)
    ]
    table = pd.DataFrame(rows, columns=["athlete", "session", "h"])
    result = cj.change_jumps(table, "h", order=["s0", "s1"])
    assert result.has_note("negative_variance")
    row = result.row("sd_between_days")
    assert (row["estimate"], row["reason_code"]) == (0.0, "variance_shown_as_zero")
    drawn = result.rows("shrunken_change")["estimate"]
    assert drawn.to_numpy() == pytest.approx(result.value("mean_change"), abs=1e-12)


def test_a_variance_just_above_zero_has_no_interval_and_says_why():
    rng = np.random.default_rng(1)
    rows = [
        (f"A{i}", s, 30 + i + 2 * (s == "post") + rng.normal())
        for i in range(8)
        for s in ("pre", "post")
        for _ in range(3 + i % 2)
    ]
    table = pd.DataFrame(rows, columns=["athlete", "session", "h"])
    result = cj.change_jumps(table, "h")
    row = result.row("sd_between_days")
    assert 0 < row["estimate"] < 0.1
    assert row["reason_code"] == "variance_too_uncertain"
    assert np.isnan([row["ci_low"], row["ci_high"], row["df"]]).all()
    assert np.isfinite(result.row("sd_between_jumps")[["ci_low", "ci_high"]].astype(float)).all()
