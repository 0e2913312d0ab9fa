"""REML of the compound-symmetry model (random intercept) for many studies at once.

One athlete's values have covariance σ²I + τ²J, whatever sessions are missing. Its
eigenvalues are σ² (within the athlete) and σ² + nτ² (mean of n sessions), so that the whole
model is a sum of a within part and weighted squares of athlete means. The likelihood is
profiled over λ = τ²/σ² and maximised by a safeguarded Newton search with exact first and
second derivatives; everything that the tests need follows in closed form.

Boundary rule (written before any simulation)
---------------------------------------------
τ² is the covariance between two sessions of an athlete. It is allowed to come out negative,
down to where V stops being positive definite (−σ²/n for the athlete with most sessions).
Cutting it at 0, as programs do that think of τ² as a variance, pools athlete means into the
error exactly when they happen to be close together: the residual variance becomes too small
and the test of change stops being exact in complete data. So:

* λ < 0: the fit is kept as it is for estimates, tests and intervals; the SD between athletes
  is reported as 0 with a note. Complete data then give the same test as the mixed ANOVA.
* ``nonnegative=True``: λ is cut at 0, τ² is taken as known to be 0, and both methods give the
  degrees of freedom of the fixed-effects model, N − p. For comparison with other programs.
* σ² → 0 (perfect correlation) or V at the edge of being positive definite: status
  "singular"; no test is given, the contrast per athlete stands alone.
* all residuals equal to rounding: status "no_variance"; a session × group cell without a
  value or fewer values than parameters: status "rank".
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from cmjlab.stats.common.reml_tests import Pieces

Array = NDArray[np.float64]

#: Status codes of a fit.
STATUS = ("ok", "negative", "boundary", "singular", "no_variance", "rank")
_OK, _NEGATIVE, _BOUNDARY, _SINGULAR, _NO_VARIANCE, _RANK = range(6)
#: log(1 + n_max λ): from −σ²/n_max almost reached to a correlation of 1 − 1e-9 or so.
_GRID_LOW, _GRID_HIGH, _GRID_POINTS = -14.0, 26.0, 61


@dataclass(frozen=True)
class InterceptFit:
    """Fits of many studies; leading axis: studies.

    Attributes
    ----------
    status : array of int, shape (s,)
        Index into :data:`STATUS`; results of a study with status "singular" or worse are nan.
    sigma2, tau2, criterion : array, shape (s,)
        Residual variance, covariance between sessions, −2 × REML log-likelihood.
    pieces : Pieces
        Parameters are (σ², τ²).
    """

    status: NDArray[np.int64]
    sigma2: Array
    tau2: Array
    criterion: Array
    pieces: Pieces


@dataclass(frozen=True)
class _Sums:
    """Sufficient statistics; the last row and column of SSCP matrices is the response."""

    within: Array  # (s, p+1, p+1) within-athlete sums of squares and products
    means: Array  # (s, m, p+1) athlete sums / sqrt(n)
    counts: Array  # (s, m) values per athlete
    start: Array  # (s, p) least-squares estimates, taken off the response
    status: NDArray[np.int64]

    @property
    def error_df(self) -> Array:
        """N − p, shape (s,)."""
        return np.asarray(self.counts.sum(axis=1) - self.start.shape[1])


def fit_intercept(
    y: Array, x: Array, observed: NDArray[np.bool_], *, nonnegative: bool = False
) -> InterceptFit:
    """Fit the random-intercept model to many studies by REML.

    Parameters
    ----------
    y : array, shape (s, m, k)
        Studies × athletes × sessions; what stands where ``observed`` is False is not used.
    x : array, shape (m, k, p) or (s, m, k, p)
        Fixed effects.
    observed : array of bool, shape (m, k) or (s, m, k)
    nonnegative : bool
        Cut τ² at 0 (see the boundary rule of this module).

    Returns
    -------
    InterceptFit
    """
    sums = _sums(y, x, observed)
    rate = np.maximum(sums.counts.max(axis=1), 1.0)
    status = sums.status.copy()
    low = 0.0 if nonnegative else _GRID_LOW
    t, edge = _search(sums, rate, low, _profile_sums(sums))
    status = np.where((status == _OK) & (edge > 0), _SINGULAR, status)
    lowest = _BOUNDARY if nonnegative else _SINGULAR
    status = np.where((status == _OK) & (edge < 0), lowest, status)
    ratio = np.expm1(t) / rate
    ratio = np.where(status == _BOUNDARY, 0.0, ratio)
    status = np.where((status == _OK) & (ratio < 0), _NEGATIVE, status)
    return _finish(sums, np.asarray(ratio), status)


def _sums(y: Array, x: Array, observed: NDArray[np.bool_]) -> _Sums:
    studies, _, _ = y.shape
    seen = np.broadcast_to(observed, y.shape).astype(float)
    design = np.broadcast_to(x, (studies, *x.shape[-3:])) * seen[..., None]
    p = design.shape[-1]
    response = np.where(seen > 0, y, 0.0)
    gram = np.einsum("smkp,smkq->spq", design, design)
    rank_ok = (np.linalg.matrix_rank(gram, hermitian=True) == p) & (seen.sum((1, 2)) > p)
    gram[~rank_ok] = np.eye(p)
    start = np.linalg.solve(gram, np.einsum("smkp,smk->sp", design, response)[..., None])[..., 0]
    residual = (response - np.einsum("smkp,sp->smk", design, start)) * seen
    size = np.abs(response).max(axis=(1, 2))
    flat = np.abs(residual).max(axis=(1, 2)) <= 1e-10 * size
    residual[flat | ~rank_ok] = 0.0
    status = np.where(rank_ok, np.where(flat, _NO_VARIANCE, _OK), _RANK)
    both = np.concatenate([design, residual[..., None]], axis=-1)
    counts = seen.sum(axis=2)
    means = both.sum(axis=2) / np.sqrt(np.maximum(counts, 1.0))[..., None]
    total = np.einsum("smkp,smkq->spq", both, both)
    within = total - np.einsum("smp,smq->spq", means, means)
    return _Sums(within, means, counts, start, status.astype(np.int64))


def _profile_sums(sums: _Sums) -> _Sums:
    """Return sums in which unusable studies are replaced by a harmless one."""
    bad = sums.status != _OK
    if not bad.any():
        return sums
    within, means, counts = sums.within.copy(), sums.means.copy(), sums.counts.copy()
    within[bad] = np.eye(within.shape[-1])
    means[bad] = 0.0
    counts[bad] = 2.0
    return _Sums(within, means, counts, sums.start, sums.status)


def _search(
    original: _Sums, rate: Array, low: float, sums: _Sums
) -> tuple[Array, NDArray[np.int64]]:
    """Return the best t = log(1 + n_max λ) and −1 / 0 / +1 for lower edge, inside, upper edge."""
    rate = np.where(original.status == _OK, rate, 2.0)
    grid = np.linspace(low, _GRID_HIGH, _GRID_POINTS)
    values = np.stack([_profile(sums, np.expm1(t) / rate) for t in grid], axis=1)
    best = values.argmin(axis=1)
    edge = np.where(best == 0, -1, np.where(best == grid.size - 1, 1, 0))
    lower, upper = grid[np.maximum(best - 1, 0)], grid[np.minimum(best + 1, grid.size - 1)]
    # A minimum between the first two grid points: the criterion falls at the lower edge.
    slope, _ = _slopes(sums, np.full(rate.shape, low), rate)
    edge = np.where((edge < 0) & (slope < 0), 0, edge)
    t = np.where(edge == 0, np.where(best == 0, 0.5 * (lower + upper), grid[best]), grid[best])
    for _ in range(80):
        slope, curve = _slopes(sums, t, rate)
        lower, upper = np.where(slope < 0, t, lower), np.where(slope > 0, t, upper)
        newton = t - slope / np.where(curve > 0, curve, 1.0)
        inside = (curve > 0) & (newton > lower) & (newton < upper)
        step = np.where(inside, newton, 0.5 * (lower + upper)) - t
        step = np.where((edge == 0) & (slope != 0), step, 0.0)
        t = t + step
        if (np.abs(step) < 1e-13 * (1.0 + np.abs(t))).all():
            break
    return t, edge


def _weighted(sums: _Sums, weight: Array) -> Array:
    """Return Σ weight_i m_i m_iᵀ, shape (s, p+1, p+1)."""
    return np.asarray(np.swapaxes(sums.means, 1, 2) @ (sums.means * weight[..., None]))


def _profile(sums: _Sums, ratio: Array) -> Array:
    """Return Σ log(1+nλ) + log|XᵀH⁻¹X| + (N−p) log RSS, shape (s,)."""
    growth = 1.0 + sums.counts * ratio[:, None]
    root = np.linalg.cholesky(sums.within + _weighted(sums, 1.0 / growth))
    diagonal = np.log(np.diagonal(root, axis1=1, axis2=2))
    fixed = 2.0 * diagonal[:, :-1].sum(axis=1)
    return np.asarray(np.log(growth).sum(axis=1) + fixed + sums.error_df * 2.0 * diagonal[:, -1])


def _slopes(sums: _Sums, t: Array, rate: Array) -> tuple[Array, Array]:
    """Return first and second derivative of the profile criterion with respect to t."""
    ratio = np.expm1(t) / rate
    n = sums.counts
    growth = 1.0 + n * ratio[:, None]
    c = sums.within + _weighted(sums, 1.0 / growth)
    d1 = _weighted(sums, n / growth**2)
    d2 = _weighted(sums, 2.0 * n**2 / growth**3)
    inverse = np.linalg.inv(c[:, :-1, :-1])
    beta = np.einsum("spq,sq->sp", inverse, c[:, :-1, -1])
    a = np.concatenate([-beta, np.ones((beta.shape[0], 1))], axis=1)
    rss = np.einsum("sp,spq,sq->s", a, c, a)
    first = -np.einsum("sp,spq,sq->s", a, d1, a) / rss
    u = np.einsum("spq,sq->sp", d1[:, :-1, :], a)
    second = np.einsum("sp,spq,sq->s", a, d2, a) - 2.0 * np.einsum("sp,spq,sq->s", u, inverse, u)
    md = inverse @ d1[:, :-1, :-1]
    slope = (n / growth).sum(axis=1) - np.trace(md, axis1=1, axis2=2) + sums.error_df * first
    curve = (
        -((n / growth) ** 2).sum(axis=1)
        + np.einsum("spq,sqp->s", inverse, d2[:, :-1, :-1])
        - np.einsum("spq,sqp->s", md, md)
        + sums.error_df * (second / rss - first**2)
    )
    chain = np.exp(t) / rate
    return slope * chain, curve * chain**2 + slope * chain


def _finish(sums: _Sums, ratio: Array, status: NDArray[np.int64]) -> InterceptFit:
    """Return variances, criterion and the pieces of the tests at the optimum."""
    good = status < _SINGULAR
    kept = _Sums(
        sums.within[good], sums.means[good], sums.counts[good], sums.start[good], status[good]
    )
    ratio = ratio[good]
    growth = 1.0 + kept.counts * ratio[:, None]
    c = kept.within + _weighted(kept, 1.0 / growth)
    delta = np.linalg.solve(c[:, :-1, :-1], c[:, :-1, -1:])[..., 0]
    rss = c[:, -1, -1] - np.einsum("sp,sp->s", c[:, :-1, -1], delta)
    sigma2 = rss / kept.error_df
    criterion = _profile(kept, ratio) - kept.error_df * np.log(rss)
    criterion = criterion + kept.error_df * (1.0 + np.log(2.0 * np.pi * sigma2))
    pieces = _pieces(kept, sigma2, ratio * sigma2, np.asarray(delta))
    spread = [_spread(v, good) for v in (sigma2, ratio * sigma2, criterion)]
    parts = [
        _spread(v, good)
        for v in (
            pieces.beta, pieces.phi, pieces.a, pieces.q, pieces.cov_exact, pieces.cov_expected,
        )
    ]  # fmt: skip
    return InterceptFit(status, spread[0], spread[1], spread[2], Pieces(*parts))


def _spread(values: Array, good: NDArray[np.bool_]) -> Array:
    """Return values at the good studies, nan elsewhere."""
    out = np.full((good.size, *values.shape[1:]), np.nan)
    out[good] = values
    return out


def _pieces(sums: _Sums, sigma2: Array, tau2: Array, delta: Array) -> Pieces:
    """Return Φ, A, Q and both covariances of (σ̂², τ̂²) in closed form."""
    n = sums.counts
    d = sigma2[:, None] + n * tau2[:, None]
    s = sigma2[:, None, None]

    def pair(power_n: int, power_d: int) -> Array:
        """Σ n^a m mᵀ / d^b plus the within part when J is not involved."""
        part = _weighted(sums, n**power_n / d**power_d)
        return part + sums.within / s**power_d if power_n == 0 else part

    a = np.stack([pair(0, 2), pair(1, 2)], axis=1)
    q11, q12, q22 = pair(0, 3), pair(1, 3), pair(2, 3)
    phi = np.linalg.inv(pair(0, 1)[:, :-1, :-1])
    r = np.concatenate([-delta, np.ones((delta.shape[0], 1))], axis=1)
    quadratic = np.stack([np.einsum("sp,spq,sq->s", r, v, r) for v in (q11, q12, q22)], axis=1)
    u = np.einsum("srpq,sq->srp", a[:, :, :-1, :], r)
    fixed = a[:, :, :-1, :-1]
    q = np.stack([q11, q12, q12, q22], axis=1)[:, :, :-1, :-1]
    q = q.reshape(q.shape[0], 2, 2, *q.shape[2:])
    traces = np.stack(
        [((n - (n > 0)) / sigma2[:, None] ** 2 + (n > 0) / d**2).sum(1), (n / d**2).sum(1),
         (n**2 / d**2).sum(1)], axis=1,
    )  # fmt: skip
    square = [0, 1, 1, 2]
    expected = traces[:, square].reshape(-1, 2, 2)
    pa = np.einsum("spq,srqt->srpt", phi, fixed)
    expected = expected - 2.0 * np.einsum("spq,srtqp->srt", phi, q)
    expected = expected + np.einsum("srpq,stqp->srt", pa, pa)
    data = quadratic[:, square].reshape(-1, 2, 2) - np.einsum("srp,spq,stq->srt", u, phi, u)
    hessian = 2.0 * data - expected
    exact, information = _inverse(hessian, sums.status), _inverse(expected, sums.status)
    return Pieces(sums.start + delta, np.asarray(phi), fixed, q, exact, information)


def _inverse(matrix: Array, status: NDArray[np.int64]) -> Array:
    """Return 2 × inverse; where τ² is fixed at 0 only σ² has a variance."""
    cut = status == _BOUNDARY
    safe = matrix.copy()
    safe[cut] = np.eye(2)
    out: Array = np.asarray(2.0 * np.linalg.inv(safe))
    out[cut] = 0.0
    out[cut, 0, 0] = 2.0 / matrix[cut, 0, 0]
    return out
