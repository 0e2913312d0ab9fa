"""Deming's line: against its closed form, orthogonal distance regression, and least squares."""

from __future__ import annotations

import warnings

import numpy as np
import pytest
import statsmodels.api as sm

from cmjlab.scrutiny.pool.structural_line import structural_line


def cloud(n=40, slope=1.2, seed=1):
    rng = np.random.default_rng(seed)
    true = rng.normal(10, 3, n)
    return true + rng.normal(0, 0.8, n), slope * true - 2 + rng.normal(0, 0.8, n)


def single(values):
    return [np.array([v]) for v in values]


def test_the_major_axis_by_eigenvectors():
    """With equal errors Deming's line is the first principal axis (Jolliffe 2002; from memory)."""
    x, y = cloud()
    line = structural_line(single(x), single(y))
    _, vectors = np.linalg.eigh(np.cov(x, y))
    axis = vectors[:, -1]
    assert line.slope == pytest.approx(axis[1] / axis[0], rel=1e-12)
    assert line.intercept == pytest.approx(y.mean() - line.slope * x.mean(), rel=1e-12)


@pytest.mark.parametrize("ratio", [0.25, 1.0, 4.0])
def test_orthogonal_distance_regression_of_scipy_finds_the_same(ratio):
    with warnings.catch_warnings():
        warnings.simplefilter(
            "ignore", DeprecationWarning
        )  # scipy gives its odr up; it is still right
        from scipy import odr

        x, y = cloud(seed=3)
        model = odr.Model(lambda b, v: b[0] + b[1] * v)
        data = odr.RealData(x, y, sx=np.ones(x.size), sy=np.full(x.size, ratio**0.5))
        found = odr.ODR(data, model, beta0=[0.0, 1.0], sstol=1e-14, partol=1e-14).run()
    line = structural_line(single(x), single(y), error_ratio=ratio)
    assert [line.intercept, line.slope] == pytest.approx(list(found.beta), rel=1e-6)


def test_where_one_is_exact_it_is_least_squares():
    x, y = cloud(seed=4)
    ols = sm.OLS(y, sm.add_constant(x)).fit().params
    line = structural_line(single(x), single(y), error_ratio=np.inf)
    assert [line.intercept, line.slope] == pytest.approx(list(ols), rel=1e-10)
    back = sm.OLS(x, sm.add_constant(y)).fit().params
    other = structural_line(single(x), single(y), error_ratio=0.0)
    assert other.slope == pytest.approx(1 / back[1], rel=1e-10)
    nearly = structural_line(single(x), single(y), error_ratio=1e6)
    assert nearly.slope == pytest.approx(line.slope, rel=1e-5)


def test_swapping_the_two_turns_the_line_round():
    x, y = cloud(seed=5)
    there = structural_line(single(x), single(y), error_ratio=2.0)
    back = structural_line(single(y), single(x), error_ratio=0.5)
    assert there.slope == pytest.approx(1 / back.slope, rel=1e-10)


def test_the_jackknife_leaves_out_whole_athletes():
    rng = np.random.default_rng(6)
    level = rng.normal(30, 4, (9, 1))
    x = level + rng.normal(0, 1, (9, 3))
    y = 1.1 * x + rng.normal(0, 0.5, (9, 1)) + rng.normal(0, 0.3, (9, 3))
    line = structural_line(list(x), list(y))
    slopes = [
        structural_line(
            [v for j, v in enumerate(x) if j != i], [v for j, v in enumerate(y) if j != i]
        ).slope
        for i in range(9)
    ]
    assert list(line.slopes) == pytest.approx(slopes, rel=1e-9)
    se = np.sqrt(8 / 9 * np.sum((np.array(slopes) - np.mean(slopes)) ** 2))
    assert line.slope_se() == pytest.approx(se, rel=1e-9)
    assert float(line.variance_at(0.0)) > float(line.variance_at(30.0))


def test_an_athlete_with_many_jumps_counts_once():
    x, y = cloud(n=8, seed=7)
    many = [np.repeat(x[0], 20), *single(x[1:])]
    also = [np.repeat(y[0], 20), *single(y[1:])]
    assert structural_line(many, also).slope == pytest.approx(
        structural_line(single(x), single(y)).slope
    )


def test_no_line_where_there_is_none():
    x, y = cloud(n=3)
    assert structural_line(single(x), single(y)) is None
    assert structural_line(single(np.ones(6)), single(np.arange(6.0))) is None
