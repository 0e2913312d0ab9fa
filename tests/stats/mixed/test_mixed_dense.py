"""The general REML kernel against the textbook formulas written out with whole matrices.

Nothing of the kernel's code is used: V is built observation by observation, P explicitly.
Kenward & Roger 1997, Biometrics 53:983, equations for Φ_A, A₁, A₂, E*, V*, m, λ.
"""

from __future__ import annotations

import numpy as np
import pytest

from cmjlab.stats.common.reml import fit_linear, slope_structure, unstructured
from cmjlab.stats.common.reml_tests import (
    kenward_roger,
    kenward_roger_f,
    satterthwaite,
    satterthwaite_f,
)

SESSIONS = 3


def study(seed):
    rng = np.random.default_rng(seed)
    m = 16
    y = 35 + 3 * rng.standard_normal((m, 1)) + rng.standard_normal((m, SESSIONS))
    y += 0.7 * rng.standard_normal((m, 1)) * np.arange(SESSIONS)
    seen = rng.random(y.shape) > 0.15
    seen[[0, 1, 8, 9]] = True
    x = np.zeros((m, SESSIONS, 2 * SESSIONS))
    for j in range(SESSIONS):
        x[:8, j, j] = 1.0
        x[8:, j, SESSIONS + j] = 1.0
    return np.where(seen, y, np.nan), x, seen


class Dense:
    """Everything with N × N matrices, at given θ."""

    def __init__(self, y, x, seen, g, theta):
        athlete, session = np.nonzero(seen)
        same = athlete[:, None] == athlete[None, :]
        self.y, self.x = y[seen], x[seen]
        self.g = [np.where(same, s[session][:, session], 0.0) for s in g]
        self.v = sum(t * s for t, s in zip(theta, self.g, strict=True))
        self.w = np.linalg.inv(self.v)
        self.phi = np.linalg.inv(self.x.T @ self.w @ self.x)
        self.p = self.w - self.w @ self.x @ self.phi @ self.x.T @ self.w
        self.beta = self.phi @ self.x.T @ self.w @ self.y

    def criterion(self):
        n, p = self.x.shape
        logs = [np.linalg.slogdet(a)[1] for a in (self.v, self.x.T @ self.w @ self.x)]
        return sum(logs) + self.y @ self.p @ self.y + (n - p) * np.log(2 * np.pi)

    def matrix(self, element):
        size = range(len(self.g))
        return np.array([[element(self.g[r], self.g[s]) for s in size] for r in size])

    def expected(self):
        return self.matrix(lambda a, b: np.trace(self.p @ a @ self.p @ b))

    def hessian(self):
        z = self.p @ self.y
        return 2 * self.matrix(lambda a, b: z @ a @ self.p @ b @ z) - self.expected()

    def slope_of_phi(self):
        t = self.w @ self.x @ self.phi
        return [t.T @ g @ t for g in self.g]

    def adjusted(self):
        c = 2 * np.linalg.inv(self.expected())
        wx = self.w @ self.x
        p = [-wx.T @ g @ wx for g in self.g]
        inner = sum(
            c[r, s] * (wx.T @ self.g[r] @ self.w @ self.g[s] @ wx - p[r] @ self.phi @ p[s])
            for r in range(len(p))
            for s in range(len(p))
        )
        return self.phi + 2 * self.phi @ inner @ self.phi

    def kr_f(self, contrasts):
        q = len(contrasts)
        c = 2 * np.linalg.inv(self.expected())
        theta = contrasts.T @ np.linalg.inv(contrasts @ self.phi @ contrasts.T) @ contrasts
        # Φ P_r Φ = −∂Φ/∂θ_r; the sign cancels in A₁ and A₂
        terms = [theta @ d for d in self.slope_of_phi()]
        a1 = sum(c[r, s] * np.trace(terms[r]) * np.trace(terms[s]) for r in range(len(c)) for s in range(len(c)))  # fmt: skip
        a2 = sum(c[r, s] * np.trace(terms[r] @ terms[s]) for r in range(len(c)) for s in range(len(c)))  # fmt: skip
        b = (a1 + 6 * a2) / (2 * q)
        g = ((q + 1) * a1 - (q + 4) * a2) / ((q + 2) * a2)
        c1, c2, c3 = (k / (3 * q + 2 * (1 - g)) for k in (g, q - g, q + 2 - g))
        e = 1 / (1 - a2 / q)
        v = 2 / q * (1 + c1 * b) / ((1 - c2 * b) ** 2 * (1 - c3 * b))
        m = 4 + (q + 2) / (q * v / (2 * e**2) - 1)
        f = self.beta @ contrasts.T @ np.linalg.inv(contrasts @ self.adjusted() @ contrasts.T)
        return m / (e * (m - 2)) * (f @ contrasts @ self.beta) / q, m


@pytest.fixture(params=[("slope", 1), ("slope", 2), ("free", 3), ("free", 4)])
def both(request):
    kind, seed = request.param
    y, x, seen = study(seed)
    if kind == "slope":
        g, start = slope_structure(np.arange(float(SESSIONS))), np.array([0.3, 0.7, 0.0, 0.02])
    else:
        g = unstructured(SESSIONS)
        start = np.where(np.equal(*np.tril_indices(SESSIONS)), 1.0, 0.0)
    fit = fit_linear(y, x, seen, g=g, start=start)
    assert fit.status == "ok"
    return fit, Dense(y, x, seen, g, fit.theta)


CONTRAST = np.array([-1.0, 0, 1, 1, 0, -1])
INTERACTION = np.array([[-1.0, 1, 0, 1, -1, 0], [-1, 0, 1, 1, 0, -1]])


def test_estimates_and_likelihood(both):
    fit, dense = both
    np.testing.assert_allclose(fit.pieces.beta, dense.beta, rtol=1e-9)
    np.testing.assert_allclose(fit.pieces.phi, dense.phi, rtol=1e-8, atol=1e-12)
    assert fit.criterion == pytest.approx(dense.criterion(), rel=1e-10)


def test_optimum_has_no_slope(both):
    fit, dense = both
    z = dense.p @ dense.y
    score = [np.trace(dense.p @ g) - z @ g @ z for g in dense.g]
    np.testing.assert_allclose(score * np.abs(fit.theta), 0.0, atol=1e-6)


def test_satterthwaite(both):
    fit, dense = both
    f = CONTRAST @ dense.phi @ CONTRAST
    g = np.array([CONTRAST @ d @ CONTRAST for d in dense.slope_of_phi()])
    df = 2 * f**2 / (g @ (2 * np.linalg.inv(dense.hessian())) @ g)
    found = satterthwaite(fit.pieces, CONTRAST)
    assert (found.se, found.df) == pytest.approx((np.sqrt(f), df), rel=1e-7)


def test_kenward_roger(both):
    fit, dense = both
    found = kenward_roger(fit.pieces, CONTRAST)
    assert found.se == pytest.approx(np.sqrt(CONTRAST @ dense.adjusted() @ CONTRAST), rel=1e-8)
    f, m = dense.kr_f(CONTRAST[None])
    assert (found.estimate / found.se) ** 2 == pytest.approx(f, rel=1e-8)
    assert found.df == pytest.approx(m, rel=1e-7)


def test_kenward_roger_f_of_two_contrasts(both):
    fit, dense = both
    f, m = dense.kr_f(INTERACTION)
    found = kenward_roger_f(fit.pieces, INTERACTION)
    assert (found.value, found.df2) == pytest.approx((f, m), rel=1e-7)
    other = satterthwaite_f(fit.pieces, INTERACTION)
    wald = dense.beta @ INTERACTION.T @ np.linalg.inv(INTERACTION @ dense.phi @ INTERACTION.T)
    assert other.value == pytest.approx(wald @ INTERACTION @ dense.beta / 2, rel=1e-8)
    assert other.df2 > 2
