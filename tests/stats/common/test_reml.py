"""REML kernels: reference programs, exact derivatives, closed forms, boundaries."""

from __future__ import annotations

import warnings

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from reference.trial_data import depression_trial

from cmjlab.stats.common import reml
from cmjlab.stats.common.reml import fit_linear, slope_structure, unstructured
from cmjlab.stats.common.reml_intercept import STATUS, fit_intercept
from cmjlab.stats.common.reml_tests import (
    Pieces,
    kenward_roger,
    kenward_roger_f,
    satterthwaite,
    satterthwaite_f,
)

FIELDS = ("beta", "phi", "a", "q", "cov_exact", "cov_expected")

#: O'Brien & Kaiser 1985, Psychol Bull 97:316, data averaged over hours: pre, post, follow-up.
OBRIEN_KAISER = {
    "control": [[2, 3, 3], [4, 3, 4], [6, 5, 7], [5, 3, 4], [4, 6, 4]],
    "A": [[8, 9, 9], [5, 8, 9], [3, 5, 6], [4, 4, 5]],
    "B": [
        [4, 7, 8], [3, 5, 6], [6, 9, 8], [6, 6, 8], [2, 5, 6], [3, 7, 7], [5, 7, 8],
    ],
}  # fmt: skip
#: R 4.2.2, lme4 1.1-31 (bobyqa, rhoend 1e-12), lmerTest 3.1-3, pbkrtest 0.5.2:
#: value ~ treatment*phase + (1|id). name -> estimate, standard error, df.
OK_FIXED = {
    "(Intercept)": (4.2, 0.722353711774, 18.9254951848),
    "treatmentA": (0.8, 1.083530567661, 18.9254951848),
    "treatmentB": (-0.0571428571429, 0.945783017925, 18.9254951848),
    "phasepost": (-0.2, 0.532531443855, 26.0),
    "treatmentA:phasepost": (1.7, 0.798797165783, 26.0),
    "treatmentB:phasepost": (2.6285714285714, 0.697247328975, 26.0),
    "phasefup": (0.2, 0.532531443855, 26.0),
    "treatmentA:phasefup": (2.05, 0.798797165783, 26.0),
    "treatmentB:phasefup": (2.9428571428572, 0.697247328975, 26.0),
}
#: Same programs, lme4::sleepstudy (Belenky et al. 2003): estimate, se, Satterthwaite df, KR df.
SLEEP_SLOPE = {
    "(Intercept)": (251.4051048485, 6.82455636518, 17.0000009396, 17.0),
    "Days": (10.4672859596, 1.54578879926, 17.0000027831, 17.0),
}
SLEEP_INTERCEPT = {
    "(Intercept)": (251.4051048485, 9.746716599386, 22.8101957767, 22.8101985472),
    "Days": (10.4672859596, 0.804221425551, 161.0000007809, 161.0),
}
#: Same programs, HSAUR3::BtheB (Proudfoot et al. 2003), 280 of 400 outcomes present:
#: estimate; Satterthwaite se, df; Kenward–Roger se, df.
BTHEB = {
    "(Intercept)": (5.573746281893, 2.2995441341824, 102.8869020762, 2.3001545012244, 101.2225596640),
    "bdi.pre": (0.640350812433, 0.0799164049235, 98.5189677403, 0.0799473239197, 96.8852762463),
    "time": (-0.701598145758, 0.1469407223339, 197.5416328845, 0.1470955488614, 196.1008880493),
    "treatmentBtheB": (-2.315105103581, 1.7151529695263, 92.1842766343, 1.7157466423411, 90.6013953693),
    "drugYes": (-2.815994271205, 1.7729197911973, 93.1674192654, 1.7735707879720, 91.5761594027),
    "length>6m": (0.179015341466, 1.6816345812918, 95.0483324396, 1.6822713204246, 93.4415474236),
}  # fmt: skip
RTOL = 1e-6


def one(pieces: Pieces) -> Pieces:
    """Return the pieces of the only study."""
    return Pieces(*(getattr(pieces, f)[0] for f in FIELDS))


def obrien_kaiser():
    values = np.array([row for rows in OBRIEN_KAISER.values() for row in rows], dtype=float)
    group = np.repeat([0, 1, 2], [len(rows) for rows in OBRIEN_KAISER.values()])
    dummies = np.stack([np.ones(16), group == 1, group == 2], axis=1)
    x = np.zeros((16, 3, 9))
    for j in range(3):
        x[:, j] = np.concatenate([dummies, dummies * (j == 1), dummies * (j == 2)], axis=1)
    return values, x


def sleepstudy(folder):
    table = pd.read_csv(folder / "prepost" / "sleepstudy.csv")
    values = table.pivot(index="Subject", columns="Days", values="Reaction").to_numpy(float)
    x = np.ones((*values.shape, 2))
    x[:, :, 1] = np.arange(10)
    return values, x


def btheb():
    values, before, codes = depression_trial()
    x = np.ones((*values.shape, 6))
    x[:, :, 1] = before[:, None]
    x[:, :, 2] = [2.0, 3.0, 5.0, 8.0]
    x[:, :, 3:] = codes[:, None, :]
    return values, x


def random_study(seed, m=14, k=4, missing=0.2):
    """Return an incomplete study of two groups with cell-mean columns."""
    rng = np.random.default_rng(seed)
    y = 30 + 2 * rng.standard_normal((m, 1)) + rng.standard_normal((m, k))
    y += 0.4 * rng.standard_normal((m, 1)) * np.arange(k)
    seen = rng.random((m, k)) >= missing
    seen[:2], seen[-2:] = True, True
    x = np.zeros((m, k, 2 * k))
    for j in range(k):
        x[: m // 2, j, j] = 1.0
        x[m // 2 :, j, k + j] = 1.0
    return np.where(seen, y, np.nan), x, seen


def test_obrien_kaiser_random_intercept():
    y, x = obrien_kaiser()
    fit = fit_intercept(y[None], x, np.isfinite(y))
    assert STATUS[fit.status[0]] == "ok"
    # lme4 stops at 1.9000000778; 1.9 and 0.70897435… are exact (mean squares by hand).
    assert fit.tau2[0] == pytest.approx(1.9, rel=1e-9)
    assert fit.sigma2[0] == pytest.approx(18.4333333333333 / 26, rel=1e-9)
    assert fit.criterion[0] == pytest.approx(140.709889258088, rel=1e-10)
    pieces = one(fit.pieces)
    for row, (estimate, se, df) in zip(np.eye(9), OK_FIXED.values(), strict=True):
        for test in (satterthwaite, kenward_roger):
            found = test(pieces, row)
            assert found.estimate == pytest.approx(estimate, rel=RTOL, abs=1e-10)
            assert found.se == pytest.approx(se, rel=RTOL)
            assert found.df == pytest.approx(df, rel=RTOL)


def test_obrien_kaiser_f_tests():
    """Type III F of the interaction: 5.430379747 on 4 and 26 df by both methods."""
    y, x = obrien_kaiser()
    pieces = one(fit_intercept(y[None], x, np.isfinite(y)).pieces)
    interaction = np.eye(9)[[4, 5, 7, 8]]
    for test in (satterthwaite_f, kenward_roger_f):
        found = test(pieces, interaction)
        assert found.value == pytest.approx(5.43037984057, rel=RTOL)
        assert found.df2 == pytest.approx(26.0, rel=RTOL)
        assert found.p == pytest.approx(2.57810761098e-03, rel=RTOL)


def test_sleepstudy_random_slope(reference_data):
    y, x = sleepstudy(reference_data)
    start = np.array([0.5, 0.5, 0.0, 0.01])
    fit = fit_linear(y, x, np.isfinite(y), g=slope_structure(np.arange(10.0)), start=start)
    assert fit.status == "ok"
    # residual, intercept, covariance, slope; lme4 prints SDs and correlation to 8–10 digits
    assert fit.theta[0] == pytest.approx(654.94104019, rel=RTOL)
    assert fit.theta[1] == pytest.approx(612.08989313, rel=RTOL)
    assert fit.theta[3] == pytest.approx(35.07165494, rel=RTOL)
    correlation = fit.theta[2] / np.sqrt(fit.theta[1] * fit.theta[3])
    assert correlation == pytest.approx(0.06555137, rel=1e-5)
    # lme4's -2 log-likelihood is flat to 1e-12 here; ours may not be above it.
    assert fit.criterion == pytest.approx(1743.62827195849, rel=1e-12)
    for row, (estimate, se, df_s, df_kr) in zip(np.eye(2), SLEEP_SLOPE.values(), strict=True):
        for test, df in ((satterthwaite, df_s), (kenward_roger, df_kr)):
            found = test(fit.pieces, row)
            assert found.estimate == pytest.approx(estimate, rel=RTOL)
            assert found.se == pytest.approx(se, rel=RTOL)
            assert found.df == pytest.approx(df, rel=RTOL)


def test_sleepstudy_random_intercept(reference_data):
    y, x = sleepstudy(reference_data)
    fit = fit_intercept(y[None], x, np.isfinite(y))
    assert fit.tau2[0] == pytest.approx(1378.178632462, rel=RTOL)
    assert fit.sigma2[0] == pytest.approx(960.456570454, rel=RTOL)
    for row, (estimate, se, df_s, df_kr) in zip(np.eye(2), SLEEP_INTERCEPT.values(), strict=True):
        for test, df in ((satterthwaite, df_s), (kenward_roger, df_kr)):
            found = test(one(fit.pieces), row)
            assert found.estimate == pytest.approx(estimate, rel=RTOL)
            assert found.se == pytest.approx(se, rel=RTOL)
            assert found.df == pytest.approx(df, rel=RTOL)


def test_btheb_with_dropout():
    """Satterthwaite and Kenward–Roger differ visibly here, in SE and in df."""
    y, x = btheb()
    assert np.isfinite(y).sum() == 280
    fit = fit_intercept(y[None], x, np.isfinite(y))
    assert fit.tau2[0] == pytest.approx(51.9315931424, rel=RTOL)
    assert fit.sigma2[0] == pytest.approx(25.2863644421, rel=RTOL)
    assert fit.criterion[0] == pytest.approx(1866.90257241084, rel=1e-10)
    pieces = one(fit.pieces)
    for row, (estimate, se_s, df_s, se_kr, df_kr) in zip(np.eye(6), BTHEB.values(), strict=True):
        for test, se, df in ((satterthwaite, se_s, df_s), (kenward_roger, se_kr, df_kr)):
            found = test(pieces, row)
            assert found.estimate == pytest.approx(estimate, rel=RTOL)
            assert found.se == pytest.approx(se, rel=RTOL)
            assert found.df == pytest.approx(df, rel=RTOL)


def test_two_kernels_agree():
    """The closed forms of the random intercept and the general kernel are independent code."""
    for seed in range(5):
        y, x, seen = random_study(seed)
        one_by_one = fit_intercept(y[None], x, seen)
        general = fit_linear(y, x, seen, g=slope_structure(np.arange(4.0))[:2], start=[0.5, 0.5])
        assert general.criterion == pytest.approx(one_by_one.criterion[0], rel=1e-12)
        for field in FIELDS:
            ours, theirs = getattr(one(one_by_one.pieces), field), getattr(general.pieces, field)
            np.testing.assert_allclose(ours, theirs, rtol=1e-6, atol=1e-9 * np.abs(theirs).max())


def test_many_studies_at_once_equal_one_at_a_time():
    studies = [random_study(seed) for seed in range(8)]
    y, seen = np.stack([s[0] for s in studies]), np.stack([s[2] for s in studies])
    together = fit_intercept(y, studies[0][1], seen)
    for i, (values, x, observed) in enumerate(studies):
        alone = fit_intercept(values[None], x, observed)
        np.testing.assert_allclose(together.tau2[i], alone.tau2[0], rtol=1e-9)
        np.testing.assert_allclose(
            together.pieces.phi[i], alone.pieces.phi[0], rtol=1e-8, atol=1e-12
        )


@pytest.mark.parametrize("seed", range(3))
def test_derivatives_are_those_of_the_criterion(seed):
    """Score and Hessian of the general kernel against central differences."""
    y, x, seen = random_study(seed)
    g = slope_structure(np.arange(4.0))
    data = reml._Data(
        np.where(seen, y - 30, 0.0),
        x * seen[..., None],
        g[:, None] * (seen[:, :, None] * seen[:, None, :]),
        np.eye(4) * (1.0 - seen)[:, :, None],
        int(seen.sum()) - 8,
    )
    theta = np.array([1.1, 3.5, 0.1, 0.2])
    at = reml._point(data, theta)
    hessian, _, _ = reml._curvature(data, at)
    step = 1e-5
    for r in range(4):
        up, down = (reml._point(data, theta + s * step * np.eye(4)[r]) for s in (1, -1))
        assert at.score[r] == pytest.approx((up.criterion - down.criterion) / (2 * step), abs=1e-5)
        np.testing.assert_allclose(hessian[r], (up.score - down.score) / (2 * step), atol=1e-6)


def test_profile_slope_is_zero_at_the_optimum_and_criterion_is_lowest_there():
    y, x, seen = random_study(11)
    fit = fit_intercept(y[None], x, seen)
    best = fit.criterion[0]
    g = slope_structure(np.arange(4.0))[:2]
    scale = np.array([fit.sigma2[0], fit.tau2[0]])
    data = reml._Data(
        np.where(seen, y - 30, 0.0),
        x * seen[..., None],
        g[:, None] * (seen[:, :, None] * seen[:, None, :]),
        np.eye(4) * (1.0 - seen)[:, :, None],
        int(seen.sum()) - 8,
    )
    at = reml._point(data, scale)
    assert at.criterion == pytest.approx(best, abs=1e-9)
    np.testing.assert_allclose(at.score * scale, 0.0, atol=1e-7)


def test_unstructured_complete_data_is_the_pooled_covariance():
    """With all values present REML is the within-group covariance and df = athletes − groups."""
    y, x, _ = random_study(3, missing=0.0)
    start = np.where(np.equal(*np.tril_indices(4)), 1.0, 0.0)
    fit = fit_linear(y, x, np.isfinite(y), g=unstructured(4), start=start)
    residual = y - np.repeat([y[:7].mean(0), y[7:].mean(0)], 7, axis=0)
    pooled = residual.T @ residual / 12
    np.testing.assert_allclose(fit.theta, pooled[np.tril_indices(4)], rtol=1e-8)
    contrast = np.zeros(8)
    contrast[[0, 3, 4, 7]] = 1, -1, -1, 1
    for test in (satterthwaite, kenward_roger):
        found = test(fit.pieces, contrast)
        assert found.df == pytest.approx(12.0, rel=1e-8)
        change = residual[:, 3] - residual[:, 0]
        assert found.se == pytest.approx(np.sqrt(change @ change / 12 * 2 / 7), rel=1e-8)


@pytest.mark.parametrize("groups", [1, 2])
def test_kenward_roger_f_of_complete_unstructured_data_is_hotelling(groups):
    """The scaled F with q > 1: T²·(d − q + 1)/(d·q) on q and d − q + 1 df, exactly."""
    y, x, _ = random_study(4, missing=0.0)
    if groups == 1:
        x = np.broadcast_to(np.eye(4), (14, 4, 4))
        contrasts = np.hstack([-np.ones((3, 1)), np.eye(3)])
        residual, factor = y - y.mean(0), 1 / 14
        mean = y.mean(0)
    else:
        step = np.hstack([-np.ones((3, 1)), np.eye(3)])
        contrasts = np.hstack([step, -step])
        residual = y - np.repeat([y[:7].mean(0), y[7:].mean(0)], 7, axis=0)
        factor = 2 / 7
        mean = y[:7].mean(0) - y[7:].mean(0)
    start = np.where(np.equal(*np.tril_indices(4)), 1.0, 0.0)
    fit = fit_linear(y, x, np.isfinite(y), g=unstructured(4), start=start)
    found = kenward_roger_f(fit.pieces, contrasts)
    d, q = 14 - groups, 3
    covariance = residual.T @ residual / d
    step = np.hstack([-np.ones((3, 1)), np.eye(3)])
    shift = step @ mean
    t2 = shift @ np.linalg.solve(step @ covariance @ step.T * factor, shift)
    assert found.value == pytest.approx(t2 * (d - q + 1) / (d * q), rel=1e-7)
    assert found.df2 == pytest.approx(d - q + 1, rel=1e-7)


def test_negative_covariance_keeps_the_anova_test():
    """Complete data with τ² < 0: residual variance is the ANOVA mean square, df its own."""
    rng = np.random.default_rng(5)
    y = rng.standard_normal((8, 3))
    y -= 0.9 * y.mean(1, keepdims=True)
    x = np.broadcast_to(np.eye(3), (8, 3, 3))
    fit = fit_intercept(y[None], x, np.isfinite(y))
    assert STATUS[fit.status[0]] == "negative"
    residual = y - y.mean(0) - y.mean(1, keepdims=True) + y.mean()
    assert fit.sigma2[0] == pytest.approx((residual**2).sum() / 14, rel=1e-9)
    assert kenward_roger(one(fit.pieces), np.array([-1.0, 0, 1])).df == pytest.approx(14, rel=1e-9)
    cut = fit_intercept(y[None], x, np.isfinite(y), nonnegative=True)
    assert STATUS[cut.status[0]] == "boundary"
    assert cut.tau2[0] == 0.0
    for test in (satterthwaite, kenward_roger):
        assert test(one(cut.pieces), np.array([-1.0, 0, 1])).df == pytest.approx(21, rel=1e-12)


@pytest.mark.parametrize(
    ("values", "status"),
    [
        (np.array([[1.0, 2.0], [2.0, 3.0], [4.0, 5.0]]), "singular"),
        (np.array([[1.0, 2.0], [1.0, 2.0], [1.0, 2.0]]), "no_variance"),
        (np.array([[1.0, np.nan], [1.5, np.nan], [1.2, np.nan]]), "rank"),
        (np.array([[1.0, np.nan], [np.nan, 2.0]]), "rank"),
    ],
)
def test_unusable_data_are_named_and_never_warn(values, status):
    x = np.broadcast_to(np.eye(2), (*values.shape, 2))
    start = np.array([0.5, 0.5])
    with warnings.catch_warnings():
        warnings.simplefilter("error")
        fit = fit_intercept(values[None], x, np.isfinite(values))
        general = fit_linear(
            values, x, np.isfinite(values), g=slope_structure(np.arange(2.0))[:2], start=start
        )
    assert STATUS[fit.status[0]] == status
    assert general.status == status
    assert np.isnan(fit.sigma2[0])
    assert np.isnan(general.theta).all()


def test_unusable_study_does_not_disturb_its_neighbours():
    good, x, seen = random_study(2, missing=0.0)
    flat = np.broadcast_to(np.arange(4.0), good.shape)
    fit = fit_intercept(np.stack([flat, good]), x, seen)
    alone = fit_intercept(good[None], x, seen)
    assert STATUS[fit.status[0]] == "no_variance"
    assert fit.tau2[1] == pytest.approx(alone.tau2[0], rel=1e-12)


@settings(max_examples=40, deadline=None)
@given(
    seed=st.integers(0, 10_000),
    shift=st.floats(-1e5, 1e5),
    factor=st.floats(1e-4, 1e5),
)
def test_units_do_not_matter(seed, shift, factor):
    """Newtons or kilonewtons, an added constant: df the same, SE scales."""
    y, x, seen = random_study(seed)
    contrast = np.zeros(8)
    contrast[[0, 3, 4, 7]] = 1, -1, -1, 1
    base = fit_intercept(y[None], x, seen)
    moved = fit_intercept((y * factor + shift * factor)[None], x, seen)
    a, b = (kenward_roger(one(f.pieces), contrast) for f in (base, moved))
    assert b.df == pytest.approx(a.df, rel=1e-5)
    assert b.se == pytest.approx(a.se * factor, rel=1e-6)


def test_statsmodels_agrees_on_estimates_and_likelihood():
    """Second oracle: same estimates and standard errors; it has no small-sample df."""
    mixed = pytest.importorskip("statsmodels.regression.mixed_linear_model")
    y, x, seen = random_study(7)
    groups = np.repeat(np.arange(14), 4).reshape(14, 4)[seen]
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        theirs = mixed.MixedLM(y[seen], x[seen], groups=groups).fit(reml=True)
    ours = fit_intercept(y[None], x, seen)
    np.testing.assert_allclose(theirs.fe_params, ours.pieces.beta[0], rtol=1e-6)
    assert theirs.scale == pytest.approx(ours.sigma2[0], rel=1e-4)
    assert float(np.ravel(theirs.cov_re)[0]) == pytest.approx(ours.tau2[0], rel=1e-3)
    # Its standard errors come from the joint observed information, ours (as R's) from Φ.
    np.testing.assert_allclose(theirs.bse_fe, np.sqrt(np.diag(ours.pieces.phi[0])), rtol=0.01)
    assert -2 * theirs.llf == pytest.approx(ours.criterion[0], abs=1e-6)
