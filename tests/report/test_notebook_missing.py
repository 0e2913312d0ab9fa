"""Who is missing: closed forms of what the notebook of screening shows."""

from __future__ import annotations

import pandas as pd
import pytest
from scipy import stats

import cmjlab as cj
from cmjlab.errors import ArgumentError
from cmjlab.notebook import (
    drop_lowest,
    missing_side_by_side,
    must_agree,
    side_by_side,
    to_solve_first,
    who_came_back,
)

BEFORE = [0.30, 0.32, 0.34, 0.36, 0.28, 0.40]
AFTER = [0.31, 0.34, 0.34, 0.39]
HEIGHT = "jump_height_m"


@pytest.fixture
def table() -> pd.DataFrame:
    """Six athletes before, the first four of them after."""
    rows = [(f"A{i}", "pre", v) for i, v in enumerate(BEFORE)]
    rows += [(f"A{i}", "post", v) for i, v in enumerate(AFTER)]
    return pd.DataFrame(rows, columns=["athlete", "session", HEIGHT])


def test_the_two_means_and_complete_pairs_are_told_apart(table):
    shown = missing_side_by_side(table, HEIGHT, before="pre", after="post", differ=0.03)
    texts = shown["mean change"].tolist()
    # 0.345 - 0.33333 = 0.01167; mean of .01, .02, 0, .03 = 0.015; f = 2/6 of 3 cm, so ± 1 cm
    assert [t.split(" (")[0] for t in (texts[0], texts[1], *texts[-2:])] == [
        "+1.2 cm", "+1.5 cm", "+0.5 cm", "+2.5 cm",
    ]  # fmt: skip
    assert {"6", "4"} == set(shown["athletes"])
    assert "3.0 cm less" in shown["what was done"].iloc[-2]


def test_with_nobody_missing_all_answers_are_one(table):
    whole = table[table["athlete"].isin(["A0", "A1", "A2", "A3"])]
    shown = missing_side_by_side(whole, HEIGHT, before="pre", after="post", differ=0.03)
    assert {t.split(" (")[0] for t in shown["mean change"]} == {"+1.5 cm"}


def test_those_who_came_back_are_compared_with_those_who_did_not(table):
    shown = who_came_back(table, HEIGHT, "pre", "post")
    assert shown["athletes"].tolist() == ["4", "2", ""]
    welch = stats.ttest_ind(BEFORE[4:], BEFORE[:4], equal_var=False).confidence_interval(0.95)
    text = shown["value before"].iloc[2].replace("\u2212", "-")
    assert text == f"+1.0 cm ({100 * welch.low:.1f} to +{100 * welch.high:.1f})"
    one_away = table[table["athlete"] != "A4"]
    assert "too few" in who_came_back(one_away, HEIGHT, "pre", "post")["value before"].iloc[2]


def test_the_lowest_stay_away_and_three_remain(table):
    def there(share: float) -> list[str]:
        kept = drop_lowest(table, HEIGHT, before="pre", after="post", share=share)
        assert len(kept[kept["session"] == "pre"]) == 6
        return kept.loc[kept["session"] == "post", "athlete"].tolist()

    assert there(0.0) == ["A0", "A1", "A2", "A3"]
    assert there(0.25) == ["A1", "A2", "A3"]
    assert there(1.0) == ["A1", "A2", "A3"]
    for wrong in (-0.1, 1.1, "all"):
        with pytest.raises(ArgumentError, match="share"):
            there(wrong)


def test_a_fault_that_stops_results_is_told_with_what_to_do():
    assert len(to_solve_first(cj.Study.open(cj.demo_study()))) == 1


def test_numbers_that_do_not_agree_are_named():
    apart = side_by_side(("mean", 1.0, 1.0), ("sd", 1.0, 1.001))
    with pytest.raises(AssertionError, match="do not agree: sd"):
        must_agree(apart)
    nan = float("nan")
    assert side_by_side(("none", nan, nan))["agrees"].all()
    assert not side_by_side(("half", 1.0, nan))["agrees"].any()
    for wrong in ((), (("mean", 1.0),), (("mean", "a", 1.0),)):
        with pytest.raises(ArgumentError, match="pairs"):
            side_by_side(*wrong)
