"""What the check for unequal noise can see is said, and the numbers are those of the table."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest
from harness import count, judge
from noise_check import BAR, BATCH, CELLS, PATH, SEED, STUDIES, study, why_shown
from reliability_kit import squad, table

from cmjlab.stats.reliability.noise_check import SEEN, seen
from cmjlab.stats.reliability.reliability import reliability

KEYS = ["noise", "n", "sessions"]
SOUNDS = {"uneven_noise", "one_athlete_noise"}


@pytest.fixture(scope="module")
def found():
    return pd.read_csv(PATH)


def test_the_shares_that_are_said_are_those_of_the_table(found):
    either = found[found["quantity"] == "either"].set_index(KEYS)["proportion"]
    for sessions, sizes in SEEN.items():
        for n, shares in sizes.items():
            for noise, share in zip(("0.2 to 3", "0.5 to 2"), shares, strict=True):
                assert share == pytest.approx(either[noise, n, sessions], abs=0.0061)


def test_false_alarms_stay_rare(found):
    equal = found[(found["noise"] == "equal") & (found["quantity"] == "either")]
    assert (equal["proportion"] < 0.135).all()
    assert (equal.loc[equal["n"] >= 12, "proportion"] < 0.08).all()


def test_verdicts_follow_from_the_counts(found):
    counted = found.assign(hits=(found["proportion"] * found["studies"]).round())
    columns = [*KEYS, "quantity", "studies", "not_estimable", "hits", "first_batch_studies"]
    again = judge(counted[[*columns, "first_batch_hits"]], bar=BAR, shown=why_shown)
    assert again["verdict"].tolist() == found["verdict"].tolist()
    assert not (found["verdict"] == "fail").any()
    assert (found["studies"] == STUDIES).all()
    assert len(found[KEYS].drop_duplicates()) == len(CELLS)


@pytest.mark.parametrize("number", [1, 18])
def test_first_batch_repeats(found, number):
    cell = CELLS[number]
    rows = count(cell, study, studies=BATCH, seed=SEED, batch=BATCH)
    stored = found
    for column, value in cell.items():
        stored = stored[stored[column] == value]
    stored = stored.set_index("quantity")["first_batch_hits"]
    assert {r["quantity"]: r["hits"] for r in rows} == stored.to_dict()


def test_silence_is_said_to_be_weak_evidence():
    result = reliability(table(squad(n=10, seed=1)))
    assert not SOUNDS & {n.code for n in result.notes}
    text = next(n.text for n in result.notes if n.code == "noise_check_silent")
    assert "With 10 athletes and 2 sessions that is weak evidence" in text
    assert "noticed in 40 % of squads" in text


def test_an_alarm_is_not_called_silence_and_tiny_squads_are_not_judged():
    values = squad(n=12, seed=2)
    values[3] += [25.0, -25.0]
    codes = {n.code for n in reliability(table(values)).notes}
    assert SOUNDS & codes
    assert "noise_check_silent" not in codes
    few = {n.code for n in reliability(table(squad(n=5))).notes}
    assert "noise_check_silent" not in few
    assert seen(5, 2) is None
    assert seen(25, 7) == SEEN[3][20]
    assert np.isfinite(seen(1000, 2)).all()
