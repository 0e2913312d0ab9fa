"""Rules that divide a subgroup, and certainty where one condition has no noise of its own."""

from __future__ import annotations

import re

import numpy as np
import pandas as pd
import pytest

from cmjlab.errors import StatsError
from cmjlab.stats.subgroups.noise import DeclaredError
from cmjlab.stats.subgroups.place import place
from cmjlab.stats.subgroups.rules import read_rules
from cmjlab.stats.subgroups.subgroups import subgroup_athletes

ROWS = [
    ("weak", "s < 1.3"),
    ("strong", "else"),
    ("slow", "t > median within strong"),
]


def table(*rows: tuple[str, str]) -> pd.DataFrame:
    return pd.DataFrame(rows, columns=["subgroup", "rule"])


def test_the_median_is_taken_among_the_subgroup_and_the_rest_stays():
    rules = read_rules(table(*ROWS))
    values = {
        "s": np.array([1.0, 1.1, 1.4, 1.5, 1.6, 1.7]),
        "t": np.array([0.9, 0.95, 0.6, 0.7, 0.8, 0.81]),  # of the strong: 0.75; of all: 0.805
    }
    assert place(rules, values, {}).tolist() == [0, 0, 1, 1, 2, 2]
    assert str(rules.rules[2]) == "t > median within strong"
    again = read_rules(table(*ROWS[:2], ("slow", "t > median of strong")))
    assert again == rules


def test_membership_and_cut_go_with_each_draw():
    rules = read_rules(table(*ROWS))
    values = {
        "s": np.array([[1.0, 1.4, 1.4, 1.4], [1.4, 1.4, 1.4, 1.4]]),
        "t": np.array([[0.9, 0.6, 0.7, 0.8], [0.9, 0.6, 0.7, 0.8]]),
    }
    # medians of the strong: 0.70 of three, 0.75 of four
    assert place(rules, values, {}).tolist() == [[0, 1, 1, 2], [2, 1, 1, 2]]


def test_two_divisions_take_their_cuts_among_the_same_athletes_and_the_first_wins():
    rules = read_rules(
        table(*ROWS, ("deep", "d >= percentile 50 within strong and s < 9"), ("fit", "else within strong"))
    )  # fmt: skip
    values = {
        "s": np.array([1.0, 1.4, 1.4, 1.4, 1.4]),
        "t": np.array([0.9, 0.9, 0.8, 0.6, 0.5]),
        "d": np.array([0.1, 0.4, 0.1, 0.2, 0.1]),  # median of the four strong: 0.15
    }
    assert place(rules, values, {}).tolist() == [0, 2, 2, 3, 4]


def test_a_missing_value_inside_a_subgroup_is_never_a_no():
    rules = read_rules(table(*ROWS))
    values = {"s": np.array([1.0, 1.4, 1.4, np.nan]), "t": np.array([np.nan, np.nan, 0.7, 0.7])}
    assert place(rules, values, {}).tolist() == [0, -1, 1, -1]


@pytest.mark.parametrize("rule", ["median", "mean", "percentile 30"])
def test_places_among_everybody_are_those_of_numpy(rule):
    rng = np.random.default_rng(2)
    s, t = rng.normal(size=(50, 9)) + 5, rng.normal(size=(50, 9))
    inside = read_rules(table(("strong", "else"), ("slow", f"t > {rule} within strong")))
    plain = read_rules(table(("slow", f"t > {rule}"), ("strong", "else")))
    found = place(inside, {"s": s, "t": t}, {}) == 1
    assert (found == (place(plain, {"s": s, "t": t}, {}) == 0)).all()


@pytest.mark.parametrize(
    ("rows", "message"),
    [
        ([("a", "else"), ("b", "t > median within strong")], "row 2 (b): no rule above places anybody in 'strong'"),
        ([("a", "else"), ("a", "t > median within a")], "row 2: a divides itself"),
        ([("a", "s < 1"), ("c", "else"), ("b", "t > median within a and s < mean within c")], "one rule can divide one subgroup only"),
        ([("a", "s < 1"), ("b", "t > 2 within a"), ("a", "s > 3"), ("c", "else")], "adds to a below a rule that divides it"),
        ([("a", "s < 1"), ("b", "t > median within a")], "the last rule must be 'else'"),
        ([("a", "else"), ("b", "t > 2")], "stands below 'else' and can never match"),
        ([("a", "else"), ("b", "t > heavy within a")], "cut 'heavy' cannot be read"),
    ],
)  # fmt: skip
def test_wrong_divisions_are_refused_with_row_and_remedy(rows, message):
    with pytest.raises(StatsError, match=re.escape(message)):
        read_rules(table(*rows))


def squad(n=24, *, once=(), seed=4):
    """Two baselines; the metrics of ``once`` have values in the first one only."""
    rng = np.random.default_rng(seed)
    true = {"s": 1.4 + 0.15 * rng.standard_normal(n), "t": 0.75 + 0.08 * rng.standard_normal(n)}
    noise = {"s": 0.05, "t": 0.03}
    rows = []
    for session in ("base1", "base2"):
        frame = pd.DataFrame(
            {"athlete": [f"A{i:02d}" for i in range(n)], "session": session, "role": "baseline"}
        )
        for m in ("s", "t"):
            frame[m] = true[m] + noise[m] * rng.standard_normal(n)
            if m in once and session == "base2":
                frame[m] = np.nan
        rows.append(frame)
    return pd.concat(rows, ignore_index=True)


def test_the_certainty_of_a_division_carries_the_outer_placement():
    """Who stands beside the outer cut may not belong to the strong at all."""
    result = subgroup_athletes(squad(60), table(*ROWS), session="base1")
    people = result.points["placements"].set_index("athlete")
    data = squad(60).query("session == 'base1'").set_index("athlete")
    assert set(people["by_rules"]) == {"weak", "strong", "slow"}
    beside = people[(people["by_rules"] == "slow") & (data["s"] < 1.34)]
    far = people[(people["by_rules"] == "slow") & (data["s"] > 1.5)]
    assert len(beside)
    assert beside["p_weak"].mean() > 0.1
    assert (far["p_weak"] < 0.05).all()
    total = people[["p_weak", "p_strong", "p_slow"]].sum(axis=1)
    assert total.to_numpy() == pytest.approx(1.0)
    cut = result.points["cuts"].query("metric == 't'")["cut"].iloc[0]
    strong = data[data["s"] >= 1.3]
    assert cut == pytest.approx(strong["t"].median())


def test_a_condition_measured_once_leaves_the_certainty_of_the_others():
    rules = table(("weak", "s < 1.3"), ("slow", "t > 0.8"), ("usual", "else"))
    whole = subgroup_athletes(squad(), rules, session="base1").points["placements"]
    once = subgroup_athletes(squad(once=["s"]), rules, session="base1")
    people = once.points["placements"]
    weak = people["by_rules"] == "weak"
    assert (people.loc[weak, "probability"] == 1.0).all()  # s counts as exact
    beside = people[~weak & people["probability"].between(0.4, 0.95)]
    assert len(beside) >= 3  # t still has its noise
    assert (people.loc[~weak, "probability"] >= whole.loc[~weak, "probability"] - 0.05).all()
    texts = [str(s) for s in once.sentences] + [n.text for n in once.notes]
    assert any("S counts as exact" in t and "upper limit" in t for t in texts)
    assert any("can state a typical error" in t for t in texts)
    assert not any("0 of 0" in t for t in texts)


def test_a_stated_typical_error_is_used_only_where_the_baselines_do_not_tell():
    rules = table(("weak", "s < 1.3"), ("slow", "t > 0.8"), ("usual", "else"))
    stated = {"s": DeclaredError(0.05, "own tests"), "t": DeclaredError(9.0)}
    result = subgroup_athletes(squad(once=["s"]), rules, session="base1", reliability=stated)
    errors = result.settings["typical_errors"]
    assert errors["s"]["error"] == 0.05
    assert errors["t"]["error"] == pytest.approx(0.03, rel=0.5)  # its own, not the stated 9
    people = result.points["placements"]
    assert people.loc[people["by_rules"] == "weak", "probability"].between(0.01, 0.999).any()
    notes = [n for n in result.notes if n.code == "error_declared_with_source"]
    assert [n.values["metric"] for n in notes] == ["s"]
    assert "own tests" in notes[0].text
    assert all("upper limit" not in str(s) for s in result.sentences)


def test_nothing_known_is_said_and_never_counted():
    rules = table(("weak", "s < 1.3"), ("usual", "else"))
    result = subgroup_athletes(squad(once=["s", "t"]), rules, session="base1")
    assert set(result.points["placements"]["call"]) == {"unknown"}
    assert "cannot be estimated" in " ".join(map(str, result.sentences))
    assert "0 of 0" not in " ".join(map(str, result.sentences))
