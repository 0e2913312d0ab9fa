"""Noise with missing sessions: athlete and session fixed, exact degrees of freedom.

The residual of the model value = athlete + session + noise, fitted to whatever is there, is
exactly sigma² · chi-square with N - athletes - sessions + 1 degrees of freedom (connected
data). For complete data it is the MSE of the two-way table.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from cmjlab.stats.common.mean_squares import Array, no_rounding, ratio

#: Athletes from which those with the same gaps are put together, and most sessions of a code.
_MANY, _MOST_CODED = 256, 62


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


@dataclass(frozen=True)
class Between:
    """Athletes' means after the session effects are taken out, and what the F pivot needs.

    Attributes
    ----------
    block : IntraBlock
        Noise from the athletes with two or more values.
    means : array, shape (..., n)
        Mean of each athlete's values minus session effects; 0 for athletes without a value.
    counts : array, shape (..., n)
        Values per athlete.
    share : array, shape (..., n, k)
        1 / count where there is a value, else 0.
    within : array, shape (..., k, k)
        Information on sessions from within athletes.
    df : array, shape (...)
        Degrees of freedom between athletes.
    squares : array, shape (..., n)
        Squares of the means.
    sizes : array, shape (..., n)
        Athletes behind each place; 1, unless those with the same gaps were put together, when
        means and squares are their sums.
    """

    block: IntraBlock
    means: Array
    counts: Array
    share: Array
    within: Array
    df: Array
    squares: Array
    sizes: Array


def between(values: Array) -> Between:
    """Return the between-athlete information of values with gaps, shape (..., n, k)."""
    values = np.asarray(values, dtype=np.float64)
    block = intra_block(values)
    there = np.isfinite(values)
    m = there.astype(np.float64)
    counts = m.sum(axis=-1)
    share = m / np.maximum(counts, 1)[..., None]
    x = np.where(there, values, 0.0)
    centre = ratio(x.sum(axis=(-2, -1)), m.sum(axis=(-2, -1)))
    x = np.where(there, values - np.nan_to_num(centre)[..., None, None], 0.0)
    effects = np.nan_to_num(block.effects)[..., None, :]
    means = np.sum(np.where(there, x - effects, 0.0) * share, axis=-1)
    within = _diagonal(m.sum(axis=-2)) - np.einsum("...ij,...il->...jl", m, share)
    sessions = (m.sum(axis=-2) > 0).sum(axis=-1)
    df = m.sum(axis=(-2, -1)) - sessions - block.df
    return Between(block, means, counts, share, within, df, means**2, np.ones_like(means))


def together(data: Between, there: NDArray[np.bool_]) -> Between:
    """Return the same with all athletes that have the same gaps put together.

    The pivot knows an athlete by the gaps, and by sums of means and squares: of 50,000 athletes
    in five sessions at most 32 places are left.

    Parameters
    ----------
    data : Between
        Arrays of shape (m, n, …); those of other shapes, or of few athletes, stay as they are.
    there : array of bool, shape (m, n, k)
        Where there is a value.
    """
    if there.ndim != 3 or there.shape[1] < _MANY or there.shape[2] > _MOST_CODED:
        return data
    m, n, k = there.shape
    code = there @ (1 << np.arange(k))
    patterns, first, place = np.unique(code, return_index=True, return_inverse=True)
    if 4 * len(patterns) > n:
        return data
    size = len(patterns)
    place = place.reshape(m, n) + size * np.arange(m)[:, None]

    def summed(weights: Array | None = None) -> Array:
        flat = None if weights is None else weights.ravel()
        return np.bincount(place.ravel(), flat, m * size).reshape(m, size).astype(np.float64)

    row, column = np.divmod(first, n)
    return replace(
        data,
        means=summed(data.means),
        squares=summed(data.squares),
        sizes=summed(),
        counts=np.broadcast_to(data.counts[row, column], (m, size)),
        share=np.broadcast_to(data.share[row, column], (m, size, k)),
    )


def pivot(data: Between, rho: Array) -> Array:
    """Return the F pivot of the intraclass correlation ``rho`` = between / (between + noise).

    For the true ``rho`` it has an F distribution with ``data.df`` and ``data.block.df`` degrees
    of freedom; it falls as ``rho`` rises. Complete data: (MSR / MSE) (1 - rho) / (1 + (k-1) rho).

    Notes
    -----
    Wald (1947), Ann Math Stat 18:586; Seely & El-Bassiouni (1983); Harville & Fenech (1985),
    Biometrics 41:137 (titles from memory).
    """
    rho = np.asarray(rho, dtype=np.float64)[..., None]
    g = np.where(data.counts > 0, ratio(1 - rho, 1 + rho * (data.counts - 1)), 0.0)
    weight = g * data.counts
    crowd = weight * data.sizes
    information = data.within + np.einsum("...i,...ij,...il->...jl", crowd, data.share, data.share)
    right = np.einsum("...i,...ij->...j", weight * data.means, data.share)
    # Sessions without any value: a 1 on the diagonal keeps the matrix invertible.
    empty = np.diagonal(information, axis1=-2, axis2=-1) == 0
    information = information + _diagonal(empty.astype(np.float64))
    solved = np.linalg.solve(information, right[..., None])[..., 0]
    q = np.sum(weight * data.squares, axis=-1) - np.sum(right * solved, axis=-1)
    return ratio(np.maximum(q, 0.0) / np.maximum(data.df, 1), data.block.mse)


def consistency_missing(values: Array, level: float) -> tuple[Array, Array, Array]:
    """Return ICC(C,1) with its exact limits from all values, gaps included.

    Parameters
    ----------
    values : array, shape (..., n, k)
        nan where missing.
    level : float
        Level of the interval.

    Returns
    -------
    estimate, low, high : arrays, shape (...)
        The estimate is where the pivot equals 1: for complete data McGraw & Wong's ICC(C,1),
        which may be negative. nan where there is no noise or no athlete to estimate it from.
    """
    from cmjlab.stats.common.intervals import f_quantile

    data = together(between(values), np.isfinite(values))
    tail = 0.5 - level / 2
    targets = [
        np.ones_like(data.df),
        f_quantile(1 - tail, data.df, data.block.df),
        f_quantile(tail, data.df, data.block.df),
    ]
    largest = np.maximum(data.counts.max(axis=-1), 2.0)
    usable = (data.df > 0) & (data.block.df > 0) & (data.block.mse > 0)
    floor = -1 / (largest - 1)
    out = []
    for target in targets:
        low = floor + 1e-12
        high = np.ones_like(floor)
        for _ in range(52):
            middle = 0.5 * (low + high)
            above = pivot(data, middle) > target
            low, high = np.where(above, middle, low), np.where(above, high, middle)
        out.append(np.where(usable, 0.5 * (low + high), np.nan))
    return out[0], out[1], out[2]
