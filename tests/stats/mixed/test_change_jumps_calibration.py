"""The committed sizes and coverages of the model on single jumps, and that they repeat."""

from __future__ import annotations

import pandas as pd
import pytest
from harness import count, judge
from jumps_model import BATCH, CELLS, PATH, SEED, STUDIES, bar, study

KEYS = ["n", "sessions"]


@pytest.fixture(scope="module")
def found():
    return pd.read_csv(PATH)


def test_tests_keep_their_size_and_intervals_their_level(found):
    """Kenward–Roger with unequal jumps and missing sessions; shrunken changes of single athletes."""
    tests = found[found["quantity"] != "shrunken change"]
    assert tests["proportion"].between(0.035, 0.07).all()
    assert abs(tests["proportion"].mean() - 0.05) < 0.01
    drawn = found[found["quantity"] == "shrunken change"]
    assert drawn["proportion"].between(0.92, 0.97).all()
    assert (found["not_estimable"] <= 0.01 * STUDIES).all()


def test_verdicts_follow_from_the_counts(found):
    table = found.assign(hits=(found["proportion"] * found["studies"]).round())
    columns = [*KEYS, "quantity", "studies", "not_estimable", "hits", "first_batch_studies"]
    again = judge(table[[*columns, "first_batch_hits"]], bar=bar)
    assert again["verdict"].tolist() == found["verdict"].tolist() == ["pass"] * len(found)
    assert len(found[KEYS].drop_duplicates()) == len(CELLS)


@pytest.mark.parametrize("number", [0, 7])
def test_first_batch_repeats(found, number):
    cell = CELLS[number]
    rows = count(cell, study, studies=BATCH, seed=SEED, batch=BATCH)
    stored = found[(found["n"] == cell["n"]) & (found["sessions"] == cell["sessions"])]
    stored = stored.set_index("quantity")["first_batch_hits"]
    assert {r["quantity"]: r["hits"] for r in rows} == stored.to_dict()
