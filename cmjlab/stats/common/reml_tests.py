"""Small-sample tests of fixed effects after a REML fit: Satterthwaite and Kenward–Roger.

Both kernels (:mod:`cmjlab.stats.common.reml_intercept`, :mod:`cmjlab.stats.common.reml`) hand over the same
:class:`Pieces`. All functions work along leading axes, so that thousands of simulated studies
are tested at once.

V(θ) = Σ θ_r G_r is linear in its parameters, so that all second derivatives of V vanish and
the term R of Kenward & Roger (1997, Biometrics 53:983) is zero. With Φ = (XᵀV⁻¹X)⁻¹::

    A_r  = Xᵀ V⁻¹ G_r V⁻¹ X              (= −P_r of the paper;  ∂Φ/∂θ_r = Φ A_r Φ)
    Q_rs = Xᵀ V⁻¹ G_r V⁻¹ G_s V⁻¹ X

Satterthwaite degrees of freedom use the exact Hessian of the REML likelihood (as lmerTest:
Kuznetsova, Brockhoff & Christensen 2017, J Stat Softw 82(13)); Kenward–Roger the expected
information (as pbkrtest: Halekoh & Højsgaard 2014, J Stat Softw 59(9)).
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray
from scipy import special

Array = NDArray[np.float64]


@dataclass(frozen=True)
class Pieces:
    """What the tests need of a fit; leading axes (...) are studies.

    Attributes
    ----------
    beta : array, shape (..., p)
    phi : array, shape (..., p, p)
        (XᵀV⁻¹X)⁻¹, the usual covariance of the estimates.
    a : array, shape (..., r, p, p)
    q : array, shape (..., r, r, p, p)
    cov_exact : array, shape (..., r, r)
        Covariance of θ̂: twice the inverse of the exact Hessian of −2 log-likelihood.
    cov_expected : array, shape (..., r, r)
        Twice the inverse of tr(P G_r P G_s).
    """

    beta: Array
    phi: Array
    a: Array
    q: Array
    cov_exact: Array
    cov_expected: Array

    @cached_property
    def adjusted(self) -> Array:
        """Φ_A = Φ + 2Φ {Σ C_rs (Q_rs − A_r Φ A_s)} Φ of Kenward & Roger, shape (..., p, p)."""
        phi, c = self.phi, self.cov_expected
        weighted = np.einsum("...rs,...sij->...rij", c, self.a)
        inner = np.einsum("...rs,...rsij->...ij", c, self.q)
        inner = inner - np.einsum("...rij,...jk,...rkl->...il", self.a, phi, weighted)
        inner = 0.5 * (inner + np.swapaxes(inner, -1, -2))
        return np.asarray(phi + 2.0 * phi @ inner @ phi)


@dataclass(frozen=True)
class Tested:
    """A tested contrast: estimate, standard error, degrees of freedom; shape (...)."""

    estimate: Array
    se: Array
    df: Array


@dataclass(frozen=True)
class FTest:
    """An F test of several contrasts at once; shape (...)."""

    value: Array
    df: int
    df2: Array

    @property
    def p(self) -> Array:
        """Upper tail of F(df, df2)."""
        return np.asarray(special.fdtrc(self.df, self.df2, self.value))


def satterthwaite(pieces: Pieces, contrast: Array) -> Tested:
    """Return one contrast with the model's standard error and Satterthwaite df.

    Parameters
    ----------
    pieces : Pieces
    contrast : array, shape (p,) or (..., p)

    Notes
    -----
    df = 2 f² / (gᵀ C g), f = LᵀΦL, g_r = LᵀΦ A_r Φ L, C the exact covariance of θ̂.
    """
    v = np.einsum("...pq,...q->...p", pieces.phi, contrast)
    f = np.einsum("...p,...p->...", v, contrast)
    g = np.einsum("...p,...rpq,...q->...r", v, pieces.a, v)
    spread = np.einsum("...r,...rs,...s->...", g, pieces.cov_exact, g)
    estimate = np.einsum("...p,...p->...", pieces.beta, contrast)
    return Tested(estimate, np.sqrt(f), 2.0 * f**2 / _positive(spread))


def kenward_roger(pieces: Pieces, contrast: Array) -> Tested:
    """Return one contrast with the adjusted standard error and Kenward–Roger df.

    For a single contrast the scale λ of the F is 1 and df = 2/A₂, so that t = estimate/SE.
    The adjusted variance can come out negative next to the edge of the parameter space; the
    standard error is nan there.
    """
    v = np.einsum("...pq,...q->...p", pieces.phi, contrast)
    f = np.einsum("...p,...p->...", v, contrast)
    g = np.einsum("...p,...rpq,...q->...r", v, pieces.a, v) / f[..., None]
    a2 = np.einsum("...r,...rs,...s->...", g, pieces.cov_expected, g)
    variance = np.einsum("...p,...pq,...q->...", contrast, pieces.adjusted, contrast)
    estimate = np.einsum("...p,...p->...", pieces.beta, contrast)
    return Tested(estimate, np.sqrt(_positive(variance)), 2.0 / _positive(a2))


def _positive(values: Array) -> Array:
    """Return values, nan where they are not above 0."""
    return np.where(values > 0, values, np.nan)


def satterthwaite_f(pieces: Pieces, contrasts: Array) -> FTest:
    """Return the F test of several contrasts with Satterthwaite df (one study).

    As lmerTest: the contrasts are rotated to uncorrelated ones, F is the mean of their t²,
    and df2 makes the mean of F right (Fai & Cornelius 1996).
    """
    count = contrasts.shape[0]
    values, vectors = np.linalg.eigh(contrasts @ pieces.phi @ contrasts.T)
    rotated = vectors.T @ contrasts
    single = [satterthwaite(pieces, row) for row in rotated]
    f = float(np.mean([(s.estimate / s.se) ** 2 for s in single]))
    df = np.array([float(s.df) for s in single])
    if count == 1 or np.ptp(df) < 1e-8:
        return FTest(np.asarray(f), count, np.asarray(df.mean()))
    if (df <= 2.0).any():
        return FTest(np.asarray(f), count, np.asarray(2.0))
    total = float((df / (df - 2.0)).sum())
    return FTest(np.asarray(f), count, np.asarray(2.0 * total / (total - count)))


def kenward_roger_f(pieces: Pieces, contrasts: Array) -> FTest:
    """Return the scaled F test of several contrasts after Kenward & Roger (one study).

    The value is λ·F with F from the adjusted covariance, df2 = m of the paper.
    """
    q = contrasts.shape[0]
    phi = pieces.phi
    middle = np.linalg.inv(contrasts @ phi @ contrasts.T)
    theta = contrasts.T @ middle @ contrasts
    each = [theta @ phi @ a @ phi for a in pieces.a]
    traces = np.array([np.trace(e) for e in each])
    products = np.array([[np.trace(e @ f) for f in each] for e in each])
    a1 = float(traces @ pieces.cov_expected @ traces)
    a2 = float((pieces.cov_expected * products).sum())
    b = (a1 + 6.0 * a2) / (2.0 * q)
    g = ((q + 1) * a1 - (q + 4) * a2) / ((q + 2) * a2)
    denominator = 3.0 * q + 2.0 * (1.0 - g)
    c1, c2, c3 = g / denominator, (q - g) / denominator, (q + 2 - g) / denominator
    expectation = 1.0 / (1.0 - a2 / q)
    variance = (2.0 / q) * (1.0 + c1 * b) / ((1.0 - c2 * b) ** 2 * (1.0 - c3 * b))
    rho = variance / (2.0 * expectation**2)
    m = 4.0 + (q + 2.0) / (q * rho - 1.0)
    scale = m / (expectation * (m - 2.0))
    estimate = contrasts @ pieces.beta
    adjusted = contrasts @ pieces.adjusted @ contrasts.T
    wald = float(estimate @ np.linalg.solve(adjusted, estimate)) / q
    return FTest(np.asarray(scale * wald), q, np.asarray(m))
