"""REML of a covariance that is linear in its parameters: V = Σ θ_r G_r.

Random slope (intercept, slope, their covariance, residual) and unstructured covariance are
of this kind. The criterion is minimised by Newton steps with the exact Hessian, or by steps
with the expected information where the Hessian is not positive definite, halved until the
criterion falls. All sums run over athletes; nothing of the size of the whole data is built.

Boundary rule (written before any simulation)
---------------------------------------------
The parameters are free as long as V is positive definite for every athlete. So a variance of
slopes may come out negative (values that vary less from athlete to athlete than the residual
allows); such a fit is kept, because cutting it would bias the residual variance and with it
the tests, and it is reported as an SD of 0 with a note (status "negative" is set by the
caller, who knows what the parameters mean). Where no interior minimum with a positive
definite Hessian is found, V comes close to losing its rank, or the data are constant, the
status is "singular", "no_variance" or "rank", nothing is tested, and the contrast per
athlete stands alone.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from cmjlab.stats.common.reml_tests import Pieces

Array = NDArray[np.float64]

#: Smallest eigenvalue of V relative to its largest that still counts as positive definite.
_CONDITION = 1e-9


@dataclass(frozen=True)
class LinearFit:
    """One fit.

    Attributes
    ----------
    status : str
        "ok", "singular", "no_variance" or "rank"; the other fields are nan unless "ok".
    theta : array, shape (r,)
        Covariance parameters in the units of the data squared.
    criterion : float
        −2 × REML log-likelihood.
    pieces : Pieces
    """

    status: str
    theta: Array
    criterion: float
    pieces: Pieces


@dataclass(frozen=True)
class _Data:
    y: Array  # (m, k), 0 where missing
    x: Array  # (m, k, p), 0 where missing
    g: Array  # (r, m, k, k), 0 where missing
    hole: Array  # (m, k, k), 1 on the diagonal of missing values
    free: int  # N − p


@dataclass(frozen=True)
class _Point:
    criterion: float
    w: Array  # (m, k, k) inverse of V
    phi: Array
    beta: Array
    a: Array  # (r, p, p)
    gz: Array  # (r, m·k) G_r W r
    gwx: Array  # (r, m, k, p) G_r W X
    u: Array  # (r, p) Xᵀ W G_r W r
    score: Array  # (r,)


def slope_structure(times: Array) -> Array:
    """Return G of residual, intercept, covariance and slope, shape (4, k, k).

    Parameters
    ----------
    times : array, shape (k,)
    """
    one = np.ones_like(times)
    cross = np.outer(one, times)
    return np.stack(
        [np.eye(times.size), np.outer(one, one), cross + cross.T, np.outer(times, times)]
    )


def unstructured(count: int) -> Array:
    """Return G of a covariance without structure, shape (count·(count+1)/2, count, count)."""
    rows, columns = np.tril_indices(count)
    g = np.zeros((rows.size, count, count))
    g[np.arange(rows.size), rows, columns] = 1.0
    g[np.arange(rows.size), columns, rows] = 1.0
    return g


def fit_linear(
    y: Array, x: Array, observed: NDArray[np.bool_], *, g: Array, start: Array
) -> LinearFit:
    """Fit one study by REML.

    Parameters
    ----------
    y : array, shape (m, k)
        Athletes × sessions; what stands where ``observed`` is False is not used.
    x : array, shape (m, k, p)
        Fixed effects.
    observed : array of bool, shape (m, k)
    g : array, shape (r, k, k)
        Structure of the covariance of one athlete's values.
    start : array, shape (r,)
        Starting values relative to the residual variance of least squares; V must be positive
        definite there.
    """
    seen = observed.astype(float)
    design = x * seen[..., None]
    flat_x, flat_y = design[observed], y[observed]
    p = x.shape[2]
    if flat_y.size <= p or np.linalg.matrix_rank(flat_x) < p:
        return no_fit("rank", g.shape[0], p)
    beta0 = np.linalg.lstsq(flat_x, flat_y, rcond=None)[0]
    residual = np.where(observed, np.where(observed, y, 0.0) - design @ beta0, 0.0)
    if np.abs(residual).max() <= 1e-10 * np.abs(flat_y).max():
        return no_fit("no_variance", g.shape[0], p)
    unit = float(np.sqrt((residual**2).sum() / (flat_y.size - p)))
    mask = seen[:, :, None] * seen[:, None, :]
    hole = np.eye(y.shape[1]) * (1.0 - seen)[:, :, None]
    data = _Data(residual / unit, design, g[:, None] * mask, hole, flat_y.size - p)
    theta = _minimise(data, np.asarray(start, dtype=float))
    if theta is None:
        return no_fit("singular", g.shape[0], p)
    return _finish(data, theta, beta0, unit)


def no_fit(status: str, r: int, p: int) -> LinearFit:
    """Return a fit of r covariance and p fixed parameters that holds nothing but its status."""

    def hole(*shape: int) -> Array:
        return np.full(shape, np.nan)

    pieces = Pieces(hole(p), hole(p, p), hole(r, p, p), hole(r, r, p, p), hole(r, r), hole(r, r))
    return LinearFit(status, hole(r), np.nan, pieces)


def _point(data: _Data, theta: Array) -> _Point | None:
    """Return the criterion and what its derivatives need, None where V is not usable.

    The data are in units of their residual SD, so that the 1 of a missing value does not
    decide the condition of V.
    """
    r, (m, k, p) = theta.size, data.x.shape
    v = (theta @ data.g.reshape(r, -1)).reshape(m, k, k) + data.hole
    values = np.linalg.eigvalsh(v)
    if values.min() <= _CONDITION * values.max():
        return None
    w = np.linalg.inv(v)
    wx = w @ data.x
    flat = wx.reshape(m * k, p)
    gram = data.x.reshape(m * k, p).T @ flat
    sign, logdet_x = np.linalg.slogdet(gram)
    if sign <= 0:
        return None
    phi = np.linalg.inv(gram)
    beta = phi @ (flat.T @ data.y.ravel())
    residual = data.y - data.x @ beta
    z = (w @ residual[..., None])[..., 0]
    gz = (data.g @ z[..., None]).reshape(r, m * k)
    gwx = data.g @ wx
    a = flat.T @ gwx.reshape(r, m * k, p)
    score = data.g.reshape(r, -1) @ w.ravel() - a.reshape(r, -1) @ phi.ravel() - gz @ z.ravel()
    constant = data.free * np.log(2.0 * np.pi)
    quadratic = float(residual.ravel() @ z.ravel())
    criterion = float(np.log(values).sum() + logdet_x + quadratic + constant)
    return _Point(criterion, np.asarray(w), np.asarray(phi), beta, a, gz, gwx, gz @ flat, score)


def _curvature(data: _Data, at: _Point) -> tuple[Array, Array, Array]:
    """Return exact Hessian of the criterion, expected tr(P G_r P G_s), and Q."""
    r, (m, k, p) = at.score.size, data.x.shape
    wg = at.w @ data.g
    traces = wg.reshape(r, -1) @ np.swapaxes(wg, 2, 3).reshape(r, -1).T
    right = np.moveaxis((at.w @ at.gwx).reshape(r, m * k, p), 0, 1).reshape(m * k, r * p)
    left = np.moveaxis(at.gwx.reshape(r, m * k, p), 0, 1).reshape(m * k, r * p)
    q = np.ascontiguousarray((left.T @ right).reshape(r, p, r, p).transpose(0, 2, 1, 3))
    pa = at.phi @ at.a
    expected = traces - 2.0 * (q.reshape(r, r, -1) @ at.phi.ravel())
    expected = expected + pa.reshape(r, -1) @ np.swapaxes(pa, 1, 2).reshape(r, -1).T
    wgz = (at.w @ at.gz.reshape(r, m, k, 1)).reshape(r, m * k)
    data_part = at.gz @ wgz.T - at.u @ at.phi @ at.u.T
    return 2.0 * data_part - expected, expected, q


def _minimise(data: _Data, theta: Array) -> Array | None:
    """Return the interior minimum of the criterion, None when there is none."""
    at = _point(data, theta)
    for _ in range(60):
        if at is None:
            return None
        hessian, expected, _ = _curvature(data, at)
        positive = bool(np.linalg.eigvalsh(hessian).min() > 0)
        matrix = hessian if positive else expected
        step: Array = np.asarray(-np.linalg.lstsq(matrix, at.score, rcond=None)[0])
        decrement = float(-at.score @ step)
        if positive and decrement < 1e-18:
            return theta
        moved = _shorter(data, at, theta, step)
        if moved is None:
            return theta if positive and decrement < 1e-9 else None
        theta, at = moved
    return None


def _shorter(data: _Data, at: _Point, theta: Array, step: Array) -> tuple[Array, _Point] | None:
    """Return the first of step, step/2, step/4, … that keeps V usable and does not climb."""
    for _ in range(30):
        found = _point(data, theta + step)
        if found is not None and found.criterion <= at.criterion + 1e-11 * abs(at.criterion):
            return theta + step, found
        step = 0.5 * step
    return None


def _finish(data: _Data, theta: Array, beta0: Array, unit: float) -> LinearFit:
    """Return the fit in the units of the data."""
    at = _point(data, theta)
    if at is None:
        return no_fit("singular", theta.size, beta0.size)
    hessian, expected, q = _curvature(data, at)
    if np.linalg.eigvalsh(hessian).min() <= 0 or np.linalg.eigvalsh(expected).min() <= 0:
        return no_fit("singular", theta.size, beta0.size)
    square = unit**2
    pieces = Pieces(
        beta0 + at.beta * unit,
        at.phi * square,
        at.a / square**2,
        q / square**3,
        np.asarray(2.0 * np.linalg.inv(hessian) * square**2),
        np.asarray(2.0 * np.linalg.inv(expected) * square**2),
    )
    criterion = at.criterion + 2.0 * data.free * np.log(unit)
    return LinearFit("ok", theta * square, criterion, pieces)
