"""The calibration tables of changes: every judged row passes, and a slice is run again."""

from __future__ import annotations

import change_calibration as general
import change_demo_calibration as demo
import change_selected_calibration as selected
import numpy as np
import pandas as pd
import pytest
from harness import stream

COVERAGE = pd.read_csv(general.TABLE, keep_default_na=True)
SELECTED = pd.read_csv(selected.TABLE)
BIAS = pd.read_csv(selected.BIAS)
DEMO = pd.read_csv(demo.TABLE)


@pytest.mark.parametrize(
    "table", [COVERAGE, SELECTED, BIAS, DEMO], ids=["general", "selected", "bias", "demo"]
)
def test_no_judged_row_fails(table: pd.DataFrame) -> None:
    assert set(table["verdict"]) == {"pass", "shown"}
    shown = table["verdict"] == "shown"
    assert table.loc[shown, "why"].notna().all()
    assert table.loc[~shown, "why"].isna().all()


def test_enough_studies_in_every_cell() -> None:
    whole = COVERAGE["studies"] + COVERAGE["not_estimable"]
    assert (whole == general.STUDIES).all()
    assert general.STUDIES >= 20_000
    assert (SELECTED["studies"] + SELECTED["not_estimable"] == selected.STUDIES).all()
    assert selected.STUDIES >= 10_000


def test_verdicts_follow_from_the_numbers() -> None:
    for table in (COVERAGE, SELECTED, DEMO):
        judged = table[table["verdict"] != "shown"]
        inside = (judged["mc_high"] >= judged["bar_low"]) & (judged["mc_low"] <= judged["bar_high"])
        assert ((judged["verdict"] == "pass") == inside).all()


def _again(module: object, cell: dict[str, object], rows: pd.DataFrame, batch: int) -> None:
    study = module.study if hasattr(module, "study") else module.Recorder()  # type: ignore[attr-defined]
    found = study(stream(module.SEED, cell, 0), cell, batch)  # type: ignore[attr-defined]
    for _, row in rows.iterrows():
        hit = np.asarray(found[row["quantity"]], float)
        assert int(np.isfinite(hit).sum()) == row["first_batch_studies"], row["quantity"]
        # a study that sits on a limit to the last digit may fall on either side on other machines
        assert abs(int(np.nansum(hit)) - row["first_batch_hits"]) <= 1, row["quantity"]


@pytest.mark.parametrize("number", [3, 25, 34, 45])
def test_a_slice_of_the_general_table_comes_out_again(number: int) -> None:
    cell = general.cells()[number]
    rows = COVERAGE
    for key, value in cell.items():
        rows = rows[rows[key] == value]
    assert len(rows)
    _again(general, cell, rows, general.BATCH)


@pytest.mark.parametrize("number", [0, 6])
def test_a_slice_of_the_selected_table_comes_out_again(number: int) -> None:
    cell = selected.cells()[number]
    rows = SELECTED
    for key, value in cell.items():
        rows = rows[rows[key] == value]
    assert len(rows)
    _again(selected, cell, rows, selected.BATCH)


def test_wrong_ways_are_shown_to_be_wrong() -> None:
    still = SELECTED[(SELECTED["world"] == "still") & (SELECTED["outcome"] == "same")]
    wrong = still[still["quantity"] == "ANCOVA on base2 alone, group - rest"]
    assert (wrong["proportion"] < 0.90).all()
    naive = still[(still["quantity"] == "change from base1, group - rest") & (still["n"] >= 20)]
    assert (naive["proportion"] < 0.90).all()
    bias = BIAS[BIAS["quantity"].str.startswith("ANCOVA on base2") & (BIAS["outcome"] == "same")]
    assert (bias.loc[bias["world"] == "still", "bias"] > 0.3).all()


def test_normal_quantiles_fail_by_this_much() -> None:
    normal = COVERAGE[COVERAGE["quantity"] == "individual_change with 1.96"]
    by_n = normal[normal["noise"] == "equal"].set_index("n_group")["proportion"]
    # computed from Student's t: P(|T| < 1.96), n - 1 df
    from scipy.stats import t

    for n, proportion in by_n.items():
        expected = 1 - 2 * t.sf(1.959964, int(str(n)) - 1)
        assert proportion == pytest.approx(expected, abs=0.006)
    picked = COVERAGE[COVERAGE["quantity"] == "individual_change t, largest of n"]
    assert (picked["proportion"] < 0.85).all()


def test_classical_ancova_misses_under_unequal_spread_and_size() -> None:
    rows = COVERAGE[
        (COVERAGE["response"] == 1)
        & (COVERAGE["missing"] == 0)
        & (COVERAGE["n_group"] < COVERAGE["n_control"])
    ]
    by_quantity = rows.groupby("quantity")["proportion"].min()
    assert by_quantity["adjusted_difference classical"] < 0.94
    assert by_quantity["adjusted_difference HC2, Bell-McCaffrey"] > 0.94


def test_regenerated_demo_studies_hold_the_truth() -> None:
    assert demo.STUDIES >= 200
    judged = DEMO[DEMO["verdict"] != "shown"]
    share = judged["proportion"] * judged["studies"]
    for quantity, part in share.groupby(judged["quantity"]):
        mean = part.sum() / judged.loc[part.index, "studies"].sum()
        assert 0.94 <= mean <= 0.96, quantity


@pytest.mark.slow
def test_one_demo_study_comes_out_again() -> None:
    hits = demo.one_study([demo.SEED, 0], demo.population_truth())
    assert len(hits) == 4 * (3 + 2 + 30 + 20)
