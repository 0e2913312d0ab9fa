"""Noise with missing sessions: athlete and session fixed, exact degrees of freedom.

The residual of the model value = athlete + session + noise, fitted to whatever is there, is
exactly sigma² · chi-square with N - athletes - sessions + 1 degrees of freedom (connected
data). For complete data it is the MSE of the two-way table.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from cmjlab.stats.anova import Array, no_rounding, ratio


@dataclass(frozen=True)
class IntraBlock:
    """Residual of athletes and sessions fixed, from all values of athletes with two or more.

    Attributes
    ----------
    mse : array, shape (...)
        Residual mean square; nan when df is 0.
    df : array, shape (...)
        Exact degrees of freedom.
    n : array, shape (...)
        Athletes with two or more values: only these say anything about noise.
    effects : array, shape (..., k)
        Session effects, adding to zero; nan for a session without values.
    covariance : array, shape (..., k, k)
        Covariance of the effects, in units of the noise variance.
    """

    mse: Array
    df: Array
    n: Array
    effects: Array
    covariance: Array


def intra_block(values: Array) -> IntraBlock:
    """Fit athlete + session to values with gaps.

    Parameters
    ----------
    values : array, shape (..., n_athletes, n_sessions)
        nan where missing.
    """
    values = np.asarray(values, dtype=np.float64)
    there = np.isfinite(values)
    there = there & (there.sum(axis=-1) >= 2)[..., None]
    m = there.astype(np.float64)
    count = m.sum(axis=-1)
    x = np.where(there, values, 0.0)
    scale = np.abs(x).max(axis=(-2, -1), initial=0.0)
    own = np.where(count > 0, x.sum(axis=-1) / np.maximum(count, 1), 0.0)
    d = np.where(there, x - own[..., None], 0.0)
    # Twice, so that an offset of 1e6 leaves no rounding behind.
    again = d.sum(axis=-1) / np.maximum(count, 1)
    d = np.where(there, d - again[..., None], 0.0)
    share = m / np.maximum(count, 1)[..., None]
    reduced = _diagonal(m.sum(axis=-2)) - np.einsum("...ij,...il->...jl", m, share)
    inverse = np.linalg.pinv(reduced, rcond=1e-10, hermitian=True)
    right = d.sum(axis=-2)
    effects = np.einsum("...jl,...l->...j", inverse, right)
    # The plain residual is used, not a difference of sums, which would lose digits.
    fitted = effects[..., None, :] - np.sum(share * effects[..., None, :], axis=-1)[..., None]
    residual = np.where(there, d - fitted, 0.0)
    sse = np.sum(residual * residual, axis=(-2, -1))
    rank = np.linalg.matrix_rank(reduced, tol=1e-8, hermitian=True)
    n = (count > 0).sum(axis=-1).astype(np.float64)
    df = np.maximum(m.sum(axis=(-2, -1)) - n - rank, 0.0)
    mse = np.where(df > 0, no_rounding(ratio(sse, df), scale), np.nan)
    seen = m.sum(axis=-2) > 0
    return IntraBlock(mse, df, n, np.where(seen, effects, np.nan), inverse)


def _diagonal(v: Array) -> Array:
    return np.asarray(v[..., None] * np.eye(v.shape[-1]), dtype=np.float64)
