"""A straight line is not called a step; how often a real one is found stands in the table."""

from __future__ import annotations

import pandas as pd
import pytest
from harness import count, judge
from threshold import BAR, BATCH, CELLS, PATH, SEED, STUDIES, study, why_shown

KEYS = ["n", "cut", "step"]


@pytest.fixture(scope="module")
def found():
    return pd.read_csv(PATH)


def shares(found, quantity, **where):
    rows = found[found["quantity"] == quantity]
    for column, value in where.items():
        rows = rows[rows[column] == value]
    assert len(rows)
    return rows.set_index("n")["proportion"]


def test_a_pure_line_is_rarely_called_a_step(found):
    """r = .6: at most 6 %; judging the difference across the cut would say it in 82 % at n = 30."""
    assert (shares(found, "supported", step=0.0) <= 0.06).all()
    alone = shares(found, "difference alone", step=0.0, cut=0.0)
    assert alone[30] == pytest.approx(0.82, abs=0.02)


def test_a_real_step_is_found_more_often_by_more_athletes(found):
    for step in (0.5, 1.0, 1.5):
        power = shares(found, "supported", step=step)
        assert power.is_monotonic_increasing
        assert power[60] > 3 * 0.06
    assert shares(found, "supported", step=1.5)[60] > 0.9


def test_verdicts_follow_from_the_counts(found):
    table = found.assign(hits=(found["proportion"] * found["studies"]).round())
    columns = [*KEYS, "quantity", "studies", "not_estimable", "hits", "first_batch_studies"]
    again = judge(table[[*columns, "first_batch_hits"]], bar=BAR, shown=why_shown)
    assert again["verdict"].tolist() == table["verdict"].tolist()
    assert not (table["verdict"] == "fail").any()
    assert (table["studies"] + table["not_estimable"] == STUDIES).all()
    assert len(table[KEYS].drop_duplicates()) == len(CELLS)


@pytest.mark.parametrize("number", [2, 9])
def test_first_batch_repeats(found, number):
    cell = CELLS[number]
    rows = count(cell, study, studies=BATCH, seed=SEED, batch=BATCH)
    stored = found
    for column, value in cell.items():
        stored = stored[stored[column] == value]
    stored = stored.set_index("quantity")["first_batch_hits"]
    assert {r["quantity"]: r["hits"] for r in rows} == stored.to_dict()
