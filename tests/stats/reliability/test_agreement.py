"""Limits of agreement: exact factors against simulation and tables, awkward input."""

import numpy as np
import pytest
from scipy.special import ndtr

from cmjlab.errors import StatsError
from cmjlab.stats.reliability.agreement import (
    Z,
    limits_from_changing_truth,
    limits_from_replicates,
    limits_of_agreement,
    pair_factors,
    tolerance_factor,
)


@pytest.fixture(autouse=True)
def _numpy_raises():
    with np.errstate(all="raise", under="ignore"):
        yield


# Two-sided normal tolerance factors as tables of Odeh & Owen (1980) print them (from memory).
@pytest.mark.parametrize(
    ("n", "content", "confidence", "factor"),
    [
        (10, 0.95, 0.95, 3.393),
        (20, 0.90, 0.95, 2.319),
        (5, 0.95, 0.95, 5.077),
        (30, 0.99, 0.99, 3.733),
    ],
)
def test_tolerance_factors_of_the_tables(n, content, confidence, factor):
    assert tolerance_factor(n, content, confidence) == pytest.approx(factor, abs=0.02)


@pytest.mark.parametrize(("n", "confidence"), [(5, 0.025), (5, 0.975), (12, 0.025), (12, 0.975)])
def test_tolerance_factor_by_simulation(n, confidence):
    rng = np.random.default_rng(n)
    x = rng.normal(size=(100_000, n))
    mean, sd = x.mean(axis=1), x.std(axis=1, ddof=1)
    factor = tolerance_factor(n, 0.95, confidence)
    held = ndtr(mean + factor * sd) - ndtr(mean - factor * sd) >= 0.95
    assert held.mean() == pytest.approx(
        confidence, abs=4 * np.sqrt(confidence * (1 - confidence) / 1e5)
    )


def test_pair_is_wider_outside_and_narrower_inside_than_each_limit_alone():
    rng = np.random.default_rng(2)
    d = rng.normal(1, 2, size=15)
    alone, pair = limits_of_agreement(d), limits_of_agreement(d, pair=True)
    assert pair.upper == alone.upper
    assert pair.upper_high != alone.upper_high
    assert pair.upper_low > alone.upper_low
    inner, outer = pair_factors(np.array([15.0]), Z, 0.95)
    assert inner[0] < Z < outer[0]


def test_limits_are_the_typical_error_again():
    rng = np.random.default_rng(3)
    values = 40 + rng.normal(size=(9, 2))
    limits = limits_of_agreement(values[:, 1] - values[:, 0])
    residual = values - values.mean(axis=1, keepdims=True) - values.mean(axis=0) + values.mean()
    te = np.sqrt((residual**2).sum() / 8)
    assert limits.upper - limits.bias == pytest.approx(Z * np.sqrt(2) * te)


def test_many_metrics_at_once_with_gaps():
    rng = np.random.default_rng(4)
    d = rng.normal(size=(5, 12))
    d[2, :4] = np.nan
    d[3] = np.nan
    d[4, 1:] = np.nan
    many = limits_of_agreement(d)
    for i in (0, 2):
        single = limits_of_agreement(d[i][np.isfinite(d[i])])
        for name in ("n", "bias", "sd", "lower_low", "lower_high", "upper_low", "upper_high"):
            assert getattr(many, name)[i] == pytest.approx(float(getattr(single, name)))
    assert np.isnan(many.sd[3:]).all()
    assert np.isnan(many.upper_low[3:]).all()


def test_replicates_reduce_to_plain_limits():
    rng = np.random.default_rng(5)
    a, b = rng.normal(size=10), rng.normal(size=10)
    d = [np.array([x]) for x in a - b]
    with pytest.raises(StatsError, match="no athlete with two values"):
        limits_from_replicates([np.array([x]) for x in a], [np.array([x]) for x in b])
    with pytest.raises(StatsError, match="at least 2"):
        limits_from_replicates([a], [b])
    with pytest.raises(StatsError, match="two pairs"):
        limits_from_changing_truth(d)


def test_replicates_cover_the_limits_of_single_measurements():
    rng = np.random.default_rng(6)
    hits = 0
    truth = np.sqrt(2 * 0.5**2 + 1.0**2 + 2.0**2)
    for _ in range(400):
        gap = 0.5 * rng.normal(size=(12, 2, 1))
        first = gap[:, 0] + rng.normal(size=(12, 3))
        second = gap[:, 1] + 2 * rng.normal(size=(12, 3))
        limits = limits_from_replicates(list(first), list(second))
        hits += limits.upper_low <= Z * truth <= limits.upper_high
    assert 0.91 < hits / 400 <= 1
