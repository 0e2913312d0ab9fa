"""Shares of a variance: against closed forms of order statistics, and their coverage."""

from __future__ import annotations

import numpy as np
import pytest
from scipy import stats

from cmjlab.scrutiny.lab.noise_share import (
    MeanSquare,
    kept_of_a_jump,
    pooled_within,
    share_of,
    summary_variance,
)
from cmjlab.stats.common.intervals import mls_limits


# Variances of normal order statistics: max of 2 is 1 - 1/π; of 3 is 0.5595, median of 3 0.4487
# (David & Nagaraja 2003, Order Statistics, tables, from memory).
@pytest.mark.parametrize(
    ("how", "jumps", "best_n", "expected"),
    [
        ("mean", 3, 1, 1 / 3),
        ("best", 2, 1, 1 - 1 / np.pi),
        ("best", 3, 1, 0.5595),
        ("median", 3, 1, 0.4487),
        ("median", 2, 1, 0.5),
        ("best_n_mean", 3, 3, 1 / 3),
        ("best", 1, 1, 1.0),
    ],
)
def test_summaries_keep_what_order_statistics_say(how, jumps, best_n, expected):
    assert summary_variance(how, jumps, best_n) == pytest.approx(expected, rel=0.01)


def test_sessions_with_other_numbers_of_jumps_count_by_their_own():
    counts = np.array([3.0, 3.0, 2.0, 0.0, 1.0])
    assert kept_of_a_jump("mean", counts, 2, ranks=True) == pytest.approx((2 / 3 + 0.5 + 1) / 4)
    assert kept_of_a_jump("best", np.array([3.0]), 2, ranks=False) == 1.0
    assert kept_of_a_jump("best_n_mean", np.array([3.0]), 2, ranks=False) == 0.5
    assert np.isnan(kept_of_a_jump("mean", np.array([0.0]), 2, ranks=True))


def test_groups_that_differ_in_noise_have_fewer_degrees_of_freedom():
    rng = np.random.default_rng(1)
    same = [rng.normal(0, 1, 12) for _ in range(30)]
    odd = [rng.normal(0, 1 if i else 20, 12) for i in range(30)]
    pooled = pooled_within(same)
    assert pooled.variance == pytest.approx(np.mean([v.var(ddof=1) for v in same]))
    assert 100 < pooled.df <= 330
    assert pooled_within(odd).df < 5
    assert np.isnan(pooled_within([np.array([1.0])]).variance)


def test_the_share_has_the_limits_of_the_f_distribution():
    share, low, high = share_of(MeanSquare(2.0, 30.0), MeanSquare(10.0, 12.0), 0.5, 0.95)
    assert share == pytest.approx(0.1)
    assert low == pytest.approx(0.1 / stats.f.ppf(0.975, 30, 12))
    assert high == pytest.approx(0.1 / stats.f.ppf(0.025, 30, 12))


@pytest.mark.parametrize("instrument", [0.3, 1.0])
def test_share_and_rest_cover_the_truth_in_simulated_labs(instrument):
    """20 athletes, two sessions of three jumps; instrument known from 300 simulated recordings."""
    rng = np.random.default_rng(7)
    labs, n, m, day, jump = 3000, 20, 3, 1.0, 1.2
    mean_of = rng.normal(0, (jump**2 + instrument**2) ** 0.5, (labs, n, 2, m)).mean(axis=3)
    values = rng.normal(0, 5, (labs, n, 1)) + day * rng.standard_normal((labs, n, 2)) + mean_of
    error2 = np.diff(values, axis=2)[..., 0].var(axis=1, ddof=1) / 2
    shown2 = instrument**2 * rng.chisquare(300, labs) / 300
    true_rest = day**2 + jump**2 / m
    true_share = instrument**2 / m / (true_rest + instrument**2 / m)
    inside = rest = 0
    for e2, s2 in zip(error2, shown2, strict=True):
        _, low, high = share_of(MeanSquare(s2, 300.0), MeanSquare(e2, n - 1.0), 1 / m, 0.95)
        inside += low <= true_share <= high
    low, high = mls_limits(
        [1.0, -1 / m], [error2, shown2], [np.full(labs, n - 1.0), np.full(labs, 300.0)], 0.95
    )
    rest = np.mean((low <= true_rest) & (true_rest <= high))
    assert inside / labs == pytest.approx(0.95, abs=0.012)
    assert rest == pytest.approx(0.95, abs=0.012)
