"""The rules table: what can be written, what is refused, and who is placed where."""

from __future__ import annotations

import re

import numpy as np
import pandas as pd
import pytest

from cmjlab.errors import StatsError
from cmjlab.stats.subgroups.place import place, roster_words
from cmjlab.stats.subgroups.rules import read_rules


def table(*rows: tuple[str, str, str, str]) -> pd.DataFrame:
    return pd.DataFrame(rows, columns=["subgroup", "rule", "athlete", "reason"])


def test_first_match_wins_and_else_takes_the_rest():
    rules = read_rules(
        table(
            ("weak", "s < 1.3", "", ""),
            ("slow", "t > 0.8 and d >= 0.3", "", ""),
            ("usual", "else", "", ""),
        )
    )
    values = {
        "s": np.array([1.2, 1.4, 1.4, 1.4]),
        "t": np.array([0.9, 0.9, 0.9, 0.7]),
        "d": np.array([0.4, 0.4, 0.2, 0.4]),
    }
    assert place(rules, values, {}).tolist() == [0, 1, 2, 2]
    assert rules.metrics == ("s", "t", "d")
    assert [str(r) for r in rules.rules] == ["s < 1.3", "t > 0.8 and d >= 0.3", "else"]


def test_a_missing_value_is_never_taken_for_a_no():
    rules = read_rules(
        table(
            ("weak", "s < 1.3", "", ""),
            ("slow", "t > 0.8 and d > 0.3", "", ""),
            ("usual", "else", "", ""),
        )
    )
    values = {
        "s": np.array([np.nan, 1.4, 1.4, 1.2]),
        "t": np.array([0.9, np.nan, np.nan, np.nan]),
        "d": np.array([0.4, 0.4, 0.2, 0.4]),
    }
    # no strength: unknown; time missing but depth decides it: usual; weak whatever the time
    assert place(rules, values, {}).tolist() == [-1, -1, 2, 0]


def test_squad_relative_cuts_and_roster_words():
    rules = read_rules(
        table(
            ("low", "s < median", "", ""),
            ("wing", "position = Wing and s > percentile 75", "", ""),
            ("above", "s >= mean", "", ""),
            ("usual", "else", "", ""),
        )
    )
    values = {"s": np.array([1.0, 2.0, 3.0, 4.0, 9.0])}
    words = {"position": np.array(["wing", "wing", "back", "wing", "wing"], dtype=object)}
    # median 3, mean 3.8, 75th percentile 4
    assert place(rules, values, words).tolist() == [0, 0, 3, 2, 1]
    assert rules.words == ("position",)


def test_a_cut_of_many_squads_at_once():
    rules = read_rules(table(("low", "s < median", "", ""), ("high", "else", "", "")))
    values = {"s": np.arange(12.0).reshape(2, 6)}
    assert place(rules, values, {}).tolist() == [[0, 0, 0, 1, 1, 1]] * 2


def test_two_rows_of_one_subgroup_mean_or_and_moves_are_kept():
    rules = read_rules(
        table(
            ("a", "s < 1", "", ""),
            ("a", "t > 2", "", ""),
            ("mixed", "too close to call", "", ""),
            ("b", "else", "", ""),
            ("c", "", "A01", "comes back from a holiday"),
        )
    )
    assert rules.subgroups == ("a", "b")
    assert rules.every_subgroup == ("a", "b", "mixed", "c")
    assert rules.close == "mixed"
    assert rules.moves == {"A01": ("c", "comes back from a holiday")}


@pytest.mark.parametrize(
    ("rows", "message"),
    [
        ([("a", "s < 1", "", "")], "the last rule must be 'else'"),
        ([("a", "else", "", ""), ("b", "s < 1", "", "")], "row 2 (b): stands below 'else'"),
        ([("a", "s ~ 1", "", ""), ("b", "else", "", "")], "row 1: 's ~ 1' is no condition; allowed is 'metric < number'"),
        ([("a", "s < heavy", "", ""), ("b", "else", "", "")], "cut 'heavy' cannot be read"),
        ([("a", "s < percentile 100", "", ""), ("b", "else", "", "")], "cut 'percentile 100' cannot be read"),
        ([("a", "s = 1.3", "", ""), ("b", "else", "", "")], "= compares a roster column with a word"),
        ([("", "s < 1", "", ""), ("b", "else", "", "")], "row 1: the subgroup is empty"),
        ([("a", "", "", ""), ("b", "else", "", "")], "neither rule nor athlete"),
        ([("a", "s < 1", "A01", "x"), ("b", "else", "", "")], "both a rule and an athlete"),
        ([("b", "else", "", ""), ("a", "", "A01", "")], "A01 is moved to a without a reason"),
        ([("b", "else", "", ""), ("a", "", "A01", "x"), ("b", "", "A01", "y")], "moved twice"),
    ],
)  # fmt: skip
def test_wrong_tables_are_refused_with_row_and_remedy(rows, message):
    with pytest.raises(StatsError, match=re.escape(message)):
        read_rules(table(*rows))


def test_a_table_without_the_columns_is_refused():
    with pytest.raises(StatsError, match="no column 'rule'"):
        read_rules(pd.DataFrame({"subgroup": ["a"]}))


def test_an_empty_roster_cell_is_unknown_not_no():
    rules = read_rules(table(("w", "position = wing and s < 2", "", ""), ("usual", "else", "", "")))
    words = {"position": roster_words(pd.Series(["wing", None, None, " Wing "]))}
    values = {"s": np.array([1.0, 1.0, 3.0, 1.0])}
    assert place(rules, values, words).tolist() == [0, -1, 1, 0]
