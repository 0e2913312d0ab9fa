"""The committed calibration tables of contrasts and mixed models, and that they repeat."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest
from harness import REJECTION_BAR, calibrate, count, judge
from mixed_cells import (
    BATCH,
    CELLS,
    GENERAL_CELLS,
    HERE,
    SEED,
    STUDIES,
    TABLES,
    study,
    study_general,
    why_shown,
)

INTERCEPT = "mixed_random_intercept.csv"
GENERAL = "mixed_general.csv"
KEYS = ["data", "n", "n_control", "sessions", "missing", "icc", "response_sd"]


@pytest.fixture(scope="module")
def intercept():
    return pd.read_csv(HERE / INTERCEPT)


@pytest.fixture(scope="module")
def general():
    return pd.read_csv(HERE / GENERAL)


def part(table, **where):
    for column, value in where.items():
        table = table[table[column] == value]
    assert len(table)
    return table


def test_all_cells_are_there_with_enough_studies(intercept, general):
    for table, cells in ((intercept, CELLS), (general, GENERAL_CELLS)):
        assert len(table[KEYS].drop_duplicates()) == len(cells)
    assert (intercept["studies"] + intercept["not_estimable"] == STUDIES).all()
    assert STUDIES >= 20_000


def test_verdicts_follow_from_the_counts(intercept):
    """The verdict column is recomputed from proportions, so that it cannot be edited in."""
    table = intercept.copy()
    table["hits"] = (table["proportion"] * table["studies"]).round()
    again = judge(
        table[[*KEYS, "quantity", "studies", "not_estimable", "hits", "first_batch_studies", "first_batch_hits"]],
        bar=REJECTION_BAR,
        shown=why_shown,
    )  # fmt: skip
    assert again["verdict"].tolist() == table["verdict"].tolist()


def test_no_judged_row_fails(intercept):
    failed = intercept[intercept["verdict"] == "fail"]
    assert failed.empty, failed.to_string()
    judged = intercept[intercept["verdict"] == "pass"]
    assert set(judged["quantity"]) >= {
        "contrast, pooled t",
        "contrast, HC2",
        "random intercept, Kenward–Roger",
        "random intercept, Satterthwaite",
    }


def test_normal_quantiles_fail_and_by_how_much(intercept):
    """What programs without small-sample df give: 8–10 % instead of 5 % with 6 athletes a group."""
    rows = part(intercept, data="compound symmetry", quantity="random intercept, z", sessions=2)
    six = part(rows, n=6, icc=0.85)["proportion"]
    assert six.between(0.07, 0.11).all()
    assert (rows["proportion"] > REJECTION_BAR[1]).all()


def test_random_intercept_fails_on_weekly_and_drifting_data(intercept):
    for data in ("AR state", "slopes"):
        rows = part(intercept, data=data, quantity="random intercept, Kenward–Roger")
        assert (rows["proportion"] > 0.08).all()
        contrast = part(intercept, data=data, quantity="contrast, pooled t")
        assert (contrast["verdict"] == "pass").all()


def test_models_of_the_slope_stay_near_their_level(general):
    """Shown, not judged: 2,000 studies a cell; within 3.5–8 % everywhere."""
    rows = general[general["quantity"].str.startswith(("random slope", "unstructured"))]
    assert rows["proportion"].between(0.035, 0.08).all()


@pytest.mark.parametrize("number", [0, 5, 13, 20])
def test_first_batch_repeats(intercept, number):
    cell = CELLS[number]
    rows = count(cell, study, studies=BATCH, seed=SEED, batch=BATCH)
    stored = part(intercept, **cell).set_index("quantity")["first_batch_hits"]
    assert {r["quantity"]: r["hits"] for r in rows} == stored.to_dict()


@pytest.mark.slow
@pytest.mark.parametrize("number", range(len(TABLES)))
def test_whole_table_repeats(number):
    name, cells, function, studies = TABLES[number]
    table = calibrate(
        cells, function, studies=studies, seed=SEED, bar=REJECTION_BAR, shown=why_shown, batch=BATCH
    )
    stored = pd.read_csv(HERE / name)
    np.testing.assert_allclose(table["proportion"], stored["proportion"], atol=1e-6)


def test_first_batch_of_the_general_table_repeats(general):
    cell = GENERAL_CELLS[0]
    rows = count(cell, study_general, studies=BATCH, seed=SEED, batch=BATCH)
    stored = part(general, **cell).set_index("quantity")["first_batch_hits"]
    assert {r["quantity"]: r["hits"] for r in rows} == stored.to_dict()


def test_cutting_a_variance_at_zero_is_what_breaks_the_test(intercept):
    """Athletes who do not differ (ICC 0): 5.1 % with the covariance left free, 6.6 % cut at 0."""
    rows = part(intercept, data="compound symmetry", icc=0.0, sessions=2, missing=0.0)
    rows = rows.set_index("quantity")["proportion"]
    assert rows["random intercept, Kenward–Roger"] == pytest.approx(0.05, abs=0.005)
    assert rows["random intercept cut at 0, Kenward–Roger"] > 0.06


def test_pooled_t_and_model_fail_with_unequal_spread_and_size_and_hc2_does_not(intercept):
    """Responses differ only among the 6 (8) trained, 12 (20) controls: 6.8 (7.3) % against 5.3."""
    for n, control in ((6, 12), (8, 20)):
        rows = part(intercept, data="unequal spread", n=n, n_control=control)
        rows = rows.set_index("quantity")
        assert (rows.loc["contrast, pooled t", "proportion"]) > 0.06
        assert (rows.loc["random intercept, Kenward–Roger", "proportion"]) > 0.06
        assert rows.loc["contrast, HC2", "verdict"] == "pass"
