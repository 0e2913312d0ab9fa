"""A squad whose draws do not fit into memory: the same percentiles a slice of draws at a time."""

from __future__ import annotations

import numpy as np
import pandas.testing as pdt
import pytest

import cmjlab as cj
from cmjlab.stats.subgroups import draws
from cmjlab.stats.subgroups.draws import Noise, squad_draws, squad_draws_in_slices
from cmjlab.stats.subgroups.standing import percentiles
from cmjlab.stats.subgroups.tails import Tails


@pytest.mark.parametrize("metrics", [1, 3])
def test_slices_are_the_draws_of_one_go(monkeypatch, metrics):
    random = np.random.default_rng(2)
    values = random.normal(10.0, 2.0, (15, metrics))
    noise = Noise(np.full(metrics, 0.6), np.full(metrics, 20.0), np.eye(metrics))
    whole, _ = squad_draws(values, noise, np.random.default_rng(4), 100)
    monkeypatch.setattr(draws, "_VALUES_AT_ONCE", 10)
    monkeypatch.setattr(draws, "_VALUES_OF_SLICE", 15 * metrics * 30)
    slices = list(squad_draws_in_slices(values, noise, np.random.default_rng(4), 100))
    assert [len(s) for s in slices] == [30, 30, 30, 10]
    np.testing.assert_array_equal(np.concatenate(slices), whole)


def test_a_squad_in_slices_has_the_places_of_one_go(monkeypatch):
    table = cj.simulate_sessions(seed=3).sessions
    for level in (0.95, 0.6):
        expected = cj.squad_places(table, level=level)
        with monkeypatch.context() as patch:
            patch.setattr(draws, "_VALUES_AT_ONCE", 10)
            patch.setattr(draws, "_VALUES_OF_SLICE", 2000)
            found = cj.squad_places(table, level=level)
        pdt.assert_frame_equal(found.table, expected.table, rtol=1e-12)
        pdt.assert_frame_equal(found.points["squad"], expected.points["squad"], rtol=1e-12)


@pytest.mark.parametrize("tail", [0.0, 0.025, 0.1, 0.49])
@pytest.mark.parametrize("step", [7, 1000])
def test_tails_are_the_quantiles_of_all(tail, step):
    ranks = np.random.default_rng(5).integers(0, 900, (1000, 6)).astype(np.int32)
    tails = Tails(6, tail, len(ranks))
    for start in range(0, len(ranks), step):
        tails.add(ranks[start : start + step])
    expected = np.quantile(ranks, [tail, 1 - tail], axis=0)
    np.testing.assert_allclose(tails.quantiles(), expected, rtol=1e-12)


def test_percentiles_count_those_below_and_share_ties():
    """100 (mean rank - 0.5) / n by hand: of 1, 2, 2, 5 the ranks are 1, 2.5, 2.5, 4."""
    found = percentiles(np.array([2.0, 5.0, np.nan, 1.0, 2.0]))
    np.testing.assert_array_equal(found, [50.0, 87.5, np.nan, 12.5, 50.0])
    assert np.isnan(percentiles(np.array([np.nan]))).all()
