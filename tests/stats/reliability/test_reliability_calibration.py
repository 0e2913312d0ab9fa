"""The committed calibration tables hold, and a slice of them comes out the same when run again."""

import numpy as np
import pandas as pd
import pytest
import reliability_calibration as main
import reliability_jumps_calibration as jumps
from harness import count, judge


def read(module):
    return pd.read_csv(module.TABLE, keep_default_na=False, na_values=[""], dtype={"jumps": str})


@pytest.mark.parametrize("module", [main, jumps])
def test_no_cell_fails_its_bar_and_every_cell_is_there(module):
    table = read(module)
    assert (table["verdict"] != "fail").all(), table[table["verdict"] == "fail"]
    keys = list(module.cells()[0])
    there = {tuple(map(str, row)) for row in table[keys].itertuples(index=False)}
    assert there == {tuple(str(c[k]) for k in keys) for c in module.cells()}
    total = table["studies"] + table["not_estimable"]
    assert (total >= 10_000).all()
    assert (
        total[table["quantity"].eq("session_f test") & table["verdict"].ne("shown")] >= 20_000
    ).all()
    assert (table.loc[table["verdict"] == "shown", "why"].str.len() > 10).all()


@pytest.mark.parametrize("module", [main, jumps])
def test_verdicts_follow_from_the_counts(module):
    table = read(module)
    table["hits"] = (table["proportion"] * table["studies"]).round()
    again = judge(table, bar=module.bar, shown=module.shown)
    assert (again["verdict"] == table["verdict"]).all()
    np.testing.assert_allclose(again["mc_low"], table["mc_low"], rtol=1e-4)
    np.testing.assert_allclose(again["bar_high"], table["bar_high"])


def test_published_interval_of_agreement_fails_under_a_shift_and_ours_does_not():
    table = read(main)
    part = table[(table["session_variance"] == 0.1) & (table["k"] == 2) & (table["missing"] == 0)]
    at = part[(part["sessions"] == "random") & (part["n"] == 40)].set_index("quantity")[
        "proportion"
    ]
    assert at["icc_a1 published"] < 0.80
    assert 0.94 < at["icc_a1 pivotal, sessions a sample"] < 0.97
    fixed = part[(part["sessions"] == "fixed") & (part["n"] == 40)].set_index("quantity")[
        "proportion"
    ]
    assert fixed["icc_a1 published"] > 0.99
    assert 0.94 < fixed["icc_a1 fiducial, these sessions"] < 0.97


SLICE = [
    (main, {"n": 8, "k": 3, "session_variance": 0.02, "missing": 0.15, "sessions": "random", "noise": "normal"}),
    (main, {"n": 12, "k": 2, "session_variance": 0.1, "missing": 0.0, "sessions": "fixed", "noise": "normal"}),
    (main, {"n": 20, "k": 2, "session_variance": 0.0, "missing": 0.0, "sessions": "random", "noise": "own"}),
    (jumps, {"n": 8, "k": 2, "day": 0.7, "jumps": "unequal"}),
]  # fmt: skip


@pytest.mark.parametrize(("module", "cell"), SLICE)
def test_a_slice_comes_out_the_same(module, cell):
    assert cell in module.cells()
    found = pd.DataFrame(
        count(cell, module.study, studies=module.BATCH, seed=module.SEED, batch=module.BATCH)
    )
    table = read(module)
    for key, value in cell.items():
        table = table[table[key] == value]
    both = found.merge(table, on="quantity", suffixes=("", "_table"), how="left")
    assert both["first_batch_hits_table"].notna().all()
    # One study may sit exactly on a limit and fall the other way on another machine.
    assert (both["first_batch_hits"] - both["first_batch_hits_table"]).abs().max() <= 2
    assert (both["first_batch_studies"] == both["first_batch_studies_table"]).all()


@pytest.mark.slow
def test_whole_table_again():
    counted = [
        row
        for cell in main.cells()
        for row in count(cell, main.study, studies=2500, seed=1, batch=2500)
    ]
    table = judge(pd.DataFrame(counted), bar=main.bar, shown=main.shown)
    assert (table["verdict"] != "fail").all()
