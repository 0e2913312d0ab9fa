"""Charts over many weeks: run lengths as published, limits as other programs and closed forms."""

from __future__ import annotations

import math

import numpy as np
import pytest
from scipy import special, stats

from cmjlab.stats.season.limits import (
    mean_factor,
    mean_false,
    mean_sd,
    mean_stays,
    running_sums,
    sum_false,
    sum_limit,
    sum_stays,
    weighted_means,
)
from cmjlab.stats.season.run_lengths import (
    both_sums_run_length,
    mean_run_length,
    sum_run_length,
)

# ---- run lengths, level and noise known --------------------------------------------------------

#: Weighted mean: weight, factor, shift, average run length. Lucas & Saccucci 1990, Technometrics
#: 32:1, table 3, as many textbooks print it. From memory.
LUCAS_SACCUCCI = [
    (0.40, 3.054, 0.0, 500), (0.25, 2.998, 0.0, 500), (0.20, 2.962, 0.0, 500), (0.10, 2.814, 0.0, 500),
    (0.05, 2.615, 0.0, 500), (0.40, 3.054, 0.5, 71.2), (0.25, 2.998, 0.5, 48.2), (0.20, 2.962, 0.5, 41.8),
    (0.10, 2.814, 0.5, 31.3), (0.05, 2.615, 0.5, 28.8), (0.40, 3.054, 1.0, 14.3), (0.25, 2.998, 1.0, 11.1),
    (0.20, 2.962, 1.0, 10.5), (0.10, 2.814, 1.0, 10.3), (0.05, 2.615, 1.0, 11.4), (0.40, 3.054, 2.0, 3.5),
    (0.25, 2.998, 2.0, 3.6), (0.20, 2.962, 2.0, 3.7), (0.10, 2.814, 2.0, 4.4), (0.05, 2.615, 2.0, 5.2),
]  # fmt: skip

#: Both sums: slack 0.5, limit, shift, average run length. Lucas 1976, J Qual Technol 8:1, as many
#: textbooks print it. From memory.
LUCAS = [
    (4, 0.0, 168), (4, 0.25, 74.2), (4, 0.5, 26.6), (4, 0.75, 13.3), (4, 1.0, 8.38), (4, 1.5, 4.75),
    (4, 2.0, 3.34), (4, 3.0, 2.19), (5, 0.0, 465), (5, 0.25, 139), (5, 0.5, 38.0), (5, 0.75, 17.0),
    (5, 1.0, 10.4), (5, 1.5, 5.75), (5, 2.0, 4.01), (5, 3.0, 2.57),
]  # fmt: skip

#: Both sums: slack and limit for an average run length of 370 without a shift. Hawkins 1993, J Qual
#: Technol 25:248. From memory.
HAWKINS = [(0.25, 8.01), (0.5, 4.77), (0.75, 3.34), (1.0, 2.52), (1.25, 1.99), (1.5, 1.61)]


@pytest.mark.parametrize(("weight", "factor", "shift", "length"), LUCAS_SACCUCCI)
def test_run_length_of_the_weighted_mean(weight, factor, shift, length):
    bar = 0.1 if length < 100 else 0.003 * length
    assert mean_run_length(weight, factor, shift) == pytest.approx(length, abs=bar)


@pytest.mark.parametrize(("limit", "shift", "length"), LUCAS)
def test_run_length_of_both_sums(limit, shift, length):
    assert both_sums_run_length(0.5, limit, shift) == pytest.approx(length, rel=0.004)


@pytest.mark.parametrize(("slack", "limit"), HAWKINS)
def test_slack_and_limit_for_370_weeks(slack, limit):
    # The limits are printed with two decimals: the run length moves by up to 1.5 %.
    assert both_sums_run_length(slack, limit) == pytest.approx(370, rel=0.02)


def test_run_length_of_single_weeks_is_one_over_their_chance():
    assert mean_run_length(1.0, 3.0) == pytest.approx(1 / (2 * special.ndtr(-3.0)), rel=1e-9)


def test_chances_over_many_weeks_add_up_to_the_run_length():
    """The recursion of a season and the integral equation agree: Σ P(still within) = mean length."""
    limits = np.full(3000, 2.0 * math.sqrt(0.25 / 1.75))
    shift = np.array([0.8])
    stays = [1.0]
    for looks in range(1, 120):
        stays.append(float(mean_stays(0.25, limits[:looks], shift)[0]))
    assert sum(stays) == pytest.approx(mean_run_length(0.25, 2.0, 0.8), rel=1e-4)
    one = np.ones(1)
    stays = [1.0, *(float(sum_stays(0.5 * one, 3.0 * one, n, one)[0]) for n in range(1, 120))]
    assert sum(stays) == pytest.approx(sum_run_length(0.5, 3.0, 1.0), rel=1e-6)


# ---- limits with level and noise estimated -----------------------------------------------------


def test_one_look_is_student_t():
    for df in (5.0, 28.0):
        assert mean_factor(0.02, 0.3, 1, 2.0, df) == pytest.approx(
            special.stdtrit(df, 0.99), rel=1e-4
        )


#: Weight 1 and one stable week: every week against the same one, as many treatments against one
#: control. Dunnett 1964, Biometrics 20:482, two-sided 5 %: comparisons, df, value. From memory.
DUNNETT = [(2, 20, 2.38), (3, 20, 2.54), (5, 20, 2.73), (5, 10, 2.99), (3, 10, 2.76)]


@pytest.mark.parametrize(("looks", "df", "value"), DUNNETT)
def test_weeks_against_one_stable_week_are_dunnetts_comparisons(looks, df, value):
    assert mean_factor(0.05, 1.0, looks, 1.0, float(df)) == pytest.approx(value, abs=0.006)


@pytest.mark.parametrize(
    ("weight", "looks", "stable"), [(0.3, 4, 2.0), (0.5, 3, 3.0), (1.0, 5, 2.0)]
)
def test_limits_hold_by_the_multivariate_t_of_scipy(weight, looks, stable):
    """Another program's probability of the same event, from the covariance written out."""
    df, factor = 20.0, mean_factor(0.05, weight, looks, stable, 20.0)
    make = np.array(
        [
            [weight * (1 - weight) ** (t - j) if j <= t else 0.0 for j in range(looks)]
            for t in range(looks)
        ]
    )
    left = make.sum(axis=1)
    covariance = make @ make.T + np.outer(left, left) / stable
    sd = np.sqrt(np.diag(covariance))
    assert mean_sd(weight, looks, stable) == pytest.approx(sd, rel=1e-12)
    inside = stats.multivariate_t(shape=covariance, df=df, seed=1).cdf(
        factor * sd, lower_limit=-factor * sd, maxpts=400_000
    )
    assert 1 - inside == pytest.approx(0.05, abs=2e-4)


def test_limits_of_the_sums_hold_by_simulation():
    """Twenty thousand unchanged athletes, twelve weeks, two stable weeks, 28 degrees of freedom."""
    random = np.random.default_rng(20_261_126)
    n, looks, df = 20_000, 12, 28
    limit = sum_limit(0.05, 1.0, looks, 2.0, float(df))
    level = random.standard_normal(n) / math.sqrt(2.0)
    noise = np.sqrt(random.chisquare(df, n) / df)
    w = (random.standard_normal((n, looks)) - level[:, None]) / noise[:, None]
    signals = np.maximum(*running_sums(w, 1.0)).max(axis=1) > limit
    # four standard errors of a share of 5 % in 20 000 are 0.6 points
    assert np.mean(signals) == pytest.approx(0.05, abs=0.006)


def test_more_looks_and_less_knowledge_widen_the_limits():
    base = mean_factor(0.05, 0.3, 10, 2.0, 28.0)
    assert mean_factor(0.05, 0.3, 30, 2.0, 28.0) > base
    assert mean_factor(0.05, 0.3, 10, 2.0, 8.0) > base
    known = mean_factor(0.05, 0.3, 10, math.inf, math.inf) * mean_sd(0.3, 10, math.inf)
    assert (known < base * mean_sd(0.3, 10, 2.0)).all()
    assert mean_false(base, 0.3, 10, 2.0, 28.0) == pytest.approx(0.05, abs=1e-4)
    low = sum_limit(0.05, 1.0, 10, 6.0, 28.0)
    assert sum_limit(0.05, 1.0, 10, 2.0, 28.0) > low
    assert sum_false(low, 1.0, 10, 6.0, 28.0) == pytest.approx(0.05, abs=1e-4)


# ---- the charts themselves, by hand ---------------------------------------------------------


def test_weighted_mean_and_sums_by_hand():
    values = np.array([2.0, 0.0, -4.0])
    assert weighted_means(values, 0.5) == pytest.approx([1.0, 0.5, -1.75])
    above, below = running_sums(values, 0.5)
    assert above == pytest.approx([1.5, 1.0, 0.0])
    assert below == pytest.approx([0.0, 0.0, 3.5])
