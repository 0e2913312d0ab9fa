"""Missing sessions: exact noise, exact pivot, REML; against brute force and another program."""

import warnings

import numpy as np
import pandas as pd
import pytest

from cmjlab.stats.common.components import crossed_mean_squares, crossed_reml
from cmjlab.stats.common.intervals import f_quantile
from cmjlab.stats.common.mean_squares import two_way
from cmjlab.stats.reliability import icc as icc
from cmjlab.stats.reliability.missing import (
    between,
    consistency_missing,
    intra_block,
    pivot,
    together,
)


def gaps(seed, n=9, k=3, share=0.2):
    rng = np.random.default_rng(seed)
    values = 40 + 4 * rng.normal(size=(n, 1)) + rng.normal(size=(n, k)) + rng.normal(size=k)
    values[rng.random((n, k)) < share] = np.nan
    return values


def least_squares(values):
    """Return residual sum of squares and degrees of freedom of athlete + session, by lstsq."""
    i, j = np.nonzero(np.isfinite(values))
    n, k = values.shape
    design = np.zeros((len(i), n + k))
    design[np.arange(len(i)), i] = 1
    design[np.arange(len(i)), n + j] = 1
    y = values[i, j]
    beta, _, rank, _ = np.linalg.lstsq(design, y, rcond=None)
    return float(np.sum((y - design @ beta) ** 2)), len(i) - rank


@pytest.mark.parametrize("seed", range(8))
def test_intra_block_is_least_squares(seed):
    values = gaps(seed, k=2 + seed % 3)
    square, df = least_squares(values)
    block = intra_block(values)
    assert block.df == df
    assert block.mse * df == pytest.approx(square, rel=1e-10)


def test_intra_block_of_complete_data_is_the_two_way_mse():
    values = gaps(1, share=0)
    block, ms = intra_block(values), two_way(values)
    assert block.mse == pytest.approx(float(ms.mse), rel=1e-12)
    assert block.df == ms.df_e
    means = values.mean(axis=0)
    np.testing.assert_allclose(block.effects, means - means.mean(), atol=1e-12)


def test_two_sessions_incomplete_athletes_add_nothing():
    values = gaps(3, n=12, k=2)
    whole = values[np.isfinite(values).all(axis=1)]
    assert len(whole) < len(values)
    assert intra_block(values).mse == pytest.approx(float(two_way(whole).mse), rel=1e-12)


def test_unconnected_data_have_fewer_degrees_of_freedom():
    values = np.full((4, 4), np.nan)
    values[:2, :2] = [[1.0, 2.0], [3.0, 5.0]]
    values[2:, 2:] = [[7.0, 6.0], [2.0, 4.0]]
    block = intra_block(values)
    assert block.df == least_squares(values)[1] == 2
    assert block.mse * 2 == pytest.approx(least_squares(values)[0])


def gls(values, rho):
    """Return the residual sum of squares under V = I + lambda J per athlete, in noise units."""
    i, j = np.nonzero(np.isfinite(values))
    y = values[i, j]
    x = np.eye(values.shape[1])[j]
    v = np.eye(len(y)) + rho / (1 - rho) * (i[:, None] == i[None, :])
    inverse = np.linalg.inv(v)
    beta = np.linalg.solve(x.T @ inverse @ x, x.T @ inverse @ y)
    e = y - x @ beta
    return float(e @ inverse @ e)


@pytest.mark.parametrize("rho", [-0.2, 0.0, 0.4, 0.95])
def test_pivot_is_generalised_least_squares(rho):
    values = gaps(5, n=10)
    data = between(values)
    square, df = least_squares(values)
    expected = ((gls(values, rho) - square) / (np.isfinite(values).sum() - 3 - df)) / (square / df)
    assert pivot(data, np.array(rho)) == pytest.approx(expected, rel=1e-8)


def test_pivot_interval_of_complete_data_is_the_published_one():
    values = gaps(6, share=0)
    estimate, low, high = consistency_missing(values, 0.95)
    published = icc.consistency(two_way(values), 0.95)
    np.testing.assert_allclose(
        [estimate, low, high], [published.estimate, published.low, published.high], atol=1e-10
    )


def test_pivot_limits_solve_their_equation():
    values = gaps(7)
    _, low, high = consistency_missing(values, 0.9)
    data = between(values)
    assert pivot(data, low) == pytest.approx(
        float(f_quantile(0.95, data.df, data.block.df)), rel=1e-6
    )
    assert pivot(data, high) == pytest.approx(
        float(f_quantile(0.05, data.df, data.block.df)), rel=1e-6
    )


def test_negative_consistency_is_kept():
    values = np.array([[1.0, 4.0], [4.0, 1.0], [2.0, 3.5], [np.nan, 2.0]])
    estimate, low, _ = consistency_missing(values, 0.95)
    assert estimate < 0
    assert -1 <= low < estimate


@pytest.mark.parametrize("seed", [11, 12, 13])
def test_reml_with_gaps_against_statsmodels(seed):
    from statsmodels.regression.mixed_linear_model import MixedLM

    values = gaps(seed, n=14, k=4, share=0.15)
    i, j = np.nonzero(np.isfinite(values))
    data = pd.DataFrame({"y": values[i, j], "athlete": i, "session": j, "all": 1})
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        model = MixedLM.from_formula(
            "y ~ 1",
            groups="all",
            data=data,
            vc_formula={"a": "0 + C(athlete)", "c": "0 + C(session)"},
        )
        fit = model.fit(reml=True, method=["bfgs", "nm"], maxiter=2000)
    ours = crossed_reml(values)
    found = dict(zip(model.exog_vc.names, fit.vcomp, strict=True))
    assert ours.athletes == pytest.approx(found["a"], rel=2e-3)
    assert ours.sessions == pytest.approx(found["c"], rel=2e-2, abs=1e-3)
    assert ours.remainder == pytest.approx(fit.scale, rel=2e-3)


def reml_criterion(values, a, c, s2):
    """Return -2 REML log-likelihood (without constants) by brute force."""
    i, j = np.nonzero(np.isfinite(values))
    y = values[i, j]
    v = s2 * np.eye(len(y)) + a * (i[:, None] == i) + c * (j[:, None] == j)
    inverse, one = np.linalg.inv(v), np.ones(len(y))
    weight = one @ inverse @ one
    e = y - (one @ inverse @ y) / weight
    return float(e @ inverse @ e + np.linalg.slogdet(v)[1] + np.log(weight))


@pytest.mark.parametrize("seed", [21, 22, 23, 24])
def test_reml_with_gaps_is_a_minimum(seed):
    values = gaps(seed, n=10, k=3)
    fit = crossed_reml(values)
    best = np.array([fit.athletes, fit.sessions, fit.remainder])
    at = reml_criterion(values, *best)
    for component in range(3):
        for step in (-1e-3, 1e-3):
            moved = best.copy()
            moved[component] = moved[component] * (1 + step) + (
                0 if moved[component] else abs(step)
            )
            assert reml_criterion(values, *moved) > at
        if best[component] > 0:
            # The slope at the minimum: relative precision of the component about 1e-7.
            h = 1e-4 * best[component]
            up, down = best.copy(), best.copy()
            up[component] += h
            down[component] -= h
            slope = (reml_criterion(values, *up) - reml_criterion(values, *down)) / 2e-4
            curve = (reml_criterion(values, *up) + reml_criterion(values, *down) - 2 * at) / 1e-8
            assert abs(slope / curve) < 1e-6


def test_balanced_reml_equals_mean_squares_or_sits_at_zero():
    values = gaps(31, share=0)
    reml, plain = crossed_reml(values), crossed_mean_squares(values)
    assert (reml.athletes, reml.remainder) == pytest.approx((plain.athletes, plain.remainder))
    rng = np.random.default_rng(3)
    noise = rng.normal(size=(12, 3))
    reml, plain = crossed_reml(noise), crossed_mean_squares(noise)
    assert min(plain.athletes, plain.sessions) < 0
    assert min(reml.athletes, reml.sessions) == 0
    at = reml_criterion(noise, reml.athletes, reml.sessions, reml.remainder)
    for a, c, s in ((1e-3, 0, 1), (0, 1e-3, 1), (0, 0, 1.001), (0, 0, 0.999)):
        assert reml_criterion(noise, reml.athletes + a, reml.sessions + c, reml.remainder * s) > at


@pytest.mark.parametrize("rho", [-0.2, 0.0, 0.4, 0.95])
def test_athletes_with_the_same_gaps_may_be_put_together(rho):
    values = np.stack([gaps(seed, n=600, k=4) for seed in (31, 32, 33)])
    values[1, :, 2] = np.nan
    alone = between(values)
    crowd = together(alone, np.isfinite(values))
    assert crowd.means.shape[1] <= 16
    np.testing.assert_array_equal(crowd.sizes.sum(axis=1), 600)
    rhos = np.full(3, rho)
    np.testing.assert_allclose(pivot(crowd, rhos), pivot(alone, rhos), rtol=1e-11)


def test_few_athletes_stay_alone():
    values = np.stack([gaps(34, n=30)])
    data = between(values)
    assert together(data, np.isfinite(values)) is data
