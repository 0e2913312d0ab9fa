"""Spread of true responses and the shrunken estimate of one athlete's change."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from cmjlab.stats.common.intervals import mls_limits

Array = NDArray[np.float64]

#: Draws behind the limits of shrunken changes.
DRAWS = 4000


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
class Spread:
    """Two independent variances whose difference is the variance of true responses.

    Attributes
    ----------
    changes, changes_df : float
        Variance of the changes of the trained group and its df.
    without, without_df : float
        Variance of changes without responses (control group, or the noise), and its df.
    """

    changes: float
    changes_df: float
    without: float
    without_df: float

    @property
    def estimate(self) -> float:
        """Difference of the two; may be negative."""
        return self.changes - self.without


@dataclass(frozen=True)
class Shrinkage:
    """How far individual changes are drawn towards the group mean.

    Attributes
    ----------
    share : float
        λ: 0 = everyone gets the group mean, 1 = nothing is drawn in.
    spread : Spread
        Where the variance of true responses comes from.
    noise_variance : float
        Squared standard error of one athlete's change.
    mean : float
        Group mean change.
    n : int
        Athletes in the group.
    from_control : bool
        Whether the spread without responses is that of a control group.
    """

    share: float
    spread: Spread
    noise_variance: float
    mean: float
    n: int
    from_control: bool

    def estimate(self, change: Array) -> Array:
        """Return mean + λ (change - mean)."""
        return np.asarray(self.mean + self.share * (change - self.mean))

    def limits(self, change: Array, level: float, rng: np.random.Generator) -> tuple[Array, Array]:
        """Return limits of each athlete's true change, with λ and the mean uncertain.

        Parameters
        ----------
        change : array, shape (n,)
        level : float
        rng : numpy.random.Generator

        Notes
        -----
        λ is known poorly from a squad; an interval that takes its estimate as known covers as
        little as two times in three. Here the variances are drawn from their pivotal
        distributions (s² · df / chi-square; a negative response variance counts as 0), the
        mean from its t, and the athlete's true change from the normal posterior given both.
        """
        s = self.spread
        total = s.changes * s.changes_df / rng.chisquare(s.changes_df, DRAWS)
        without = s.without * s.without_df / rng.chisquare(s.without_df, DRAWS)
        response = np.maximum(total - without, 0.0)
        share = response / (response + self.noise_variance)
        mean = self.mean + np.sqrt(total / self.n) * rng.standard_normal(DRAWS)
        own = np.sqrt(response * (1.0 - share)) * rng.standard_normal(DRAWS)
        draws = mean[:, None] + share[:, None] * (change - mean[:, None]) + own[:, None]
        low, high = np.quantile(draws, [0.5 - level / 2, 0.5 + level / 2], axis=0)
        centre = self.estimate(change)
        return np.minimum(low, centre), np.maximum(high, centre)


def shrinkage(
    change: Array, noise: tuple[float, float], control: tuple[float, float] | None
) -> Shrinkage:
    """Return the shrinkage of one trained group.

    Parameters
    ----------
    change : array, shape (n,), n >= 2
    noise : (variance, df)
        Of one athlete's change.
    control : (variance, df) or None
        Of the control group's changes. None: the noise stands in, and the spread of responses
        is an upper bound when the noise is from a shorter re-test.
    """
    n = len(change)
    spread = Spread(float(change.var(ddof=1)), n - 1.0, *(control or noise))
    response = max(spread.estimate, 0.0)
    share = response / (response + noise[0])
    return Shrinkage(share, spread, noise[0], float(change.mean()), n, control is not None)
