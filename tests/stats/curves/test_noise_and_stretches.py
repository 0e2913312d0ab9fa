"""The noise of a curve against closed forms, and runs of points against hand-made ones."""

from __future__ import annotations

import numpy as np
import pytest
from scipy import stats

from cmjlab.stats.curves import noise
from cmjlab.stats.curves.noise import curve_noise
from cmjlab.stats.curves.stretches import stretches


def test_typical_error_of_every_point_is_that_of_the_anova():
    rng = np.random.default_rng(1)
    values = 5 * rng.standard_normal((9, 1, 4)) + rng.standard_normal((9, 3, 4))
    found = curve_noise(values, 0.95)
    left = values - values.mean(1, keepdims=True) - values.mean(0) + values.mean((0, 1))
    np.testing.assert_allclose(found.typical_error, np.sqrt((left**2).sum((0, 1)) / 16))
    assert found.df == 16
    two = curve_noise(values[:, :2], 0.95)
    difference = values[:, 1] - values[:, 0]
    np.testing.assert_allclose(two.typical_error, difference.std(axis=0, ddof=1) / np.sqrt(2))


@pytest.mark.parametrize(("n", "level"), [(6, 0.95), (12, 0.9), (25, 0.95)])
def test_one_point_has_the_t_distribution(n, level):
    values = np.random.default_rng(2).standard_normal((n, 2, 1))
    found = curve_noise(values, level, draws=40_000)
    assert found.critical == pytest.approx(stats.t.ppf(0.5 + level / 2, n - 1), rel=0.04)


def test_points_that_say_the_same_count_as_one_and_free_points_as_many():
    values = np.random.default_rng(3).standard_normal((40, 2, 1))
    same = curve_noise(values * np.linspace(1, 9, 50), 0.95)
    free = curve_noise(np.random.default_rng(4).standard_normal((40, 2, 20)), 0.95)
    assert same.critical == pytest.approx(stats.t.ppf(0.975, 39), rel=0.06)
    # 20 free points: each at 1 - 0.95 ** (1 / 20) (Šidák), its t with 39 degrees of freedom
    assert free.critical == pytest.approx(stats.t.ppf(0.5 + 0.95 ** (1 / 20) / 2, 39), rel=0.06)


def test_a_change_is_outside_where_it_passes_root_two_of_the_noise():
    values = np.random.default_rng(5).standard_normal((15, 2, 3))
    values[..., 1] = 2.5  # fixed by definition
    found = curve_noise(values, 0.95)
    just = found.critical * np.sqrt(2) * found.typical_error
    assert found.outside(just * 1.001).tolist() == [True, False, True]
    assert found.outside(np.array([just * 0.999, -just * 1.001]))[:, 0].tolist() == [False, True]


def test_stretches_are_runs_of_one_sign_inside_one_phase():
    outside = np.array([0, 1, 1, 0, 0, 1, 1, 1, 1, 0, 0, 0, 0, 0, 1], dtype=bool)
    estimate = np.array([1, 1, 1, 1, 1, -2, -2, 3, 3, 1, 1, 1, 1, 1, -1.0])
    found = [
        (s.phase, s.first, s.last, s.start, s.end, s.sign) for s in stretches(outside, estimate, 5)
    ]
    assert found == [
        (0, 1, 2, 25.0, 50.0, 1),
        (1, 5, 6, 0.0, 25.0, -1),
        (1, 7, 8, 50.0, 75.0, 1),
        (2, 14, 14, 100.0, 100.0, -1),
    ]
    both = stretches(np.ones(10, bool), np.ones(10), 5)
    assert [(s.phase, s.start, s.end) for s in both] == [(0, 0.0, 100.0), (1, 0.0, 100.0)]
    assert stretches(np.zeros(10, bool), np.ones(10), 5) == []


def test_a_large_squad_has_nearly_the_same_critical_value_when_less_of_it_is_drawn(monkeypatch):
    values = np.random.default_rng(6).standard_normal((200, 2, 8)).cumsum(axis=2)
    few = curve_noise(values, 0.95, draws=8_000).critical
    monkeypatch.setattr(noise, "_MOST_DF", 1_000)
    every = curve_noise(values, 0.95, draws=8_000).critical
    assert few == pytest.approx(every, rel=0.025)
