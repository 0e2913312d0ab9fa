"""ICC(A,1) with an interval that holds when sessions differ: generalised pivotal and fiducial.

The published interval of ICC(A,1) covers .75 to .91 when sessions differ, and less with more
athletes, because its Satterthwaite approximation meets a mean square with k - 1 degrees of
freedom. Here every mean square is inverted through its own exact distribution:

    sigma_e² = MSE · df_e / W_e,   k sigma_a² + sigma_e² = MSR · df_r / W_r,
    sessions random:  n sigma_c² + sigma_e² = MSC · df_c / W_c   (sigma_c² not below 0)
    these sessions:   their mean square difference, from the session means and sigma_e

with independent chi-square W. Instead of random draws a fixed low-discrepancy set of points is
used, so that the limits have no simulation noise and need no seed.
"""

from __future__ import annotations

from functools import lru_cache

import numpy as np
from scipy import special

from cmjlab.stats.common.intervals import chi2_quantile
from cmjlab.stats.common.mean_squares import Array, MeanSquares, ratio

#: Points of the fixed set. Against 2^20 points the limits of typical tables are then off by at most
#: 0.002 (measured); sessions as a sample need more, because their lower tail is long.
POINTS = 16384
POINTS_FIXED = 4096


def points(dimensions: int, size: int = POINTS) -> Array:
    """Return ``size`` evenly spread points in the unit cube, shape (dimensions, size).

    Notes
    -----
    Additive recurrence with the generalised golden ratio (Roberts 2018, "The unreasonable
    effectiveness of quasirandom sequences", from memory).
    """
    phi = 2.0
    for _ in range(60):
        phi = (1 + phi) ** (1 / (dimensions + 1))
    step = phi ** -np.arange(1.0, dimensions + 1)
    index = np.arange(1, size + 1)
    return np.asarray((0.5 + step[:, None] * index) % 1.0)


@lru_cache(maxsize=64)
def _draws(n: int, k: int, size: int) -> tuple[Array, Array, Array, Array]:
    """Return df/W for athletes, noise and sessions, and uniforms for fixed sessions."""
    u = points(4, size)
    df_r, df_e, df_c = n - 1.0, (n - 1.0) * (k - 1.0), k - 1.0
    return (
        df_r / chi2_quantile(u[0], df_r),
        df_e / chi2_quantile(u[1], df_e),
        df_c / chi2_quantile(u[2], df_c),
        u[2],
    )


def agreement_limits(
    ms: MeanSquares, level: float, *, fixed: bool, size: int | None = None
) -> tuple[Array, Array]:
    """Return limits of ICC(A,1) for all metrics (or studies).

    Parameters
    ----------
    ms : MeanSquares
        Arrays of shape (m,) or scalars.
    level : float
        Level of the interval.
    fixed : bool
        True: agreement between exactly these sessions. False: sessions are a sample of all
        sessions that could have been held.
    size : int, optional
        Points of the fixed set; default :data:`POINTS` or :data:`POINTS_FIXED`.

    Returns
    -------
    low, high : arrays, shape (m,)
    """
    size = size or (POINTS_FIXED if fixed else POINTS)
    n = np.atleast_1d(ms.n)
    msr, msc, mse = (np.atleast_1d(x) for x in (ms.msr, ms.msc, ms.mse))
    low, high = np.full(n.shape, np.nan), np.full(n.shape, np.nan)
    fine = (n >= 2) & np.isfinite(mse) & (mse > 0)
    for one in np.unique(n[fine]):
        where = np.flatnonzero(fine & (n == one))
        # In slices, so that many simulated studies do not fill the memory.
        for part in np.array_split(where, max(1, len(where) * size // 4_000_000)):
            values = _pivots(msr[part], msc[part], mse[part], int(one), ms.k, fixed, size)
            low[part], high[part] = _limits(values, level)
    return low, high


def _limits(values: Array, level: float) -> tuple[Array, Array]:
    size = values.shape[-1]
    tail = 0.5 - level / 2
    i = max(int(np.floor(tail * size)) - 1, 0)
    j = size - 1 - i
    values.partition((i, j), axis=-1)
    return values[:, i], values[:, j]


def _pivots(msr: Array, msc: Array, mse: Array, n: int, k: int, fixed: bool, size: int) -> Array:
    r, e, c, u = _draws(n, k, size)
    noise = mse[:, None] * e
    athletes = (msr[:, None] * r - noise) / k
    if fixed:
        sessions = (
            noise / n * noncentrality(ratio(msc[:, None] * (k - 1), noise), k - 1.0, u) / (k - 1)
        )
    else:
        sessions = np.maximum(msc[:, None] * c - noise, 0.0) / n
    return ratio(athletes, athletes + sessions + noise)


def noncentrality(x: Array, df: float, u: Array) -> Array:
    """Return a confidence draw of the noncentrality of a chi-square seen as ``x``.

    The value at which P(chi-square(df, noncentrality) ≤ x) = u; 0 when even 0 gives less.

    Notes
    -----
    df = 1 by the normal distribution (two tails); df > 1 by Sankaran's normal approximation
    (Johnson, Kotz & Balakrishnan 1995, ch. 29, from memory), which is off by less than .005
    in probability.
    """
    start = special.gammainc(df / 2, x / 2) > u
    root = np.sqrt(x)
    if df == 1:
        return np.where(start, _two_tails(root, u, start) ** 2, 0.0)
    # Sankaran's z falls by about 1 per unit of d, so stepping by its miss converges at once.
    z = special.ndtri(u)
    d = np.maximum(root - z, 0.3)
    for _ in range(6):
        d = np.maximum(d + _sankaran_z(x, df, d * d) - z, 0.0)
    return np.where(start, d * d, 0.0)


def _two_tails(root: Array, u: Array, start: Array) -> Array:
    """Return d with Phi(root - d) - Phi(-root - d) = u."""
    root, u = np.broadcast_arrays(root, u)
    d = np.maximum(root - special.ndtri(u), 0.05)
    # Far out the second tail is nothing, and the first guess is exact.
    near = start & (root + d < 4.5)
    r, p, x = root[near], u[near], d[near]
    for _ in range(5):
        miss = special.ndtr(r - x) - special.ndtr(-r - x) - p
        slope = (np.exp(-0.5 * (r + x) ** 2) - np.exp(-0.5 * (r - x) ** 2)) / np.sqrt(2 * np.pi)
        x = np.maximum(x - miss / np.minimum(slope, -1e-12), 1e-6)
    d[near] = x
    return d


def _sankaran_z(x: Array, df: float, nc: Array) -> Array:
    a, b = df + nc, df + 2 * nc
    h = 1 - 2 * a * (df + 3 * nc) / (3 * b * b)
    p = b / (a * a)
    m = (h - 1) * (1 - 3 * h)
    top = (x / a) ** h - (1 + h * p * (h - 1 - 0.5 * (2 - h) * m * p))
    return np.asarray(top / (h * np.sqrt(2 * p) * (1 + 0.5 * m * p)))
