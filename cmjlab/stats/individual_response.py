"""Spread of true responses and the shrunken estimate of one athlete's change."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from cmjlab.stats.intervals import mls_limits

Array = NDArray[np.float64]


def signed_root(variance: ArrayLike) -> Array:
    """Return √v for positive and -√|v| for negative variance estimates."""
    v = np.asarray(variance, dtype=np.float64)
    return np.asarray(np.sign(v) * np.sqrt(np.abs(v)))


def response_limits(
    trained: ArrayLike,
    control: ArrayLike,
    df_trained: ArrayLike,
    df_control: ArrayLike,
    level: float,
) -> tuple[Array, Array]:
    """Return MLS limits of the response standard deviation, as signed roots.

    Parameters
    ----------
    trained, control : array_like
        Variances of the changes.
    df_trained, df_control : array_like
    level : float

    Notes
    -----
    The normal approximation on variances that is often printed covers .87 to 1.00; this
    covers .94 to .96 (Ting et al. 1990; see tests/calibration).
    """
    low, high = mls_limits([1.0, -1.0], [trained, control], [df_trained, df_control], level)
    return signed_root(low), signed_root(high)


@dataclass(frozen=True)
class Shrinkage:
    """How far individual changes are drawn towards the group mean.

    Attributes
    ----------
    share : float
        λ: 0 = everyone gets the group mean, 1 = nothing is drawn in.
    response_variance : float
        Variance of true responses used, at least 0.
    mean, mean_variance : float
        Group mean change and its sampling variance.
    df : float
    """

    share: float
    response_variance: float
    mean: float
    mean_variance: float
    df: float

    def estimate(self, change: Array) -> Array:
        """Return mean + λ (change - mean)."""
        return np.asarray(self.mean + self.share * (change - self.mean))

    @property
    def se(self) -> float:
        """Posterior standard error: √(σ²_R (1 - λ) + (1 - λ)² var(mean))."""
        rest = 1.0 - self.share
        return float(np.sqrt(self.response_variance * rest + rest**2 * self.mean_variance))


def shrinkage(change: Array, noise_variance: float, spread: float | None) -> Shrinkage:
    """Return the shrinkage of one trained group.

    Parameters
    ----------
    change : array, shape (n,)
    noise_variance : float
        Squared standard error of one athlete's change.
    spread : float or None
        Variance of true responses (may be negative: then 0). None: variance of the changes
        minus the noise, an upper bound when the noise is from a shorter re-test.
    """
    n = len(change)
    observed = float(change.var(ddof=1)) if n > 1 else float("nan")
    found = observed - noise_variance if spread is None else spread
    found = max(found, 0.0) if np.isfinite(found) else 0.0
    share = found / (found + noise_variance)
    mean_variance = observed / n if n > 1 else noise_variance
    return Shrinkage(share, found, float(change.mean()), mean_variance, max(n - 1.0, 1.0))
