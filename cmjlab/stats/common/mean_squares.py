"""Mean squares of athletes × sessions, for many metrics or simulated studies at once.

Arrays only. The last two axes are always athletes and sessions; everything before them
(metrics, studies) is vectorised. Missing values are nan.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]

#: A mean square below (this × largest value)² is rounding, and is set to exactly zero.
_ROUNDING = 16 * float(np.finfo(np.float64).eps)


@dataclass(frozen=True)
class MeanSquares:
    """Two-way mean squares over the athletes with a value in every session.

    Attributes
    ----------
    n : array, shape (...)
        Athletes with a value in every session.
    k : int
        Sessions.
    msr, msc, mse, msw : arrays, shape (...)
        Athletes, sessions, remainder, and within athletes (sessions and remainder pooled),
        in squared units of the metric. nan with fewer than two athletes or two sessions.
    mean : array, shape (...)
        Mean over these athletes and sessions.
    session_means : array, shape (..., k)
        Mean of each session over these athletes.

    Notes
    -----
    Names of McGraw & Wong (1996); Shrout & Fleiss (1979) write BMS, JMS, EMS and WMS.
    """

    n: Array
    k: int
    msr: Array
    msc: Array
    mse: Array
    msw: Array
    mean: Array
    session_means: Array

    @property
    def df_r(self) -> Array:
        """Degrees of freedom between athletes, n - 1."""
        return self.n - 1.0

    @property
    def df_c(self) -> float:
        """Degrees of freedom between sessions, k - 1."""
        return self.k - 1.0

    @property
    def df_e(self) -> Array:
        """Degrees of freedom of the remainder, (n - 1)(k - 1)."""
        return (self.n - 1.0) * (self.k - 1.0)

    @property
    def df_w(self) -> Array:
        """Degrees of freedom within athletes, n (k - 1)."""
        return self.n * (self.k - 1.0)


def ratio(top: Array | float, bottom: Array | float) -> Array:
    """Divide, with 0/0 = nan and x/0 = ±inf, and no warning."""
    with np.errstate(divide="ignore", invalid="ignore", over="ignore"):
        return np.asarray(np.true_divide(top, bottom), dtype=np.float64)


def no_rounding(mean_square: Array, scale: Array) -> Array:
    """Return mean squares with those that are mere rounding of ``scale`` set to zero."""
    return np.where(mean_square <= (_ROUNDING * scale) ** 2, 0.0, mean_square)


def two_way(values: Array) -> MeanSquares:
    """Return the two-way mean squares of complete athletes.

    Parameters
    ----------
    values : array, shape (..., n_athletes, n_sessions)
        nan where missing. Athletes with any nan are left out of the mean squares; the caller
        reports them.
    """
    values = np.asarray(values, dtype=np.float64)
    k = values.shape[-1]
    whole = np.asarray(np.isfinite(values).all(axis=-1))
    n = whole.sum(axis=-1).astype(np.float64)
    x = np.where(whole[..., None], values, 0.0)
    scale = np.abs(x).max(axis=(-2, -1), initial=0.0)
    mean = ratio(x.sum(axis=(-2, -1)), n * k)
    # Centre first: values of 1e6 with differences of 1e-3 keep their digits.
    c = np.where(whole[..., None], x - np.nan_to_num(mean)[..., None, None], 0.0)
    rest = np.nan_to_num(ratio(c.sum(axis=(-2, -1)), n * k))
    c = np.where(whole[..., None], c - rest[..., None, None], 0.0)
    rows = c.mean(axis=-1)
    columns = ratio(c.sum(axis=-2), n[..., None])
    error = np.where(
        whole[..., None], c - rows[..., None] - np.nan_to_num(columns)[..., None, :], 0.0
    )
    ssr = k * np.sum(rows * rows, axis=-1)
    ssc = n * np.sum(columns * columns, axis=-1)
    sse = np.sum(error * error, axis=(-2, -1))
    msr = no_rounding(ratio(ssr, n - 1), scale)
    msc = no_rounding(ratio(ssc, k - 1.0), scale)
    mse = no_rounding(ratio(sse, (n - 1) * (k - 1)), scale)
    msw = no_rounding(ratio(ssc + sse, n * (k - 1)), scale)
    usable = (n >= 2) & (k >= 2)
    msr, msc, mse, msw = (np.where(usable, m, np.nan) for m in (msr, msc, mse, msw))
    return MeanSquares(n, k, msr, msc, mse, msw, mean, columns + (mean + rest)[..., None])
