"""The noise of one athlete's curve from test to test, and a band for one change along the whole of it.

Sessions without training in between give residuals (athletes and sessions taken out). At each point
their size is the typical error; a change of one athlete between two sessions carries √2 of it. The
band is change ± critical × √2 × typical error, where ``critical`` is passed anywhere along the curve
by the noise of one athlete in 5 % of cases (at a level of 95 %). It depends on how closely the
points of a curve hang together and on how well the typical error itself is known, so both are
imitated: noise curves are drawn with the covariance of the residuals, and each is divided by a
typical error drawn anew from as many of them as the squad gave (parametric bootstrap). With one
point this is the t distribution with the degrees of freedom of the typical error.

Our own; how often unchanged athletes leave the band stands in ``tests/calibration/curve_bands.csv``.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from cmjlab.stats.curves.fixed import moving

Array = NDArray[np.float64]

DRAWS = 4_000
_SEED = 90_107
#: A typical error known better than with these degrees of freedom is drawn as if with them: the
#: critical value is then larger by some 1 %, and a large squad takes no minutes.
_MOST_DF = 120
#: Draws that are held in memory together.
_CHUNK = 200


@dataclass(frozen=True)
class CurveNoise:
    """The noise of curves of m points.

    Attributes
    ----------
    typical_error : array, shape (m,)
        Of one session, within athletes.
    df : int
    critical : float
        For one change along the whole curve.
    level : float
    """

    typical_error: Array
    df: int
    critical: float
    level: float

    @property
    def half_width(self) -> Array:
        """Half the width of the band of one change between two sessions, shape (m,)."""
        return self.critical * np.sqrt(2.0) * self.typical_error

    @property
    def moving(self) -> NDArray[np.bool_]:
        """The points that are not fixed by definition, shape (m,)."""
        return moving(self.typical_error)

    def outside(self, change: Array) -> NDArray[np.bool_]:
        """Return where changes, shape (…, m), are beyond the noise; never where a point is fixed."""
        return np.asarray((np.abs(change) > self.half_width) & self.moving)


def curve_noise(
    values: Array, level: float, *, draws: int = DRAWS, seed: int = _SEED
) -> CurveNoise:
    """Return the noise of curves from repeated sessions.

    Parameters
    ----------
    values : array, shape (n, k, m)
        Mean curves of n athletes in k sessions without training in between, none missing;
        (n − 1)(k − 1) of 2 at least.
    level : float
    draws : int
        Draws for the critical value.
    seed : int
    """
    n, k, m = values.shape
    rows = np.einsum("an,sk,nkm->asm", _contrasts(n), _contrasts(k), values).reshape(-1, m)
    df = len(rows)
    error = np.sqrt((rows**2).mean(axis=0))
    free = moving(error)
    scaled = rows[:, free] / error[free] / np.sqrt(df)
    return CurveNoise(error, df, _critical(scaled, df, level, draws, seed), level)


def _contrasts(n: int) -> Array:
    """Return n − 1 orthonormal contrasts, shape (n − 1, n): what is left when the mean is taken out."""
    steps = np.tril(np.ones((n, n)), -1)[1:]
    out = steps.copy()
    out[np.arange(n - 1), np.arange(1, n)] = -np.arange(1, n)
    return np.asarray(out / np.sqrt((out**2).sum(axis=1, keepdims=True)))


def _critical(scaled: Array, df: int, level: float, draws: int, seed: int) -> float:
    """Return what noise along a whole curve, in its estimated SD, passes in 1 − level of draws."""
    if not scaled.size:
        return float("nan")
    rng = np.random.default_rng(seed)
    rank = min(scaled.shape)
    turned = np.linalg.svd(scaled, full_matrices=False)
    basis = turned[1][:, None] * turned[2]  # noise curves are normal draws times these
    df = min(df, _MOST_DF)
    largest = np.empty(draws)
    for start in range(0, draws, _CHUNK):
        size = min(_CHUNK, draws - start)
        noise = rng.standard_normal((size, rank)) @ basis
        others = rng.standard_normal((size * df, rank)) @ basis
        known = np.square(others, out=others).reshape(size, df, -1).mean(axis=1)
        largest[start : start + size] = np.sqrt((noise**2 / known).max(axis=1))
    return float(np.quantile(largest, level))
