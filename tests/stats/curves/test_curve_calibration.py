"""The committed table of curve bands keeps its bars, and a slice of it is made again."""

from __future__ import annotations

import curve_bands
import pandas as pd
import pytest
from harness import count, judge

KEYS = ["kind", "n", "other", "shape", "change", "sessions"]


@pytest.fixture(scope="module")
def table():
    return pd.read_csv(curve_bands.PATH, keep_default_na=False, na_values=[""])


def test_no_row_fails_and_every_cell_is_there(table):
    assert (table["verdict"] != "fail").all()
    found = [tuple(r) for r in table[KEYS].drop_duplicates().to_numpy().tolist()]
    assert found == [tuple(c[k] for k in KEYS) for c in curve_bands.CELLS]


def test_without_any_change_a_band_leaves_zero_in_four_to_six_percent(table):
    null = table[(table["quantity"] == "any change") & (table["shape"] != "twice")]
    assert len(null) == 14
    assert (null["studies"] >= 2000).all()
    assert null["proportion"].between(0.04, 0.06).all()
    assert {8, 20} <= set(null["n"])


def test_one_unchanged_athlete_leaves_the_noise_in_about_five_percent(table):
    own = table[(table["quantity"] == "one athlete") & (table["verdict"] == "pass")]
    assert len(own) == 6
    assert own["proportion"].between(0.04, 0.065).all()


def test_a_change_put_at_60_to_80_percent_of_braking_is_found_there(table):
    share = table[table["quantity"] == "found there"].set_index(["kind", "n"])["proportion"]
    assert share["two groups", 20] > 0.98
    assert share["two groups", 12] > 0.85
    assert share["two groups", 8] > 0.5
    meets = table.loc[table["quantity"] == "stretches meet it", "proportion"]
    assert (meets > 0.92).all()


def test_verdicts_follow_from_the_counts(table):
    counted = table.assign(hits=(table["proportion"] * table["studies"]).round())
    columns = [*KEYS, "quantity", "studies", "not_estimable", "hits"]
    columns += ["first_batch_studies", "first_batch_hits"]
    again = judge(counted[columns], bar=curve_bands.bar, shown=curve_bands.shown)
    assert again["verdict"].tolist() == table["verdict"].tolist()
    assert (table["studies"] + table["not_estimable"] == curve_bands.STUDIES).all()


@pytest.mark.parametrize("number", [0, 6, 12, 17, 23])
def test_the_first_studies_come_out_the_same_again(table, number):
    cell = curve_bands.CELLS[number]
    made = count(
        cell,
        curve_bands.study,
        studies=curve_bands.BATCH,
        seed=curve_bands.SEED,
        batch=curve_bands.BATCH,
    )
    rows = table[(table[KEYS] == [cell[k] for k in KEYS]).all(axis=1)].set_index("quantity")
    for row in made:
        assert row["hits"] == rows.loc[row["quantity"], "first_batch_hits"]
