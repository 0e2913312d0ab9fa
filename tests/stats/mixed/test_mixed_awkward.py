"""Awkward tables: the right number, or a clear error; everybody left out is named."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest
from change_kit import several_sessions
from result_kit import assert_typed, silent_words

from cmjlab.catalog import STATISTICS
from cmjlab.errors import ArgumentError, StatsError
from cmjlab.stats.common.contrasts import holm, leave_one_out
from cmjlab.stats.common.rows import PLACE
from cmjlab.stats.mixed.anova import mixed_anova
from cmjlab.stats.mixed.contrast_rows import POOLED
from cmjlab.stats.mixed.mixed import change_mixed


def no_silent_nan(result):
    """Every missing estimate, limit or p value that a reader expects has a code and its words."""
    t = result.table
    changes = t["statistic"].isin(["mean_change", "change_difference"])
    tests = t["statistic"].isin(["group_by_time", "time_main_effect", "group_main_effect"])
    holes = t["estimate"].isna() | (changes & (t["ci_low"].isna() | t["p"].isna()))
    coded = t.loc[holes, "reason_code"].notna().all()
    no_p = tests & t["p"].isna() & ~holes
    return coded and t.loc[no_p, "remark_code"].notna().all() and t.loc[holes, "text"].notna().all()


def note(result, code):
    return next(n.text for n in result.notes if n.code == code)


def test_every_statistic_is_in_the_catalog_or_belongs_to_change():
    result = change_mixed(several_sessions((6, 6)), "h", constrained=True).with_details()
    ours = set(result.table["statistic"]) - {"mean_change", "change_difference"}
    assert ours <= set(STATISTICS)


@pytest.mark.parametrize("sessions", [2, 3, 4])
@pytest.mark.parametrize("sizes", [(1,), (2,), (1, 1), (2, 1), (1, 5), (2, 2), (3, 3), (2, 3, 4)])
@pytest.mark.parametrize("hole", [False, True])
def test_tiny_groups_never_give_a_nan_without_words(sizes, sessions, hole):
    table = several_sessions(sizes, sessions)
    if hole:
        table.loc[1, "h"] = np.nan
    if hole and sizes == (1,) and sessions == 2:
        with pytest.raises(StatsError, match="two sessions"):
            change_mixed(table, "h").with_details()
        return
    result = change_mixed(table, "h", constrained=True).with_details()
    assert no_silent_nan(result)
    assert_typed(result)


def test_contrasts_per_athlete_lead_and_models_stand_beside():
    result = change_mixed(
        several_sessions((9, 9, 9), 4), "h", control="b", constrained=True
    ).with_details()
    assert result.settings["leading"] == {
        "statistic": "change_difference",
        "why": "declared_contrast",
    }
    changes = result.table[result.table["statistic"].isin(["mean_change", "change_difference"])]
    assert len(set(changes["estimator"])) == 4
    leading = changes[changes["leads"].astype(bool)]
    assert set(leading["estimator"]) == {"change_per_athlete"}
    assert len(leading) == 6 * (3 + 3)
    joint = result.rows("group_by_time")
    leading = joint[joint["leads"].astype(bool)]
    assert leading["estimator"].tolist() == ["model_unstructured"]
    assert leading["interval_kind"].tolist() == ["kenward_roger"]
    alone = change_mixed(several_sessions((9,)), "h").with_details()
    assert alone.leading == "mean_change"


def test_groups_keep_names_that_look_like_contrasts():
    table = several_sessions((6, 6))
    table["group"] = table["group"].map({"a": "strength - heavy", "b": "usual - a - b"})
    result = change_mixed(table, "h", constrained=True).with_details()
    rows = result.rows("change_difference")
    assert (set(rows["first"]), set(rows["second"])) == ({"usual - a - b"}, {"strength - heavy"})
    assert set(result.rows("mean_change")["group"]) == {"strength - heavy", "usual - a - b"}
    assert result.sentences[0].values["first"] == "usual - a - b"
    points = result.points["leave_one_out"]
    assert set(zip(points["first"], points["second"], strict=True)) == {
        ("usual - a - b", "strength - heavy")
    }


def test_every_word_of_the_room_is_used():
    structures = ("random_intercept", "random_slope", "unstructured")
    made_from_parts = {
        *(f"{kind}_{s}" for kind in ("model", "constrained") for s in structures),
        "difference_without_interval",
        *(f"model_{status}" for status in ("few", "singular", "no_variance", "rank")),
    }
    assert silent_words("mixed", "stats") == made_from_parts


def test_groups_of_two_and_three_have_the_textbook_t():
    from scipy import stats

    table = several_sessions((2, 3), 2)
    wide = table.pivot(index="athlete", columns="session", values="h")
    d = wide["s1"] - wide["s0"]
    theirs = stats.ttest_ind(d[2:], d[:2], equal_var=True)
    row = (
        change_mixed(table, "h")
        .with_details()
        .rows("change_difference", interval_kind=POOLED)
        .iloc[0]
    )
    assert (row["first"], row["second"]) == ("b", "a")
    assert (row["df"], row["test_value"], row["p"]) == pytest.approx(
        (3, theirs.statistic, theirs.pvalue), rel=1e-9
    )
    own = change_mixed(table, "h").with_details().rows("mean_change", group="a").iloc[0]
    assert own["estimator"] == "change_per_athlete"
    alone = stats.ttest_1samp(d[:2], 0.0)
    assert (own["test_value"], own["p"]) == pytest.approx((alone.statistic, alone.pvalue), rel=1e-9)


def test_one_group_needs_no_group_column():
    table = several_sessions((6,))
    with_column = change_mixed(table, "h").with_details()
    without = change_mixed(table.drop(columns="group"), "h").with_details()
    assert without.rows("change_difference").empty
    assert (
        with_column.rows("mean_change")["p"].tolist() == without.rows("mean_change")["p"].tolist()
    )
    assert without.rows("mean_change")["role"].tolist().count("primary") == 1


def test_missing_post_is_named_and_the_others_are_used():
    table = several_sessions((4, 4), 2)
    table.loc[(table["athlete"] == "a2") & (table["session"] == "s1"), "h"] = np.nan
    result = change_mixed(table, "h").with_details()
    assert "a2" in note(result, "missing_sessions")
    assert "a2" in note(result, "anova_complete_only")
    row = result.rows("change_difference", interval_kind=POOLED).iloc[0]
    assert (row["n"], row["df"]) == (7, 5)
    assert row["leads"]
    beside = {"estimator": "model_random_intercept", "interval_kind": "kenward_roger"}
    model = result.rows("change_difference", **beside).iloc[0]
    assert not model["leads"]
    assert model["n"] == 8


def test_athlete_without_any_value_is_named():
    table = several_sessions()
    table.loc[table["athlete"] == "b3", "h"] = np.nan
    assert "b3" in note(change_mixed(table, "h").with_details(), "no_value")


def test_session_of_one_group_only():
    table = several_sessions((6, 6))
    table = table[(table["session"] != "s2") | (table["group"] == "a")]
    result = change_mixed(table, "h", control="a").with_details()
    rows = result.rows("change_difference", session="s2", since="s0")
    assert rows["estimate"].isna().all()
    assert set(rows["reason_code"]) == {"group_without_both_sessions", "group_without_session"}
    usable = result.rows("change_difference", session="s1", since="s0", interval_kind=POOLED)
    assert np.isfinite(usable["ci_low"].iloc[0])
    assert "group b has no athlete" in note(result, "no_mixed_anova")
    with pytest.raises(StatsError, match=r"group b has no athlete with a value in all of s0, s1"):
        mixed_anova(table, "h")
    assert [x.key for x in result.sentences] == ["mixed.difference_without_interval"]
    assert result.sentences[0].text == (
        "H, s0 to s2: the mean change of b minus that of a is not estimable, because a group has no"
        " athlete with both sessions."
    )


@pytest.mark.parametrize(
    "shift", [{"s0": 0.0, "s1": 0.0, "s2": 0.0}, {"s0": 0.0, "s1": 1.1, "s2": 2.3}]
)
def test_post_equal_to_pre_and_perfect_correlation(shift):
    """No athlete differs in change: estimates stand, intervals are not estimable, no warning."""
    table = several_sessions((6, 6), sd=0.0)
    table["h"] += table["session"].map(shift)
    result = change_mixed(table, "h").with_details()
    own = result.row("mean_change", first="s2", second="s0", group="a")
    assert own["estimate"] == pytest.approx(shift["s2"], abs=1e-12)
    assert np.isnan(own["ci_low"])
    assert own["reason_code"] == "same_change"
    assert result.has_note("model_not_fitted")
    assert no_silent_nan(result)
    with pytest.raises(StatsError, match="every athlete changed by the same amount"):
        mixed_anova(table, "h")


def test_no_variance_at_all():
    table = several_sessions((6, 6))
    table["h"] = 30.0
    assert no_silent_nan(change_mixed(table, "h").with_details())


def test_group_labels_as_numbers():
    table = several_sessions((5, 6))
    base = change_mixed(table, "h").with_details()
    for labels in ({"a": 1, "b": 2}, {"a": 1.0, "b": 2.0}, {"a": True, "b": False}):
        numbers = table.assign(group=table["group"].map(labels))
        result = change_mixed(numbers, "h").with_details()
        assert result.table["p"].tolist() == pytest.approx(base.table["p"].tolist(), nan_ok=True)
    again = numbers.assign(group=table["group"].map({"a": 1.0, "b": 2.0}))
    rows = change_mixed(again, "h", control=1).with_details().rows("change_difference")
    assert (set(rows["first"]), set(rows["second"])) == ({"2"}, {"1"})


def test_athlete_of_two_groups_is_named():
    table = several_sessions()
    table.loc[(table["athlete"] == "a1") & (table["session"] == "s2"), "group"] = "b"
    with pytest.raises(StatsError, match=r"athlete a1 stands in group 'a' and in group 'b'"):
        change_mixed(table, "h").with_details()
    with pytest.raises(StatsError, match="athlete a1"):
        mixed_anova(table, "h")


def test_ids_used_again_in_the_other_group_are_refused():
    table = several_sessions()
    table["athlete"] = table["athlete"].str[1:]
    with pytest.raises(StatsError, match=r"athlete 0 stands in group 'a' and in group 'b'"):
        mixed_anova(table, "h")


def test_blank_group_is_named():
    table = several_sessions()
    for empty in (None, "", " ", np.nan):
        table.loc[table["athlete"] == "b2", "group"] = empty
        with pytest.raises(StatsError, match="group is empty for athlete b2"):
            change_mixed(table, "h").with_details()


def test_blanks_around_ids_do_not_make_new_athletes():
    table = several_sessions()
    base = change_mixed(table, "h").with_details()
    table.loc[table["session"] == "s2", "athlete"] += " "
    assert change_mixed(table, "h").with_details().table["p"].tolist() == pytest.approx(
        base.table["p"].tolist(), nan_ok=True
    )


def test_duplicates():
    table = several_sessions()
    with pytest.raises(StatsError, match="a0/s0"):
        change_mixed(pd.concat([table, table.iloc[:1].assign(h=99.0)]), "h").with_details()
    result = change_mixed(pd.concat([table, table.iloc[:1]]), "h").with_details()
    assert "1 row that repeats another row exactly" in note(result, "repeated_rows")


def test_rows_in_any_order_give_the_same_numbers():
    table = several_sessions((5, 5), 4)
    table.loc[3, "h"] = np.nan
    order = ["s0", "s1", "s2", "s3"]
    base = change_mixed(table, "h", order=order, control="a").with_details().table
    keys = ["statistic", *PLACE[1:], "estimator", "interval_kind"]
    for seed in range(3):
        mixed = table.sample(frac=1.0, random_state=seed)
        other = change_mixed(mixed, "h", order=order, control="a").with_details().table
        both = base.merge(other, on=keys, suffixes=("", "_other"))
        assert len(both) >= len(base)
        np.testing.assert_allclose(both["estimate"], both["estimate_other"], rtol=1e-7, atol=1e-9)
        np.testing.assert_allclose(both["p"], both["p_other"], rtol=1e-5, atol=1e-12)


def test_control_turns_the_sign_only():
    table = several_sessions((5, 7))
    one = change_mixed(table, "h", control="a").with_details().rows("change_difference")
    two = change_mixed(table, "h", control="b").with_details().rows("change_difference")
    assert (set(one["first"]), set(one["second"])) == ({"b"}, {"a"})
    assert (set(two["first"]), set(two["second"])) == ({"a"}, {"b"})
    np.testing.assert_allclose(one["estimate"], -two["estimate"], rtol=1e-7, atol=1e-12)
    np.testing.assert_allclose(one["ci_low"], -two["ci_high"], rtol=1e-6, atol=1e-9)


def test_sessions_keep_protocol_order_of_categories():
    table = several_sessions()
    table["session"] = pd.Categorical(
        table["session"].map({"s0": "pre", "s1": "mid", "s2": "post"}), ["pre", "mid", "post"]
    )
    shuffled = table.sample(frac=1.0, random_state=2)
    result = change_mixed(shuffled, "h").with_details()
    assert result.settings["primary"] == ["pre", "post"]
    assert not result.has_note("order_of_appearance")
    turned = change_mixed(table, "h", order=["post", "pre"]).with_details()
    assert turned.has_note("order_differs")
    assert turned.value("mean_change", group="a") == pytest.approx(
        -result.value("mean_change", group="a", first="post", second="pre")
    )


@pytest.mark.parametrize(
    ("kind", "change", "arguments", "words"),
    [
        (StatsError, None, {"order": ["s0", "s9"]}, "there is no session 's9'"),
        (ArgumentError, None, {"order": "s0"}, "a list of session names is needed"),
        (ArgumentError, None, {"order": ["s0", "s0"]}, "stands twice"),
        (ArgumentError, None, {"primary": ("s2", "s0")}, "does not come before"),
        (ArgumentError, None, {"primary": ("s0", "s7")}, "there is no session 's7'"),
        (ArgumentError, None, {"primary": "s0"}, "earlier session, later session"),
        (ArgumentError, None, {"control": "zz"}, "there is no group 'zz'"),
        (ArgumentError, None, {"level": 95}, "allowed is between 0.5 and 1"),
        (StatsError, "text", {}, "not numeric"),
        (StatsError, "empty", {}, "two sessions with values"),
        (StatsError, "infinite", {}, "athlete a0, session s0 is infinite"),
        (StatsError, "one session", {}, "two sessions with values, found s0"),
    ],
)
def test_errors_say_what_was_found(kind, change, arguments, words):
    table = several_sessions()
    if change == "text":
        table["h"] = table["h"].astype(str)
    elif change == "empty":
        table["h"] = np.nan
    elif change == "infinite":
        table.loc[0, "h"] = np.inf
    elif change == "one session":
        table = table[table["session"] == "s0"]
    with pytest.raises(kind, match=words):
        change_mixed(table, "h", **arguments).with_details()


def test_sentence_word_for_word():
    table = pd.DataFrame(
        {
            "athlete": list("ABCDEF") * 2,
            "group": ["training"] * 3 + ["control"] * 3 + ["training"] * 3 + ["control"] * 3,
            "session": ["base"] * 6 + ["post"] * 6,
            "jump_height_m": [0.30, 0.34, 0.32, 0.31, 0.33, 0.35]
            + [0.33, 0.36, 0.355, 0.312, 0.331, 0.357],
        }
    )
    result = change_mixed(table, "jump_height_m", control="control").with_details()
    assert [x.text for x in result.sentences] == [
        "Jump height (take-off velocity), base to post: the mean change of training minus that of"
        " control is +2.5 cm (95 % interval +1.2 to +3.8 cm), from 6 athletes (t, 4 degrees of freedom)."
        " The interval includes only differences with higher values in training.",
    ]
    alone = change_mixed(table[table["group"] == "control"], "jump_height_m").with_details()
    assert [x.text for x in alone.sentences] == [
        "Jump height (take-off velocity), base to post: the mean change is +0.3 cm (95 % interval"
        " −0.5 to +1.1 cm), from 3 athletes (t, 2 degrees of freedom). The interval includes zero: these"
        " data cannot tell an increase from a decrease.",
    ]


def test_no_forbidden_words():
    result = change_mixed(several_sessions((6, 6)), "h", constrained=True).with_details()
    text = str(result).lower()
    assert "significan" not in text
    assert "responder" not in text


def test_three_groups_compare_each_with_control_first():
    result = change_mixed(several_sessions((4, 4, 4)), "h", control="b").with_details()
    primary = result.table[result.table["role"] == "primary"]
    assert primary[["first", "second"]].to_numpy().tolist() == [["a", "b"], ["c", "b"]]
    np.testing.assert_allclose(primary["p_adjusted"], holm(primary["p"]))


def test_holm_and_leave_one_out_against_closed_forms():
    np.testing.assert_allclose(holm([0.01, 0.04, 0.03]), [0.03, 0.06, 0.06])
    np.testing.assert_allclose(holm([0.01, np.nan, 0.5]), [0.02, np.nan, 0.5])
    own = leave_one_out(np.array([1.0, 2.0, 6.0]), None)
    np.testing.assert_allclose(own[0], [4.0, 3.5, 1.5])
    both = leave_one_out(np.array([1.0, 2.0, np.nan]), np.array([0.0, 4.0]))
    np.testing.assert_allclose(both[0], [0.0, -1.0, np.nan])
    np.testing.assert_allclose(both[1], [-2.5, 1.5])
    assert np.isnan(np.concatenate(leave_one_out(np.array([1.0]), np.array([1.0, 2.0])))).all()


def test_leave_one_out_points_equal_analyses_without_the_athlete():
    table = several_sessions((4, 5))
    points = change_mixed(table, "h").with_details().points["leave_one_out"]
    assert len(points) == 9
    for row in points.itertuples():
        rest = change_mixed(table[table["athlete"] != row.athlete], "h").with_details()
        place = {"first": row.first, "second": row.second, "session": row.session}
        again = rest.value("change_difference", since=row.since, **place)
        assert row.estimate == pytest.approx(again, rel=1e-9)
