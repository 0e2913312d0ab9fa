"""True values of a squad given measured ones: the draws behind every placement probability.

Model: measured = own true value + error of the day; true values of a squad (one stratum) and
errors are normal. Nobody knows the squad's mean, spread or the size of the error exactly, so
each draw takes its own: covariances from their pivotal (inverse Wishart, chi-square)
distributions, the mean given them, and then every athlete's true values given all that. For one
metric and a known reliability R this is, in closed form (and the tests compare it),

    mean μ + R (x - μ), variance σ² R (1 - R) + σ² (1 - R)² / n, t with n - 1 df.

A measured value far out is drawn back to the squad. The version without it (a normal around the
measured value) is right on average and wrong on each side of the cut; the closed form with an
estimated R in it is too sure of the far side in squads of 12 to 20 (67 % right where it says
80 %), which is why the reliability is drawn too. Source: derived; ``tests/calibration/placement.csv``.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]

#: Draws of the squad behind a probability; Monte Carlo error below 0.01.
DRAWS = 4000
#: Start of the random stream: the same table always gives the same numbers.
SEED = 311


@dataclass(frozen=True)
class Noise:
    """Errors of one session's values.

    Attributes
    ----------
    error : array, shape (p,)
        Typical errors in the metrics' units.
    df : array, shape (p,)
        Their degrees of freedom; inf when taken as known.
    correlation : array, shape (p, p)
        Correlation of the errors.
    """

    error: Array
    df: Array
    correlation: Array


def squad_draws(
    values: Array, noise: Noise, rng: np.random.Generator, size: int = DRAWS
) -> tuple[Array, Array]:
    """Draw the true values of a squad, and the error covariance of each draw.

    Parameters
    ----------
    values : array, shape (n, p)
        Measured values of one session, complete; n > p + 2.
    noise : Noise
    rng : numpy.random.Generator
    size : int

    Returns
    -------
    true : array, shape (size, n, p)
    errors : array, shape (size, p, p)
        Cholesky factor of the error covariance.
    """
    n, p = values.shape
    spread = _covariance_roots(values, rng, size)
    mean = values.mean(axis=0) + (spread @ rng.standard_normal((size, p, 1)))[..., 0] / np.sqrt(n)
    scale = noise.error * np.ones((size, p))
    known = np.isfinite(noise.df)
    if known.any():
        chi = rng.chisquare(noise.df[known], (size, int(known.sum())))
        scale[:, known] *= np.sqrt(noise.df[known] / chi)
    errors = scale[:, :, None] * np.linalg.cholesky(_positive(noise.correlation))
    white = np.linalg.solve(spread, errors)
    share, axes = np.linalg.eigh(white @ np.swapaxes(white, 1, 2))
    keep = np.clip(1.0 - share, 0.0, 1.0)[:, None, :]  # true part along each axis
    turned = np.linalg.solve(spread, np.swapaxes(values - mean[:, None, :], 1, 2))
    turned = np.swapaxes(turned, 1, 2) @ axes
    drawn = keep * turned + np.sqrt(keep * (1 - keep)) * rng.standard_normal((size, n, p))
    true = mean[:, None, :] + drawn @ np.swapaxes(spread @ axes, 1, 2)
    return true, errors


def _covariance_roots(values: Array, rng: np.random.Generator, size: int) -> Array:
    """Return roots L (L Lᵀ = Σ) drawn so that each variance alone is (n - 1) s² / χ²(n - 1)."""
    n, p = values.shape
    centred = values - values.mean(axis=0)
    root = np.linalg.cholesky(centred.T @ centred)
    freedom = n + p - 2 - np.arange(p)
    bartlett = np.tril(rng.standard_normal((size, p, p)), -1)
    bartlett[:, np.arange(p), np.arange(p)] = np.sqrt(rng.chisquare(freedom, (size, p)))
    mixed = root @ np.swapaxes(np.linalg.inv(bartlett), 1, 2)
    # back to lower-triangular form, so that solving by it is stable
    return np.asarray(np.linalg.cholesky(mixed @ np.swapaxes(mixed, 1, 2)))


def _positive(correlation: Array) -> Array:
    """Return a correlation matrix that has a Cholesky factor; nearly equal errors allowed."""
    return correlation * (1 - 1e-8) + 1e-8 * np.eye(len(correlation))


def second_test(true: Array, errors: Array, rng: np.random.Generator) -> Array:
    """Draw what a second test would measure with the same true values; shape (size, n, p)."""
    return true + rng.standard_normal(true.shape) @ np.swapaxes(errors, 1, 2)
