"""The committed calibration of the doubts: its bars, and a slice of it made again."""

from __future__ import annotations

import pandas as pd
import pytest
import session_doubts as doubts

#: Largest share of clean squads that may be stopped, and smallest share of faults to be found.
MOST_FALSE = {"usual": 0.01, "hard": 0.03}
LEAST_FOUND = {"usual": 0.80, "hard": 0.80}
#: Shown, not judged, because a sure answer is not in the data: sides that repeat poorly or few
#: athletes cannot show an exchange, and few athletes whose masses truly move cannot show 3 %.
NOT_JUDGED = {
    *(("sides exchanged", kind, n) for kind in doubts.KINDS for n in doubts.SIZES),
    *(("masses 3 % off", "hard", n) for n in doubts.SIZES),
    ("masses 3 % off", "usual", 6),
} - {("sides exchanged", "usual", 30)}


@pytest.fixture(scope="module")
def table() -> pd.DataFrame:
    return pd.read_csv(doubts.TABLE)


def test_every_situation_is_in_the_table(table):
    found = list(table[["fault", "squad", "athletes"]].itertuples(index=False, name=None))
    assert found == [(f or "none", k, n) for f, k, n in doubts.cells()]


def test_clean_squads_are_hardly_ever_stopped(table):
    clean = table[table["fault"] == "none"]
    assert (clean["stopped"] <= clean["squad"].map(MOST_FALSE)).all(), clean.to_string()


def test_faults_are_found(table):
    faults = table[table["fault"] != "none"]
    cells = faults[["fault", "squad", "athletes"]].itertuples(index=False, name=None)
    judged = [cell not in NOT_JUDGED for cell in cells]
    judged_rows = faults[judged]
    missed = judged_rows[judged_rows["stopped"] < judged_rows["squad"].map(LEAST_FOUND)]
    assert missed.empty, missed.to_string()


@pytest.mark.parametrize(
    ("fault", "kind", "n"), [("one recording twice", "hard", 6), ("", "usual", 12)]
)
def test_a_slice_comes_out_again(fault, kind, n, table):
    row = table[
        (table["fault"] == (fault or "none")) & (table["squad"] == kind) & (table["athletes"] == n)
    ].iloc[0]
    squads = doubts.FAULTY if fault else doubts.CLEAN
    assert row["squads"] == squads
    few = doubts.rate(fault, kind, n, 12)
    assert abs(few - row["stopped"]) < 0.1
