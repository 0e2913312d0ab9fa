"""Awkward data: the right number, or a clear error, or "not estimable" with the reason."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from change_kit import POST, PRE, pre_post

from cmjlab.catalog import STATISTICS
from cmjlab.errors import StatsError
from cmjlab.plan import Selection
from cmjlab.results import Result
from cmjlab.stats.change.change import change_between, change_within


def within(table: pd.DataFrame, **options: object) -> Result:
    return change_within(table, before="pre", after="post", **options)  # type: ignore[arg-type]


def between(table: pd.DataFrame, **options: object) -> Result:
    return change_between(table, before="pre", after="post", **options).with_details()  # type: ignore[arg-type]


def no_silent_nan(result: Result) -> None:
    """Every row without an estimate or interval says why, in a code and in words."""
    for _, row in result.table.iterrows():
        wants = STATISTICS[row["statistic"]].has_interval
        if np.isnan(row["estimate"]) or (wants and np.isnan(row["ci_low"])):
            assert isinstance(row["reason_code"], str), row
            assert isinstance(row["text"], str), row


def test_lists_in_different_order_are_joined_by_athlete() -> None:
    table = pre_post(PRE, POST)
    shuffled = pd.concat([table.iloc[:5], table.iloc[5:][::-1]])
    row = within(shuffled).rows("mean_change").iloc[0]
    # t(4) = 8.343, p = 0.0011, 2.30 [1.535, 3.065]: R t.test on the pairs
    assert row["test_value"] == pytest.approx(8.343, abs=5e-4)
    assert [row["estimate"], row["ci_low"], row["ci_high"]] == pytest.approx(
        [2.30, 1.535, 3.065], abs=5e-4
    )


def test_missing_post_is_named_and_left_out() -> None:
    table = pre_post(PRE, POST).iloc[:-1]
    result = within(table)
    row = result.rows("mean_change").iloc[0]
    # R t.test without A5: t(3) = 7.200, p = 0.0055
    assert (row["n"], row["df"]) == (4, 3)
    assert row["test_value"] == pytest.approx(7.200, abs=5e-4)
    assert row["p"] == pytest.approx(0.0055, abs=5e-5)
    text = next(n.text for n in result.notes if n.code == "left_out")
    assert text == "1 athlete is left out: A5 (no value in post)."
    assert result.points["left_out"].to_dict("records") == [
        {"metric": "value", "athlete": "A5", "missing": "value", "session": "post"}
    ]


def test_paired_effect_sizes_use_the_pairing() -> None:
    # noncentral-t limits: d_z 3.731 [1.112, 6.356], d_av .7442 [.2218, 1.2677]
    result = within(pre_post(PRE, POST))
    dz, dav = (result.rows(s).iloc[0] for s in ("cohen_dz", "cohen_dav"))
    assert [dz["estimate"], dz["ci_low"], dz["ci_high"]] == pytest.approx(
        [3.731, 1.112, 6.356], abs=6e-4
    )
    assert [dav["estimate"], dav["ci_low"], dav["ci_high"]] == pytest.approx(
        [0.7442, 0.2218, 1.2677], abs=6e-5
    )
    assert result.value("hedges_g") == pytest.approx(3.731 * 0.7978845608, abs=6e-4)


def test_same_gain_for_all_has_no_interval_but_a_reason() -> None:
    result = within(pre_post(PRE, [v + 2 for v in PRE]))
    row = result.rows("mean_change").iloc[0]
    assert row["estimate"] == pytest.approx(2.0)
    assert np.isnan(row["p"])
    assert row["reason_code"] == "same_change"
    no_silent_nan(result)


def test_post_equal_to_pre_within_is_zero_change_without_interval() -> None:
    result = within(pre_post(PRE, PRE))
    assert result.value("mean_change") == 0.0
    no_silent_nan(result)


def test_post_equal_to_pre_is_refused_between() -> None:
    with pytest.raises(StatsError, match="post equals pre for every athlete"):
        between(pre_post(PRE + PRE, PRE + PRE, list("aaaaabbbbb")))


def test_all_baselines_equal_is_a_comparison_of_groups_alone() -> None:
    after = (30.1, 31.4, 32.6, 29.9, 33.0, 30.2, 31.9, 34.0, 33.1, 32.7, 31.0, 33.8)
    table = pre_post([30.0] * 12, after, list("aaaaabbbbbbb"))
    result = between(table, assignment="random", control="a")
    assert result.has_note("covariate_constant")
    row = result.rows("adjusted_difference").iloc[1]
    a, b = np.array(after[:5]), np.array(after[5:])
    pooled = (((a - a.mean()) ** 2).sum() + ((b - b.mean()) ** 2).sum()) / 10
    # textbook two-sample t
    t = (b.mean() - a.mean()) / np.sqrt(pooled * (1 / 5 + 1 / 7))
    assert row["df"] == 10
    assert row["test_value"] == pytest.approx(t, rel=1e-12)
    assert row["estimator"] == "groups_only"
    assert result.rows("dppc2").iloc[0]["reason_code"] == "baseline_without_spread"
    no_silent_nan(result)


def test_perfect_correlation_gives_the_number_without_a_false_interval() -> None:
    before = np.array([30.0, 31.0, 33.0, 35.0, 31.5, 32.0, 34.0, 36.0])
    group = np.array(list("aaaabbbb"))
    result = between(
        pre_post(before, 2 + 0.9 * before + (group == "b"), group), assignment="random"
    )
    row = result.rows("adjusted_difference").iloc[0]
    assert row["estimate"] == pytest.approx(1.0, abs=1e-9)
    assert np.isnan(row["ci_low"])
    assert row["reason_code"] == "explained_completely"
    no_silent_nan(result)


@pytest.mark.parametrize("size", [2, 3])
def test_very_small_groups(size: int) -> None:
    rng = np.random.default_rng(3)
    before = rng.normal(30, 3, 2 * size)
    table = pre_post(before, before + rng.normal(1, 1, 2 * size), ["a"] * size + ["b"] * size)
    result = between(table, assignment="random")
    classical = result.rows("adjusted_difference").iloc[1]
    assert classical["df"] == 2 * size - 3
    assert classical["ci_low"] < classical["estimate"] < classical["ci_high"]
    permutation = result.rows("permutation_p").iloc[0]
    floor = {2: "0.333", 3: "0.1"}[size]
    assert permutation["remark_code"] == "smallest_p"
    assert permutation["text"] == f"the smallest p value that these group sizes can give is {floor}"
    assert permutation["estimate"] == permutation["p"]
    assert permutation["p"] >= float(floor)
    no_silent_nan(result)


def test_one_group_only_is_refused_with_the_way_out() -> None:
    with pytest.raises(StatsError, match=r"only one group, a, .* use change_within"):
        between(pre_post(PRE, POST, ["a"] * 5))


def test_athlete_in_two_groups_is_named() -> None:
    table = pre_post(PRE + PRE, POST + POST, list("aaaaabbbbb"))
    table.loc[(table["athlete"] == "A7") & (table["session"] == "post"), "group"] = "a"
    with pytest.raises(StatsError, match=r"more than one group in column 'group': A7 \(b and a\)"):
        between(table)


def test_blank_group_is_named() -> None:
    table = pre_post(PRE + PRE, POST + POST, list("aaaaabbbbb"))
    table.loc[table["athlete"] == "A7", "group"] = None
    with pytest.raises(StatsError, match=r"athlete\(s\) A7 have no entry in column 'group'"):
        between(table)


def test_duplicates_with_other_values_are_refused() -> None:
    table = pre_post(PRE, POST)
    twice = pd.concat([table, table.iloc[[0]].assign(value=99.0)])
    with pytest.raises(StatsError, match="A1/pre"):
        within(twice)


def test_exact_repeats_of_a_row_do_no_harm() -> None:
    table = pre_post(PRE, POST)
    once, twice = within(table), within(pd.concat([table, table.iloc[[0]]]))
    pd.testing.assert_frame_equal(once.table, twice.table)


def test_group_labels_as_numbers() -> None:
    numbers = between(pre_post(PRE + PRE, POST + POST[::-1], [1.0] * 5 + [2.0] * 5), control="1")
    assert numbers.table["first"].dropna().unique().tolist() == ["2"]
    assert numbers.table["second"].dropna().unique().tolist() == ["1"]


def test_session_of_one_group_only() -> None:
    table = pre_post(PRE + PRE, POST + POST, list("aaaaabbbbb"))
    table = table[(table["group"] == "a") | (table["session"] == "pre")]
    with pytest.raises(
        StatsError, match="a and b have 5 and 0 athletes with values in both pre and post"
    ):
        between(table)


def test_third_group_with_one_athlete_is_named_and_the_others_compared() -> None:
    group = list("aaaaabbbb") + ["c"]
    result = between(pre_post(PRE + PRE, POST + POST[::-1], group), control="a")
    by_group = result.rows("adjusted_difference", second="a").groupby("first").first()
    assert by_group.loc["c", "reason_code"] == "group_too_small"
    assert by_group.loc["c", "text"] == "not estimable: fewer than 2 athletes have all values in c"
    assert np.isfinite(by_group.loc["b", "estimate"])
    assert result.has_note("small_group")
    no_silent_nan(result)


def test_one_athlete_has_no_interval_but_is_not_lost() -> None:
    result = within(pre_post(PRE[:1], POST[:1]))
    row = result.rows("mean_change").iloc[0]
    assert row["reason_code"] == "few_pairs"
    assert "only A1 has both sessions" in row["text"]
    assert result.points["pairs"]["change"].iloc[0] == pytest.approx(2.7)
    no_silent_nan(result)


def test_unknown_session_is_suggested() -> None:
    with pytest.raises(
        StatsError, match=r"no session 'psot'; sessions are pre, post. Did you mean 'post'"
    ):
        change_within(pre_post(PRE, POST), before="pre", after="psot")


def test_same_session_twice_is_refused() -> None:
    with pytest.raises(StatsError, match="same session"):
        change_within(pre_post(PRE, POST), before="pre", after="pre")


def test_infinite_value_is_named() -> None:
    with pytest.raises(StatsError, match="athlete A3, session post is infinite"):
        within(pre_post(PRE, [*POST[:2], np.inf, *POST[3:]]))


def test_changes_and_ancova_can_have_opposite_signs(cases: Path) -> None:
    # existing squads: gains t(12) = 2.2156, p = .0468; ANCOVA -1.296 [-1.508, -1.084] (R, lm)
    wide = pd.read_csv(cases / "a10_two_groups.csv")
    table = pre_post(wide["pre"], wide["post"], wide["group"])
    result = between(table, control="senior")
    change = result.rows("change_difference").iloc[1]
    assert change["test_value"] == pytest.approx(2.2156, abs=5e-5)
    assert change["p"] == pytest.approx(0.0468, abs=5e-5)
    ancova = result.rows("adjusted_difference").iloc[1]
    assert [ancova["estimate"], ancova["ci_low"], ancova["ci_high"]] == pytest.approx(
        [-1.296, -1.508, -1.084], abs=5e-4
    )
    assert result.has_note("lords_paradox")
    assert result.has_note("baseline_gap")
    assert result.sentences[0].key == "change.neither_leads"
    assert "neither stands for the effect of the training" in result.sentences[0].text


def _selected_table() -> pd.DataFrame:
    rng = np.random.default_rng(11)
    trait = rng.normal(33, 3, 20)
    frames = []
    for session in ("base1", "base2", "post"):
        frames.append(
            pd.DataFrame(
                {
                    "athlete": [f"A{i:02d}" for i in range(20)],
                    "session": session,
                    "value": trait + rng.normal(0, 1.5, 20),
                    "depth": rng.normal(0.3, 0.03, 20),
                }
            )
        )
    table = pd.concat(frames, ignore_index=True)
    first = table[table["session"] == "base1"].set_index("athlete")["value"]
    low = set(first.nsmallest(7).index)
    return table.assign(group=["low" if a in low else "rest" for a in table["athlete"]])


def test_ancova_without_the_selecting_variable_is_refused() -> None:
    table = _selected_table().drop(columns="depth")
    selection = Selection(("depth",), "base1")
    with pytest.raises(
        StatsError, match=r"selected on depth in base1, which the table does not hold"
    ):
        change_between(
            table, "value", before="base1", after="post", assignment=selection
        ).with_details()
    clean = change_between(
        table, "value", before="base2", after="post", assignment=selection
    ).with_details()
    adjusted = clean.rows("adjusted_difference").iloc[0]
    assert adjusted["reason_code"] == "ancova_refused"
    assert "does not hold depth in base1" in adjusted["text"]
    assert np.isfinite(clean.rows("change_difference").iloc[0]["estimate"])


def test_ancova_of_selected_groups_holds_the_selecting_session() -> None:
    table = _selected_table()
    # chosen by the value, but not by a sharp cut: the ranges of the groups meet
    first = table[table["session"] == "base1"].sort_values("value")["athlete"].tolist()
    swapped = {first[6]: "rest", first[7]: "low"}
    table["group"] = [
        swapped.get(a, g) for a, g in zip(table["athlete"], table["group"], strict=True)
    ]
    selection = Selection(("value",), "base1")
    result = change_between(
        table, "value", before="base2", after="post", assignment=selection
    ).with_details()
    row = result.rows("adjusted_difference").iloc[1]
    wide = table.pivot(index="athlete", columns="session", values="value")
    group = table.drop_duplicates("athlete").set_index("athlete")["group"].loc[wide.index]
    # numpy least squares on the same covariates, written out
    x = np.column_stack([np.ones(20), group == "rest", wide["base1"], wide["base2"]]).astype(float)
    beta = np.linalg.lstsq(x, wide["post"].to_numpy(), rcond=None)[0]
    expected = beta[1] if row["first"] == "rest" else -beta[1]
    assert row["estimate"] == pytest.approx(expected, rel=1e-9)
    assert row["estimator"] == "ancova_with_selectors"
    assert "value in base1" in row["method"]
    assert result.has_note("groups_selected_elsewhere")
    assert result.rows("dppc2").iloc[0]["reason_code"] == "cut_on_baseline"


def test_selection_in_the_later_session_is_refused() -> None:
    with pytest.raises(StatsError, match="cannot have been selected in the later session"):
        change_between(
            _selected_table(),
            "value",
            before="base1",
            after="post",
            assignment=Selection(("value",), "post"),
        ).with_details()


def test_near_duplicate_labels_are_listed() -> None:
    table = pre_post(PRE, POST)
    table.loc[table.index[-1], "session"] = "Post"
    with pytest.raises(StatsError, match=r"column 'session' .* 'post' and 'Post'"):
        within(table)
    accents = pre_post(PRE[:2], POST[:2], names=["Zo\u00eb", "B"])
    accents.loc[2, "athlete"] = "Zoe\u0308"
    with pytest.raises(StatsError, match="column 'athlete' has labels that differ only in case"):
        within(accents)


def test_blanks_around_ids_are_trimmed() -> None:
    table = pre_post(PRE, POST)
    table.loc[table["session"] == "post", "athlete"] += " "
    assert within(table).rows("mean_change").iloc[0]["n"] == 5


def test_same_ids_in_both_groups_do_not_run() -> None:
    plyo = pre_post(PRE, POST, ["plyo"] * 5, names="12345")
    control = pre_post((*PRE, 30, 31), (*POST, 30, 31), ["control"] * 7, names="1234567")
    both = pd.concat([plyo[plyo["session"] == "pre"], control], ignore_index=True)
    with pytest.raises(StatsError, match="1/pre"):
        between(both)


def test_text_column_as_metric_is_refused() -> None:
    table = pre_post(PRE, POST).assign(value=lambda t: t["value"].astype(str))
    with pytest.raises(StatsError, match="not numeric"):
        change_within(table, "value", before="pre", after="post")


def test_negative_values_have_no_percent() -> None:
    result = within(pre_post([-1.0, 2.0, 3.0], [1.0, 2.5, 3.7]))
    row = result.rows("percent_change").iloc[0]
    assert row["reason_code"] == "needs_true_zero"
    assert row["text"] == "not estimable: percent needs positive values with a true zero"


def test_biased_change_of_selected_groups_is_for_comparison_only() -> None:
    from cmjlab.plan import Plan
    from cmjlab.stats.change.plan import apply_plan

    selection = Selection(("value",), "base1")
    result = change_between(
        _selected_table(), "value", before="base1", after="post", assignment=selection
    ).with_details()
    change = result.rows("change_difference")
    assert change["remark_code"].tolist() == ["comparison_only"] * 2
    assert not change["leads"].any()
    assert not result.rows("hedges_g")["leads"].any()
    planned = apply_plan(result, Plan(primary_metric="value", change_that_matters={"value": 1.0}))
    assert set(planned.rows("equivalence")["case"]) == {"adjusted_difference"}
    assert "change.matters_change_difference" not in {s.key for s in planned.sentences}
