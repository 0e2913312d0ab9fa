"""Awkward tables: the right number, or a clear error; everybody left out is named."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from cmjlab.catalog import STATISTICS
from cmjlab.errors import ArgumentError, StatsError
from cmjlab.stats.common.contrasts import holm, leave_one_out, two_groups
from cmjlab.stats.mixed.anova import mixed_anova
from cmjlab.stats.mixed.contrast_rows import OWN_T, POOLED_T
from cmjlab.stats.mixed.mixed import change_mixed


def squad(sizes=(4, 4), sessions=3, sd=1.0, seed=1, labels=("a", "b", "c")):
    """Return an invented table: athletes a0, a1, … of group a, and so on; sessions s0, s1, …."""
    rng = np.random.default_rng(seed)
    rows = []
    for label, size in zip(labels, sizes, strict=False):
        for i in range(size):
            level = 30 + 3 * rng.standard_normal()
            for j in range(sessions):
                value = level + sd * rng.standard_normal()
                rows.append(
                    {"athlete": f"{label}{i}", "group": label, "session": f"s{j}", "h": value}
                )
    return pd.DataFrame(rows)


def no_silent_nan(result):
    """Every missing estimate, limit or p value that a reader expects has a reason in words."""
    t = result.table
    changes = t["statistic"].isin(["mean_change", "change_difference"])
    tests = t["statistic"].isin(["group_by_time", "time_main_effect", "group_main_effect"])
    holes = t["estimate"].isna() | (changes & (t["ci_low"].isna() | t["p"].isna()))
    holes |= tests & t["p"].isna()
    return t.loc[holes, "text"].fillna("").str.contains("not estimable").all()


def note(result, code):
    return next(n.text for n in result.notes if n.code == code)


def test_every_statistic_is_in_the_catalog_or_belongs_to_change():
    result = change_mixed(squad((6, 6)), "h", constrained=True)
    ours = set(result.table["statistic"]) - {"mean_change", "change_difference"}
    assert ours <= set(STATISTICS)


@pytest.mark.parametrize("sessions", [2, 3, 4])
@pytest.mark.parametrize("sizes", [(1,), (2,), (1, 1), (2, 1), (1, 5), (2, 2), (3, 3), (2, 3, 4)])
@pytest.mark.parametrize("hole", [False, True])
def test_tiny_groups_never_give_a_nan_without_words(sizes, sessions, hole):
    table = squad(sizes, sessions)
    if hole:
        table.loc[1, "h"] = np.nan
    if hole and sizes == (1,) and sessions == 2:
        with pytest.raises(StatsError, match="two sessions"):
            change_mixed(table, "h")
        return
    assert no_silent_nan(change_mixed(table, "h", constrained=True))


def test_groups_of_two_and_three_have_the_textbook_t():
    from scipy import stats

    table = squad((2, 3), 2)
    wide = table.pivot(index="athlete", columns="session", values="h")
    d = wide["s1"] - wide["s0"]
    theirs = stats.ttest_ind(d[2:], d[:2], equal_var=True)
    row = change_mixed(table, "h").rows("change_difference", method=POOLED_T).iloc[0]
    assert row["group"] == "b - a"
    assert (row["df"], row["test_value"], row["p"]) == pytest.approx(
        (3, theirs.statistic, theirs.pvalue), rel=1e-9
    )
    own = change_mixed(table, "h").rows("mean_change", method=OWN_T, group="a").iloc[0]
    alone = stats.ttest_1samp(d[:2], 0.0)
    assert (own["test_value"], own["p"]) == pytest.approx((alone.statistic, alone.pvalue), rel=1e-9)


def test_one_group_needs_no_group_column():
    table = squad((6,))
    with_column = change_mixed(table, "h")
    without = change_mixed(table.drop(columns="group"), "h")
    assert without.rows("change_difference").empty
    assert (
        with_column.rows("mean_change")["p"].tolist() == without.rows("mean_change")["p"].tolist()
    )
    assert without.rows("mean_change")["role"].tolist().count("primary") == 1


def test_missing_post_is_named_and_the_others_are_used():
    table = squad((4, 4), 2)
    table.loc[(table["athlete"] == "a2") & (table["session"] == "s1"), "h"] = np.nan
    result = change_mixed(table, "h")
    assert "a2" in note(result, "missing_sessions")
    assert "a2" in note(result, "anova_complete_only")
    row = result.rows("change_difference", method=POOLED_T).iloc[0]
    assert (row["n"], row["df"]) == (7, 5)
    model = result.rows("change_difference", method="random intercept, REML, Kenward–Roger").iloc[0]
    assert model["n"] == 8


def test_athlete_without_any_value_is_named():
    table = squad()
    table.loc[table["athlete"] == "b3", "h"] = np.nan
    assert "b3" in note(change_mixed(table, "h"), "no_value")


def test_session_of_one_group_only():
    table = squad((6, 6))
    table = table[(table["session"] != "s2") | (table["group"] == "a")]
    result = change_mixed(table, "h", control="a")
    rows = result.rows("change_difference", contrast="s2 - s0")
    assert rows["estimate"].isna().all()
    assert rows["text"].str.contains("not estimable").all()
    usable = result.rows("change_difference", contrast="s1 - s0", method=POOLED_T)
    assert np.isfinite(usable["ci_low"].iloc[0])
    assert "group 'b' has no athlete" in note(result, "no_mixed_anova")
    with pytest.raises(StatsError, match=r"group 'b' has no athlete with a value in all of s0, s1"):
        mixed_anova(table, "h")
    assert result.sentences == (
        "h, s2 minus s0: the mean change of b minus that of a is not estimable: a group has no"
        " athlete with both sessions.",
    )


@pytest.mark.parametrize(
    "shift", [{"s0": 0.0, "s1": 0.0, "s2": 0.0}, {"s0": 0.0, "s1": 1.1, "s2": 2.3}]
)
def test_post_equal_to_pre_and_perfect_correlation(shift):
    """No athlete differs in change: estimates stand, intervals are not estimable, no warning."""
    table = squad((6, 6), sd=0.0)
    table["h"] += table["session"].map(shift)
    result = change_mixed(table, "h")
    own = result.rows("mean_change", contrast="s2 - s0", group="a", method=OWN_T).iloc[0]
    assert own["estimate"] == pytest.approx(shift["s2"], abs=1e-12)
    assert np.isnan(own["ci_low"])
    assert "every athlete changed by the same amount" in own["text"]
    assert result.has_note("model_not_fitted")
    assert no_silent_nan(result)
    with pytest.raises(StatsError, match="no variance"):
        mixed_anova(table, "h")


def test_no_variance_at_all():
    table = squad((6, 6))
    table["h"] = 30.0
    assert no_silent_nan(change_mixed(table, "h"))


def test_group_labels_as_numbers():
    table = squad((5, 6))
    base = change_mixed(table, "h")
    for labels in ({"a": 1, "b": 2}, {"a": 1.0, "b": 2.0}, {"a": True, "b": False}):
        numbers = table.assign(group=table["group"].map(labels))
        result = change_mixed(numbers, "h")
        assert result.table["p"].tolist() == pytest.approx(base.table["p"].tolist(), nan_ok=True)
    assert "2 - 1" in set(change_mixed(numbers.assign(group=table["group"].map({"a": 1.0, "b": 2.0})), "h", control=1).table["group"])  # fmt: skip


def test_athlete_of_two_groups_is_named():
    table = squad()
    table.loc[(table["athlete"] == "a1") & (table["session"] == "s2"), "group"] = "b"
    with pytest.raises(StatsError, match=r"athlete a1 stands in group 'a' and in group 'b'"):
        change_mixed(table, "h")
    with pytest.raises(StatsError, match="athlete a1"):
        mixed_anova(table, "h")


def test_ids_used_again_in_the_other_group_are_refused():
    table = squad()
    table["athlete"] = table["athlete"].str[1:]
    with pytest.raises(StatsError, match=r"athlete 0 stands in group 'a' and in group 'b'"):
        mixed_anova(table, "h")


def test_blank_group_is_named():
    table = squad()
    for empty in (None, "", " ", np.nan):
        table.loc[table["athlete"] == "b2", "group"] = empty
        with pytest.raises(StatsError, match="group is empty for athlete b2"):
            change_mixed(table, "h")


def test_blanks_around_ids_do_not_make_new_athletes():
    table = squad()
    base = change_mixed(table, "h")
    table.loc[table["session"] == "s2", "athlete"] += " "
    assert change_mixed(table, "h").table["p"].tolist() == pytest.approx(
        base.table["p"].tolist(), nan_ok=True
    )


def test_duplicates():
    table = squad()
    with pytest.raises(StatsError, match="a0/s0"):
        change_mixed(pd.concat([table, table.iloc[:1].assign(h=99.0)]), "h")
    result = change_mixed(pd.concat([table, table.iloc[:1]]), "h")
    assert "1 exact repeat" in note(result, "repeated_rows")


def test_rows_in_any_order_give_the_same_numbers():
    table = squad((5, 5), 4)
    table.loc[3, "h"] = np.nan
    order = ["s0", "s1", "s2", "s3"]
    base = change_mixed(table, "h", order=order, control="a").table
    keys = ["statistic", "group", "contrast", "method"]
    for seed in range(3):
        mixed = table.sample(frac=1.0, random_state=seed)
        other = change_mixed(mixed, "h", order=order, control="a").table
        both = base.merge(other, on=keys, suffixes=("", "_other"))
        assert len(both) >= len(base)
        np.testing.assert_allclose(both["estimate"], both["estimate_other"], rtol=1e-7, atol=1e-9)
        np.testing.assert_allclose(both["p"], both["p_other"], rtol=1e-5, atol=1e-12)


def test_control_turns_the_sign_only():
    table = squad((5, 7))
    one = change_mixed(table, "h", control="a").rows("change_difference")
    two = change_mixed(table, "h", control="b").rows("change_difference")
    assert set(one["group"]) == {"b - a"}
    assert set(two["group"]) == {"a - b"}
    np.testing.assert_allclose(one["estimate"], -two["estimate"], rtol=1e-7, atol=1e-12)
    np.testing.assert_allclose(one["ci_low"], -two["ci_high"], rtol=1e-6, atol=1e-9)


def test_sessions_keep_protocol_order_of_categories():
    table = squad()
    table["session"] = pd.Categorical(
        table["session"].map({"s0": "pre", "s1": "mid", "s2": "post"}), ["pre", "mid", "post"]
    )
    shuffled = table.sample(frac=1.0, random_state=2)
    result = change_mixed(shuffled, "h")
    assert result.settings["primary"] == ["pre", "post"]
    assert not result.has_note("order_of_appearance")
    turned = change_mixed(table, "h", order=["post", "pre"])
    assert turned.has_note("order_differs")
    assert turned.value("mean_change", group="a", method=OWN_T) == pytest.approx(
        -result.value("mean_change", group="a", method=OWN_T, contrast="post - pre")
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
    table = squad()
    if change == "text":
        table["h"] = table["h"].astype(str)
    elif change == "empty":
        table["h"] = np.nan
    elif change == "infinite":
        table.loc[0, "h"] = np.inf
    elif change == "one session":
        table = table[table["session"] == "s0"]
    with pytest.raises(kind, match=words):
        change_mixed(table, "h", **arguments)


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
    result = change_mixed(table, "jump_height_m", control="control")
    assert result.sentences == (
        "Jump height (take-off velocity), post minus base: the mean change of training minus that"
        " of control is 2.5 cm, 95 % interval 1.2 to 3.8 cm (t, 4 degrees of freedom, 6 athletes)."
        " All values in the interval have the same sign.",
    )
    alone = change_mixed(table[table["group"] == "control"], "jump_height_m")
    assert alone.sentences == (
        "Jump height (take-off velocity), post minus base: the mean change is 0.3 cm, 95 % interval"
        " -0.5 to 1.1 cm (t, 2 degrees of freedom, 3 athletes). The interval holds zero: these data"
        " do not tell the direction of the change.",
    )


def test_no_forbidden_words():
    result = change_mixed(squad((6, 6)), "h", constrained=True)
    text = str(result).lower()
    assert "significan" not in text
    assert "responder" not in text


def test_three_groups_compare_each_with_control_first():
    result = change_mixed(squad((4, 4, 4)), "h", control="b")
    primary = result.table[result.table["role"] == "primary"]
    assert primary["group"].tolist() == ["a - b", "c - b"]
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
    table = squad((4, 5))
    points = change_mixed(table, "h").points["leave_one_out"]
    assert len(points) == 9
    for row in points.itertuples():
        rest = change_mixed(table[table["athlete"] != row.athlete], "h")
        again = rest.value("change_difference", contrast=row.contrast, method=POOLED_T)
        assert row.estimate == pytest.approx(again, rel=1e-9)


@settings(max_examples=60, deadline=None)
@given(
    st.lists(st.floats(-50, 50), min_size=2, max_size=8),
    st.lists(st.floats(-50, 50), min_size=2, max_size=8),
)
def test_two_groups_equal_scipy(a, b):
    from scipy import stats

    a, b = np.array(a), np.array(b)
    found = two_groups(a[None], b[None])
    free = a.size + b.size - 2
    pooled = ((a.size - 1) * a.var(ddof=1) + (b.size - 1) * b.var(ddof=1)) / free
    assert found.pooled_se[0] == pytest.approx(
        np.sqrt(pooled * (1 / a.size + 1 / b.size)), abs=1e-9
    )
    if min(np.ptp(a), np.ptp(b)) > 1e-3:
        theirs = stats.ttest_ind(a, b, equal_var=False)
        assert found.value[0] / found.separate_se[0] == pytest.approx(theirs.statistic, rel=1e-6)
    if a.size == b.size:
        assert found.separate_df[0] == pytest.approx(free)
