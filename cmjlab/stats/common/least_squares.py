"""Least squares for small groups: classical, HC2 with Bell-McCaffrey degrees of freedom, HC3.

All kernels work on stacks: the last axis of an outcome is the athlete, the last two axes of
a design are athlete and column, and any leading axes are separate studies. One study needs
no leading axis.

Why HC2 with Bell-McCaffrey is the default elsewhere in cmjlab: with unequal spread *and*
unequal group sizes the classical interval misses its level, HC3 with t(n - p) is too wide
in small groups, and this one keeps its level in both. Without a covariate and with two
groups it is Welch's standard error.

Sources: MacKinnon & White 1985 (J Econometrics 29:305), Bell & McCaffrey 2002 (Survey
Methodology 28:169), Imbens & Kolesár 2016 (Rev Econ Stat 98:701); from memory.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy import special

Array = NDArray[np.float64]

#: How a standard error can be computed, the default first.
COVARIANCES = ("hc2_bm", "classical", "hc3")
#: A spread below this share of the values' size is rounding, not spread.
ROUNDING = 1e-12


@dataclass(frozen=True)
class Estimate:
    """An estimate with standard error and degrees of freedom (scalars, or one per study)."""

    estimate: Array | float
    se: Array | float
    df: Array | float

    def interval(self, level: float) -> tuple[Array, Array]:
        """Return the two-sided t interval."""
        half = self.se * special.stdtrit(self.df, 0.5 + level / 2)
        return np.asarray(self.estimate - half), np.asarray(self.estimate + half)

    def p_value(self, null: float = 0.0) -> Array:
        """Return the two-sided p value of the t test against ``null``."""
        return two_sided_p((self.estimate - null) / self.se, self.df)


@dataclass(frozen=True)
class LeastSquares:
    """A least-squares fit.

    Attributes
    ----------
    design : array, shape (..., n, p)
    coefficients : array, shape (..., p)
    residuals, leverage : array, shape (..., n)
    inverse : array, shape (..., p, p)
        Inverse of X'X.
    variance : array, shape (...)
        Residual variance.
    df : int
        Residual degrees of freedom, n - p.
    """

    design: Array
    coefficients: Array
    residuals: Array
    leverage: Array
    inverse: Array
    variance: Array
    df: int


def two_sided_p(t: Array | float, df: Array | float) -> Array:
    """Return the two-sided p value of a t statistic."""
    return np.asarray(2.0 * special.stdtr(df, -np.abs(t)))


def is_constant(values: Array) -> bool:
    """Return whether values differ by no more than rounding."""
    spread = float(np.ptp(values))
    return spread <= ROUNDING * max(float(np.abs(values).max()), np.finfo(float).tiny) * 100


def full_rank(design: Array) -> bool:
    """Return whether the columns of one design are linearly independent (beyond rounding)."""
    scale = np.sqrt((design**2).sum(axis=0))
    if (scale == 0).any():
        return False
    return int(np.linalg.matrix_rank(design / scale, tol=1e-9)) == design.shape[1]


def least_squares(outcome: Array, design: Array) -> LeastSquares:
    """Fit by QR.

    Parameters
    ----------
    outcome : array, shape (..., n)
    design : array, shape (..., n, p)
        Must have full column rank (see :func:`full_rank`) and n > p.

    Returns
    -------
    LeastSquares
    """
    q, r = np.linalg.qr(design)
    projected = np.einsum("...np,...n->...p", q, outcome)
    r_inverse = np.linalg.inv(r)
    coefficients = np.einsum("...ij,...j->...i", r_inverse, projected)
    residuals = outcome - np.einsum("...np,...p->...n", q, projected)
    df = design.shape[-2] - design.shape[-1]
    return LeastSquares(
        design=design,
        coefficients=coefficients,
        residuals=residuals,
        leverage=(q**2).sum(axis=-1),
        inverse=r_inverse @ np.swapaxes(r_inverse, -1, -2),
        variance=np.asarray((residuals**2).sum(axis=-1) / df),
        df=df,
    )


def contrast(fit: LeastSquares, weights: Array, covariance: str = "hc2_bm") -> Estimate:
    """Return a linear combination of the coefficients.

    Parameters
    ----------
    fit : LeastSquares
    weights : array, shape (p,) or (..., p)
    covariance : {"hc2_bm", "classical", "hc3"}

    Returns
    -------
    Estimate
    """
    weights = np.asarray(weights, dtype=np.float64)
    estimate = (fit.coefficients * weights).sum(axis=-1)
    if covariance == "classical":
        quadratic = np.einsum("...i,...ij,...j->...", weights, fit.inverse, weights)
        df = np.full(np.shape(estimate), float(fit.df))
        return Estimate(estimate, np.sqrt(fit.variance * quadratic), df)
    influence = influence_of(fit, weights)
    remaining = 1.0 - fit.leverage
    if covariance == "hc3":
        se = np.sqrt(((influence * fit.residuals / remaining) ** 2).sum(axis=-1))
        return Estimate(estimate, se, np.full(np.shape(estimate), float(fit.df)))
    if covariance != "hc2_bm":
        raise KeyError(covariance)
    se = np.sqrt((influence**2 * fit.residuals**2 / remaining).sum(axis=-1))
    return Estimate(estimate, se, _bell_mccaffrey_df(fit, influence))


def influence_of(fit: LeastSquares, weights: Array) -> Array:
    """Return each athlete's weight in the combination, shape (..., n)."""
    direction = np.einsum(
        "...ij,...j->...i", fit.inverse, np.broadcast_to(weights, fit.coefficients.shape)
    )
    return np.einsum("...np,...p->...n", fit.design, direction)


def _bell_mccaffrey_df(fit: LeastSquares, influence: Array) -> Array:
    """Return the Satterthwaite df of the HC2 variance under equal spread.

    The variance is e' D e with e = M y, so the df are tr(DM)² / tr((DM)²).
    """
    hat = fit.design @ fit.inverse @ np.swapaxes(fit.design, -1, -2)
    maker = np.eye(hat.shape[-1]) - hat
    weight = influence**2 / (1.0 - fit.leverage)
    top = (influence**2).sum(axis=-1) ** 2
    bottom = (weight * (maker**2 @ weight[..., None])[..., 0]).sum(axis=-1)
    return np.asarray(top / bottom)


def contrast_covariance(fit: LeastSquares, weights: Array, covariance: str = "hc2_bm") -> Array:
    """Return the covariance matrix of several combinations of one fit.

    Parameters
    ----------
    fit : LeastSquares
        One study.
    weights : array, shape (k, p)
    covariance : {"hc2_bm", "classical", "hc3"}

    Returns
    -------
    array, shape (k, k)
    """
    weights = np.atleast_2d(np.asarray(weights, dtype=np.float64))
    if covariance == "classical":
        return np.asarray(fit.variance * (weights @ fit.inverse @ weights.T))
    power = {"hc2_bm": 1.0, "hc3": 2.0}[covariance]
    influence = weights @ fit.inverse @ fit.design.T
    scaled = fit.residuals**2 / (1.0 - fit.leverage) ** power
    return np.asarray((influence * scaled) @ influence.T)


def f_test(smaller: LeastSquares, larger: LeastSquares) -> tuple[float, int, int, float]:
    """Return F, its two degrees of freedom and p for two nested fits of one study."""
    df1 = smaller.df - larger.df
    rss_small = float((smaller.residuals**2).sum())
    rss_large = float((larger.residuals**2).sum())
    f = (rss_small - rss_large) / df1 / (rss_large / larger.df)
    return f, df1, larger.df, float(special.fdtrc(df1, larger.df, f))
