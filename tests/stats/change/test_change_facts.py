"""Changes as typed facts: which estimate leads, who is compared with whom, why a number is missing."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np
import pandas as pd
import pytest
from change_kit import POST, PRE, chosen_squad, pre_post
from result_kit import assert_typed, silent_words

from cmjlab.plan import Plan, Selection
from cmjlab.results import Result
from cmjlab.stats.change.change import change_between, change_within
from cmjlab.stats.change.corrected import change_between_corrected
from cmjlab.stats.change.lineup import lineup
from cmjlab.stats.change.missing import change_if_missing_differ
from cmjlab.stats.change.plan import apply_plan
from cmjlab.stats.change.regression_to_mean import drift_expected, drift_from_outside

#: Names with the signs that stand between two names elsewhere.
HEAVY, USUAL = "strength - heavy", "usual - a - b"
SELECTION = Selection(("value",), "base1")
QUESTION = ("adjusted_difference", "change_difference", "corrected_difference")


def odd_names(table: pd.DataFrame) -> pd.DataFrame:
    return table.assign(group=table["group"].map({"low": HEAVY, "rest": USUAL}))


@pytest.mark.parametrize(
    ("assignment", "before", "statistic", "why"),
    [
        ("random", "base2", "adjusted_difference", "random"),
        ("other", "base2", "", "other_grounds"),
        (SELECTION, "base1", "adjusted_difference", "selected_before"),
        (SELECTION, "base2", "change_difference", "selected_elsewhere"),
    ],
)
def test_how_the_groups_came_about_decides_what_leads(assignment, before, statistic, why):
    result = change_between(
        chosen_squad(sharp=False), "value", before=before, after="post", assignment=assignment
    ).with_details()
    assert result.settings["leading"] == {"statistic": statistic, "why": why}
    assert result.leading == statistic
    rows = result.table[result.table["statistic"].isin(QUESTION)]
    leading = rows[rows["leads"].astype(bool)]
    assert leading["statistic"].tolist() == [statistic][: len(statistic)]
    if statistic:
        first = {"adjusted_difference": "hc2_bm", "change_difference": "welch_bm"}[statistic]
        assert leading["interval_kind"].item() == first
        assert result.row(statistic)["interval_kind"] == first
    else:
        with pytest.raises(KeyError, match="they differ in interval_kind"):
            result.row("change_difference")


@pytest.mark.parametrize("assignment", ["random", "other", SELECTION])
def test_nothing_about_a_row_that_does_not_lead_leads(assignment):
    plan = Plan(primary_metric="value", change_that_matters={"value": 1.0})
    compared = change_between(
        chosen_squad(), "value", before="base2", after="post", assignment=assignment
    ).with_details()
    table = apply_plan(compared, plan).table
    about = table[table["case"].isin(QUESTION)]
    assert set(about["statistic"]) >= {"equivalence", "minimum_effect"}
    led = about[about["leads"].astype(bool)]
    assert set(led["case"]) == ({compared.leading} if compared.leading else set())


def test_groups_keep_names_that_look_like_contrasts():
    table = odd_names(chosen_squad())
    two_sessions = {"before": "base2", "after": "post"}
    noise = {"value": (1.0, 9)}
    compared = [
        change_between(table, "value", **two_sessions, assignment=a, control=USUAL).with_details()
        for a in ("random", "other", SELECTION)
    ]
    compared.append(
        change_between_corrected(table, "value", **two_sessions, reliability=noise, control=USUAL)
    )
    for result in compared:
        rows = result.table[result.table["statistic"].isin(QUESTION)]
        assert set(rows["first"]) == {HEAVY}
        assert set(rows["second"]) == {USUAL}
        said = [s for s in result.sentences if "first" in s.values]
        assert {(s.values["first"], s.values["second"]) for s in said} == {(HEAVY, USUAL)}
    without = compared[0].points["leave_one_out"]
    assert set(zip(without["first"], without["second"], strict=True)) == {(HEAVY, USUAL)}
    within = [
        change_within(table, "value", **two_sessions, group="group"),
        drift_expected(table, "value", selection=SELECTION, after="post", baseline="base2"),
        compared[2],
    ]
    for result in within:
        assert {HEAVY, USUAL} == set(result.table["group"].dropna())
        assert {s.group for s in result.sentences} - {""} == {HEAVY, USUAL}


def every_result() -> Iterator[Result]:
    """Yield what the room can say, on usual and on awkward tables."""
    rng = np.random.default_rng(3)
    heights = rng.normal(33, 3, 24)
    three = pre_post(heights, heights + rng.normal(1, 1, 24), ["a"] * 8 + ["b"] * 8 + ["c"] * 8)
    flat = pre_post(PRE + PRE, [v + 1 for v in PRE] + [v + 2 for v in PRE], list("aaaaabbbbb"))
    exact = pre_post(PRE + PRE, [0.9 * v for v in PRE] + [0.9 * v + 2 for v in PRE], list("aaaaabbbbb"))  # fmt: skip
    small = pre_post(PRE + PRE, POST + POST[::-1], [*"aaaaabbbb", "c"])
    tiny = pre_post(PRE[:4], POST[:4], list("aabb"))
    constant = pre_post([30.0] * 10, POST + POST[::-1], list("aaaaabbbbb"))
    hole = pre_post((*PRE, 33.0, np.nan), (*POST, np.nan, 30.0), list("aabbbab"))
    for table in (three, flat, exact, small, tiny, constant, hole):
        for assignment in ("random", "other"):
            yield change_between(
                table, before="pre", after="post", assignment=assignment
            ).with_details()
        yield change_within(table, before="pre", after="post", group="group")
        yield change_between_corrected(
            table, before="pre", after="post", reliability={"value": (1.0, 9)}
        )
    for after in ([-1.0, 2.5, 3.7], [1.0, 2.0, 3.0], [1.1, 2.2, 3.3]):
        yield change_within(pre_post([1.0, 2.0, 3.0], after), before="pre", after="post")
    yield change_within(pre_post(PRE[:1], POST[:1]), before="pre", after="post")
    for table in (hole, pre_post(PRE, POST), pre_post((*PRE, 33.0), (*PRE, np.nan))):
        yield change_if_missing_differ(
            table, "value", before="pre", after="post", shifts=(0.0, -1.0)
        )
    wide_hole = pre_post((*PRE, 31.0), (31.0, 34.9, 28.0, 37.0, 30.0, np.nan))
    yield change_if_missing_differ(wide_hole, "value", before="pre", after="post", shifts=[2.0])
    yield lineup(three, "value", before="pre", after="post", group="group")
    yield lineup(three, "value", before="pre", after="post")


def every_result_of_selected_groups() -> Iterator[Result]:
    """Yield what is said about groups that were chosen on a value."""
    squad = chosen_squad()
    sexed = squad.assign(sex=np.where(squad["athlete"].str[-1].isin(list("02468")), "f", "m"))
    depth = squad.assign(depth=np.random.default_rng(1).normal(0.3, 0.03, len(squad)))
    plan = Plan(primary_metric="value", change_that_matters={"value": 1.0})
    for table in (squad, sexed, squad.drop(columns="role"), chosen_squad(9, seed=5), odd_names(squad)):  # fmt: skip
        for before in ("base1", "base2"):
            yield apply_plan(
                change_between(
                    table, before=before, after="post", assignment=SELECTION
                ).with_details(),
                plan,
            )
    both = Selection(("value", "depth"), "base1")
    for method in ("holm", "bh", "bonferroni"):
        compared = change_between(
            depth, before="base2", after="post", assignment=both
        ).with_details()
        yield apply_plan(compared, plan, adjust=method)
        yield apply_plan(compared, Plan(primary_metric="other"), adjust=method)
    yield change_between(squad, before="base2", after="post", assignment=both).with_details()
    one = squad["athlete"].isin(squad.loc[squad["group"] == "low", "athlete"].unique()[1:])
    yield drift_expected(squad[~one], selection=SELECTION, after="post", baseline="base2")
    yield drift_expected(squad, selection=both, after="post", baseline="base2")
    for part in (squad, squad[~one]):
        yield drift_from_outside(
            part, "value", selection_session="base1", after="post", group="low", slope=(0.8, 0.6, 0.9)
        )  # fmt: skip


@pytest.mark.parametrize("results", [every_result, every_result_of_selected_groups])
def test_every_gap_has_a_reason_and_everything_can_be_said(results):
    codes, kinds = set(), 0
    for result in results():
        assert_typed(result, HEAVY, USUAL)
        codes |= set(result.table["reason_code"].dropna()) | {n.code for n in result.notes}
        kinds += 1
    # awkward data were met: these are far more kinds of reasons and notes than usual data give
    assert kinds > 20
    assert len(codes) > 15


#: Where a difference along the baseline can be clear.
REGIONS = ("everywhere", "nowhere", "above", "below", "between", "outside")


def test_every_word_of_the_room_is_used():
    made_from_parts = {
        *(f"lacks_{what}" for what in ("value", "covariate", "both")),
        *(f"drift_{how}" for how in ("clean", "fitted")),
        *(f"{statistic}_without_interval" for statistic in QUESTION[:2]),
        *(f"matters_{s}" for s in ("mean_change", *QUESTION[:2], "change_beyond_drift")),
        "multivariate_t_hc2_bm",
        *(f"clear_{where}" for where in REGIONS),
        *(f"adjust_{method}" for method in ("holm", "bh", "bonferroni")),
        "estimand_left_out",
        "estimand_of_differences_left_out",
    }
    assert silent_words("change", "stats") == made_from_parts
