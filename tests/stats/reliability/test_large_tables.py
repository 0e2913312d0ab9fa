"""Tables too large to be computed with at once: the same numbers a few metrics at a time."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pandas.testing as pdt
import pytest

import cmjlab as cj
from cmjlab.stats.reliability import data as reliability_data

METRICS = ["jump_height_m", "contact_balance", "time_to_takeoff_s", "body_mass_kg", "own_score"]
#: Found by steps that end when all metrics of a block have come to rest.
BY_STEPS = ("noise_with_level", "detectable_change_low", "detectable_change_high")


def awkward(n=40, k=3):
    """Return metrics with gaps, a copied session, one value, values below zero, an odd athlete."""
    random = np.random.default_rng(12)
    ids = [f"A{i:02d}" for i in range(n)]
    values = 40 + 4 * random.normal(size=(5, n, 1)) + random.normal(size=(5, n, k))
    values[0][random.random((n, k)) < 0.1] = np.nan
    values[1] = 3.0
    values[2, :, 1] = values[2, :, 0]
    values[3, 7, 2] = 90.0
    values[4] -= 45
    table = pd.DataFrame(
        {"athlete": np.repeat(ids, k), "session": np.tile([f"s{j}" for j in range(k)], n)}
    )
    table["sex"] = np.repeat(random.choice(["female", "male"], n), k)
    return table.assign(**{m: v.ravel() for m, v in zip(METRICS, values, strict=True)})


@pytest.mark.parametrize("by", [None, "sex"])
def test_metrics_in_blocks_give_the_numbers_of_all_at_once(monkeypatch, by):
    table = awkward()
    expected = cj.reliability(table, by=by)
    monkeypatch.setattr(reliability_data, "_VALUES_OF_BLOCK", 2 * 40 * 3)
    found = cj.reliability(table, by=by)
    pdt.assert_frame_equal(found.table, expected.table, rtol=1e-7)
    steps = expected.table["statistic"].isin(BY_STEPS)
    pdt.assert_frame_equal(found.table[~steps], expected.table[~steps], rtol=1e-11)
    assert [(n.code, str(n)) for n in found.notes] == [(n.code, str(n)) for n in expected.notes]
    assert [str(s) for s in found.sentences] == [str(s) for s in expected.sentences]
    assert {"identical_sessions", "one_athlete_noise", "not_estimable", "missing_value"} <= {
        n.code for n in expected.notes
    }


def test_blocks_hold_every_metric_once(monkeypatch):
    cube = reliability_data.cube(awkward(), METRICS, ["s0", "s1", "s2"])
    assert list(reliability_data.blocks(cube)) == [cube]
    monkeypatch.setattr(reliability_data, "_VALUES_OF_BLOCK", 2 * 40 * 3)
    parts = list(reliability_data.blocks(cube))
    assert [p.metrics for p in parts] == [tuple(METRICS[:2]), tuple(METRICS[2:4]), (METRICS[4],)]
    np.testing.assert_array_equal(np.concatenate([p.values for p in parts]), cube.values)
