"""ICC(A,1) with an interval that holds when sessions differ: generalised pivotal and fiducial.

The published interval of ICC(A,1) covers .75 to .91 when sessions differ, and less with more
athletes, because its Satterthwaite approximation meets a mean square with k - 1 degrees of
freedom. Here every mean square is inverted through its own exact distribution:

    sigma_e² = MSE · df_e / W_e,   k sigma_a² + sigma_e² = MSR · df_r / W_r,
    sessions random:  n sigma_c² + sigma_e² = MSC · df_c / W_c   (sigma_c² not below 0)
    these sessions:   their mean square difference, from the session means and sigma_e

with independent chi-square W. Nothing is drawn: given the ratio W_e / W_r, the sum W_e + W_r is
chi-square and independent of it, so the chance that the ICC lies below a value is one integral
over an F density. The limits are where it reaches the tails: with 12 athletes or more to about 1e-6, with 2 or 3 to 1e-3 at worst.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray
from scipy import special

from cmjlab.stats.common.intervals import gauss_legendre
from cmjlab.stats.common.mean_squares import Array, MeanSquares

#: Points of the even set of :func:`points`.
POINTS = 16384
#: Nodes of the integral: to find a limit roughly, and to settle it; more where a density is wide.
_ROUGH, _FINE, _FINEST = 12, 24, 64
#: A limit is settled when the normal score of its tail was this near to the wanted one; the step
#: that follows brings it a hundred times nearer.
_SETTLED = 1e-4
#: Tail of the density that is left out on either side.
_TAIL = 1e-9
_SLICE = 20_000


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


def agreement_limits(ms: MeanSquares, level: float, *, fixed: bool) -> tuple[Array, Array]:
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

    Returns
    -------
    low, high : arrays, shape (m,)
    """
    n = np.atleast_1d(ms.n)
    msr, msc, mse = (np.atleast_1d(x) for x in (ms.msr, ms.msc, ms.mse))
    low, high = np.full(n.shape, np.nan), np.full(n.shape, np.nan)
    fine = (n >= 2) & np.isfinite(mse) & (mse > 0)
    tail = 0.5 - level / 2
    for one in np.unique(n[fine]):
        where = np.flatnonzero(fine & (n == one))
        # In slices, so that many simulated studies do not fill the memory.
        for part in np.array_split(where, 1 + len(where) // _SLICE):
            # Athletes that do not differ at all have no logarithm.
            squares = (np.maximum(msr[part] / mse[part], 1e-300), msc[part] / mse[part])
            seen = _Seen(*squares, int(one), ms.k, fixed)
            low[part], high[part] = (seen.limit(p) for p in (tail, 1 - tail))
    return low, high


@lru_cache(maxsize=64)
def _nodes(count: int) -> tuple[Array, Array]:
    """Return nodes and weights on (0, 1), closer together at 0, where the integrand turns."""
    x, w = gauss_legendre(count)
    u = 0.5 * (x + 1)
    return u * u, w * u


@dataclass(frozen=True)
class _Seen:
    """Mean squares in units of MSE, and the confidence distribution of the ICC that follows.

    An ICC ρ is written as h = log((1 + (k - 1) ρ) / (1 - ρ)): without a difference of sessions
    e^h is the ratio of expected mean squares, and the chance of a ρ below is that of an F.
    """

    athletes: Array
    sessions: Array
    n: int
    k: int
    fixed: bool

    @property
    def df(self) -> tuple[float, float, float]:
        """Degrees of freedom of athletes, noise and sessions."""
        return self.n - 1.0, (self.n - 1.0) * (self.k - 1.0), self.k - 1.0

    def limit(self, p: float) -> Array:
        """Return the ICC below which a share ``p`` of the distribution lies."""
        df_r, df_e, _ = self.df
        wanted = float(special.ndtri(p))
        # Differences of sessions only bring an ICC nearer to zero: the limit lies between the
        # one without them and zero.
        far = np.log(self.athletes) + np.log(special.fdtri(df_e, df_r, p))
        at_zero = _score(special.fdtr(df_e, df_r, 1 / self.athletes)) - wanted

        def miss(count: int) -> Callable[[Array, NDArray[np.intp]], Array]:
            return lambda h, rows: _score(self._below(h, rows, count)) - wanted

        small = df_r < 10 or self.k > 3
        h, slope = _roughly(miss(_ROUGH), far, at_zero)
        h = _settle(miss(_FINEST if small else _FINE), h, slope, far)
        return np.asarray(np.expm1(h) / (np.exp(h) + self.k - 1))

    def _below(self, h: Array, rows: NDArray[np.intp], count: int) -> Array:
        """Return the chance of an ICC below that of ``h``, by ``count`` nodes, per row."""
        df_r, df_e, df_c = self.df
        both = df_r + df_e
        athletes, sessions = self.athletes[rows], self.sessions[rows]
        above = h > 0
        low, high = _span(df_e, df_r)
        start = np.clip(h - np.log(athletes), low, high)
        width = np.where(above, high, low) - start
        u, w = _nodes(count)
        a = np.exp(start[:, None] + width[:, None] * u)
        q = a * (df_e / df_r)
        density = np.exp(
            0.5 * df_e * np.log(q) - 0.5 * both * np.log1p(q) - special.betaln(df_e / 2, df_r / 2)
        )
        # How large the sessions' part must be for this a to fall on the other side.
        needed = self.n * df_c * (athletes[:, None] * a - np.exp(h)[:, None])
        needed = np.maximum(needed / np.expm1(h)[:, None], 0.0)
        y = (both / df_e) * sessions[:, None] * (q / (1 + q))
        part = self._large(needed, y, both, rough=count == _ROUGH)
        part = np.where(above[:, None], part, 1 - part)
        sure = np.where(above, special.fdtr(df_e, df_r, np.exp(h) / athletes), 0.0)
        return np.asarray(sure + np.abs(width) * np.sum(density * part * w, axis=1))

    def _large(self, needed: Array, y: Array, both: float, *, rough: bool) -> Array:
        """Return the chance that the sessions' part is as large as needed.

        Rough: by the normal approximation of a noncentral t (of d sessions more, its square).
        """
        df = self.df[2]
        if not self.fixed:
            return np.asarray(special.fdtr(df, both, y / (1 + needed / df)))
        if not rough:
            return _noncentral_f(df, both, needed, y)
        seen, true = np.sqrt(df * y), np.sqrt(needed + df - 1)
        spread = np.sqrt(1 + df * y / (2 * both))
        return np.asarray(
            special.ndtr((seen - true) / spread) - special.ndtr((-seen - true) / spread)
        )


def _noncentral_f(df: float, df2: float, nc: Array, y: Array) -> Array:
    """Return the chance that a noncentral F lies below ``y``, quickly for large ``nc`` too.

    Of a very large one, nearly all the spread is that of the chi-square below: five nodes over
    the normal above do then. A chance below 1e-14 counts as none.
    """
    out = np.zeros(y.shape)
    widest = np.sqrt(df * y * special.chdtri(df2, 1e-14) / df2)
    some = np.sqrt(nc) < widest + 8
    large = some & (df * y > max(1e4, 100 * df2))
    usual = some & ~large
    # scipy returns nan for some chances below 1e-40.
    out[usual] = np.nan_to_num(special.ncfdtr(df, df2, nc[usual], y[usual]))
    if large.any():
        x, w = np.polynomial.hermite_e.hermegauss(5)
        root = np.sqrt(nc[large] + df - 1)[:, None] + x
        below = special.gammaincc(df2 / 2, 0.5 * df2 * root**2 / (df * y[large])[:, None])
        out[large] = np.sum(below * (w / w.sum()), axis=1)
    return out


@lru_cache(maxsize=256)
def _span(df_e: float, df_r: float) -> tuple[float, float]:
    """Return log quantiles of F between which all but a trace of it lies."""
    return tuple(float(np.log(special.fdtri(df_e, df_r, p))) for p in (_TAIL, 1 - _TAIL))  # type: ignore[return-value]


def _score(p: Array) -> Array:
    """Return the normal score of a chance, never infinite."""
    return np.asarray(special.ndtri(np.clip(p, 1e-15, 1 - 1e-15)))


Miss = Callable[[Array, "NDArray[np.intp]"], Array]


def _roughly(miss: Miss, far: Array, at_zero: Array) -> tuple[Array, Array]:
    """Return a root between zero and ``far`` and the slope there, by the Illinois method.

    Every row takes the same number of steps, so that no row depends on the others.
    """
    rows = np.arange(len(far))
    a, fa = np.zeros_like(far), at_zero
    b, fb = far, miss(far, rows)
    weight_a, weight_b = fa, fb
    for _ in range(4):
        step = np.where(weight_b == weight_a, 1.0, weight_b - weight_a)
        x = np.where(weight_b == weight_a, 0.5 * (a + b), (a * weight_b - b * weight_a) / step)
        fx = miss(x, rows)
        left = np.sign(fx) == np.sign(fa)
        # The end that stays counts half, so that it moves at last.
        weight_b = np.where(left, 0.5 * weight_b, fx)
        weight_a = np.where(left, fx, 0.5 * weight_a)
        a, fa = np.where(left, x, a), np.where(left, fx, fa)
        b, fb = np.where(left, b, x), np.where(left, fb, fx)
    slope = (fb - fa) / np.where(b == a, 1.0, b - a)
    return x, np.where(b == a, 1.0, slope)


def _settle(miss: Miss, x: Array, slope: Array, far: Array) -> Array:
    """Return the root by secants that stay between zero and ``far``; settled rows stand still."""
    x, slope = x.copy(), slope.copy()
    low, high = np.minimum(far, 0.0), np.maximum(far, 0.0)
    rows = np.arange(len(x))
    before = np.full(len(x), np.nan)
    f_before = np.full(len(x), np.nan)
    for _ in range(60):
        if not rows.size:
            break
        here = x[rows]
        f = miss(here, rows)
        new = (f - f_before[rows]) / (here - before[rows])
        slope[rows] = np.where(np.isfinite(new) & (new > 0), new, slope[rows])
        below = f < 0
        low[rows] = np.where(below, here, low[rows])
        high[rows] = np.where(below, high[rows], here)
        before[rows], f_before[rows] = here, f
        guess = here - f / slope[rows]
        settled = np.abs(f) <= _SETTLED
        good = settled | ((guess > low[rows]) & (guess < high[rows]))
        nearest = np.clip(guess, np.minimum(far[rows], 0.0), np.maximum(far[rows], 0.0))
        x[rows] = np.where(good, nearest, 0.5 * (low[rows] + high[rows]))
        rows = rows[~settled & (high[rows] - low[rows] > 1e-14)]
    return x
