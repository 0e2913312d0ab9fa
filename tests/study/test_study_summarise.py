"""Summary of jumps: checked by hand-made numbers and by order statistics."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest

import cmjlab as cj


@pytest.fixture
def jumps():
    kind = pd.CategoricalDtype(["pre", "mid", "post"], ordered=True)
    return pd.DataFrame(
        {
            "athlete": ["B", "B", "B", "A", "A", "A", "A", "C"],
            "session": pd.Series(["pre"] * 3 + ["post"] * 4 + ["pre"], dtype=kind),
            "accepted": [True, True, False, True, True, True, True, False],
            "jump_height_m": [0.30, 0.32, 0.50, 0.40, 0.46, 0.43, np.nan, 0.2],
            "time_to_takeoff_s": [0.7, 0.9, 0.1, 0.8, 0.6, 0.7, 0.9, 0.5],
            "note": "x",
        }
    )


def test_mean_median_best(jumps):
    mean = cj.summarise_sessions(jumps)
    assert sorted(mean["athlete"]) == ["A", "B", "C"]
    mean = mean.set_index("athlete")
    assert mean.loc["B", "jump_height_m"] == pytest.approx(0.31)
    assert mean.loc["A", "jump_height_m"] == pytest.approx(0.43)
    assert mean.loc["A", "time_to_takeoff_s"] == pytest.approx(0.75)
    assert mean.loc["B", ["n_jumps", "n_expected", "n_excluded"]].tolist() == [2, 3, 1]
    median = cj.summarise_sessions(jumps, "median").set_index("athlete")
    assert median.loc["A", "time_to_takeoff_s"] == pytest.approx(0.75)
    best = cj.summarise_sessions(jumps, "best").set_index("athlete")
    assert best.loc["A", ["jump_height_m", "time_to_takeoff_s"]].tolist() == [0.46, 0.6]
    two = cj.summarise_sessions(jumps, "best_n_mean", best_n=2).set_index("athlete")
    assert two.loc["A", "jump_height_m"] == pytest.approx(0.445)
    assert two.loc["A", "time_to_takeoff_s"] == pytest.approx(0.65)


def test_nobody_disappears(jumps):
    row = cj.summarise_sessions(jumps).set_index("athlete").loc["C"]
    assert (row["n_jumps"], row["n_excluded"]) == (0, 1)
    assert np.isnan(row["jump_height_m"])


def test_session_order_is_kept(jumps):
    out = cj.summarise_sessions(jumps)
    assert list(out["session"].cat.categories) == ["pre", "mid", "post"]


def test_plain_table_of_ones_own():
    table = pd.DataFrame(
        {"athlete": ["007", "007", "7"], "session": "a", "reach_cm": [1.0, 3.0, 5.0]}
    )
    out = cj.summarise_sessions(table)
    assert list(out["athlete"]) == ["007", "7"]
    assert list(out["reach_cm"]) == [2.0, 5.0]


@pytest.mark.parametrize(
    ("change", "kind", "words"),
    [
        ({"how": "max"}, cj.ArgumentError, "mean"),
        ({"how": "best"}, cj.StatsError, "jump_height_m"),
        ({"best_n": 0}, cj.ArgumentError, "best_n"),
    ],
)
def test_wrong_arguments(change, kind, words):
    table = pd.DataFrame({"athlete": ["A"], "session": ["a"], "x": [1.0]})
    with pytest.raises(kind, match=words):
        cj.summarise_sessions(table, **change)


def test_the_best_of_no_accepted_jump_is_no_value(jumps):
    none = cj.summarise_sessions(jumps.assign(accepted=False), "best")
    assert none["n_jumps"].tolist() == [0, 0, 0]
    assert none["jump_height_m"].isna().all()


def test_bias_of_the_best_follows_order_statistics():
    """Best of three of normal jumps: bias +0.846 SD, SD 0.748 SD; mean: 0 and 0.577.

    Expected order statistics of the normal distribution: Harter 1961, Biometrika 48:151,
    E[max of 3] = 0.84628 (3 / (2 sqrt(pi)) in closed form).
    """
    n = 20_000
    values = np.random.default_rng(7).standard_normal(3 * n)
    table = pd.DataFrame(
        {
            "athlete": np.repeat(np.arange(n).astype(str), 3),
            "session": "a",
            "jump_height_m": values,
        }
    )
    best = cj.summarise_sessions(table, "best")["jump_height_m"]
    mean = cj.summarise_sessions(table, "mean")["jump_height_m"]
    se = 1 / np.sqrt(n)
    assert best.mean() == pytest.approx(3 / (2 * np.sqrt(np.pi)), abs=4 * 0.748 * se)
    assert best.std() == pytest.approx(0.74798, abs=4 * 0.748 * se)
    assert mean.mean() == pytest.approx(0.0, abs=4 * 0.577 * se)
    assert mean.std() == pytest.approx(1 / np.sqrt(3), abs=4 * 0.577 * se)
