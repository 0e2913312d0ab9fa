"""The committed calibration of placements, and that it repeats."""

from __future__ import annotations

import pandas as pd
import pytest
from placement import (
    BIN,
    ENOUGH,
    RULES,
    SHOWN,
    TABLE,
    cells,
    run_cell,
    shown_cells,
)


@pytest.fixture(scope="module")
def table() -> pd.DataFrame:
    return pd.read_csv(TABLE)


def test_every_cell_is_there_with_enough_athletes_in_the_bin(table):
    pooled = table[table["side"] == "pooled"]
    assert len(pooled) == len(cells())
    assert set(pooled["rule"]) == set(RULES)
    assert (pooled["in_bin"] >= ENOUGH).all()
    assert (table["icc"] >= 0.7).all()
    sides = (
        table[table["side"] != "pooled"].groupby(["rule", "n", "icc"])[["in_bin", "right"]].sum()
    )
    whole = pooled.set_index(["rule", "n", "icc"])[["in_bin", "right"]]
    pd.testing.assert_frame_equal(sides.sort_index(), whole.sort_index())


def test_of_those_said_to_be_75_to_85_percent_sure_as_many_are_right(table):
    share = table["right"] / table["in_bin"]
    assert (share - table["share"]).abs().max() < 1e-4
    pooled = table["side"] == "pooled"
    assert share[pooled].between(0.75, 0.85).all()
    assert share[~pooled].between(0.70, 0.90).all()
    assert table["said"].between(*BIN).all()


def test_too_close_to_call_catches_the_rest(table):
    """Who is called clear is right far more often than who is too close to call."""
    pooled = table[table["side"] == "pooled"]
    assert (pooled["clear_right"] > 0.85).all()
    assert (pooled["too_close_right"] < 0.70).all()
    divided = pooled["rule"] == "median within a subgroup"  # three subgroups, two uncertain cuts
    assert pooled.loc[~divided, "too_close"].between(0.01, 0.6).all()
    assert pooled.loc[divided, "too_close"].between(0.3, 0.65).all()


def test_situations_outside_the_assumptions_are_shown(table):
    """Two kinds of athletes: too careful between the clusters, too sure inside one of them.

    Uneven or heavy-tailed noise does little harm.
    """
    shown = pd.read_csv(SHOWN)
    pooled = shown[shown["side"] == "pooled"].set_index(["kind", "rule"])["share"]
    assert len(pooled) == len(shown_cells())
    two = pooled["two kinds of athletes"]
    assert two["cut at the mean"] > 0.85
    assert two["cut at 0.8 SD"] < 0.75
    low = shown[(shown["kind"] == "two kinds of athletes") & (shown["side"] == "low")]
    assert low["share"].min() == pytest.approx(0.66, abs=0.01)  # the note of a placement says it
    for kind in ("heavy-tailed noise", "noise differs between athletes"):
        assert pooled[kind].between(0.75, 0.85).all()


def test_a_small_run_repeats_the_first_squads_of_the_table(table):
    """400 athletes in the bin of one cell; binomial limits at 99.99 %."""
    from scipy import stats

    cell = {"rule": "two metrics", "n": 12, "icc": 0.85}
    row = run_cell(cell, enough=300)[0]
    committed = table[(table["side"] == "pooled")]
    for key, value in cell.items():
        committed = committed[committed[key] == value]
    low, high = stats.binom.interval(0.9999, row["in_bin"], float(committed["share"].iloc[0]))
    assert low <= row["right"] <= high


@pytest.mark.slow
def test_the_whole_table_repeats(table):
    """Run all cells with another seed; every side stays inside its bar."""
    rows = pd.DataFrame([r for cell in cells() for r in run_cell(cell, seed=777)])
    pooled = rows["side"] == "pooled"
    assert rows.loc[pooled, "share"].between(0.75, 0.85).all()
    assert rows.loc[~pooled, "share"].between(0.70, 0.90).all()
