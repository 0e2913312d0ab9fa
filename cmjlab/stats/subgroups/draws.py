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

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]

#: Draws of the squad behind a probability; Monte Carlo error below 0.01.
DRAWS = 4000
#: True values that are drawn in one go (64 MB), and at a time where they are more.
_VALUES_AT_ONCE, _VALUES_OF_SLICE = 8_000_000, 500_000
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
    drawn = _draw_spreads(values, noise, rng, size)
    return _true_values(values, drawn, slice(None), rng), drawn.errors


def squad_draws_in_slices(
    values: Array, noise: Noise, rng: np.random.Generator, size: int = DRAWS
) -> Iterator[Array]:
    """Yield the true values of :func:`squad_draws` some draws at a time, the same ones.

    All draws of 50,000 athletes would fill the memory; those of any usual squad are one slice.
    """
    drawn = _draw_spreads(values, noise, rng, size)
    whole = size * values.size <= _VALUES_AT_ONCE
    each = size if whole else max(1, _VALUES_OF_SLICE // values.size)
    for start in range(0, size, each):
        yield _true_values(values, drawn, slice(start, min(start + each, size)), rng)


@dataclass(frozen=True)
class _Spreads:
    """What each draw takes for the squad's mean and spread, and for the size of the error.

    ``keep`` is the true part along each of the ``axes``; first axis of all arrays: draws.
    """

    spread: Array
    mean: Array
    errors: Array
    axes: Array
    keep: Array


def _draw_spreads(values: Array, noise: Noise, rng: np.random.Generator, size: int) -> _Spreads:
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
    return _Spreads(spread, mean, errors, axes, np.clip(1.0 - share, 0.0, 1.0)[:, None, :])


def _true_values(values: Array, drawn: _Spreads, at: slice, rng: np.random.Generator) -> Array:
    """Return the true values of some draws, shape (n_draws, n, p)."""
    spread, mean, axes, keep = (x[at] for x in (drawn.spread, drawn.mean, drawn.axes, drawn.keep))
    turned = _by_matrix(_solved(spread, values - mean[:, None, :]), axes)
    noise = rng.standard_normal((len(mean), *values.shape))
    noise *= np.sqrt(keep * (1 - keep))
    turned *= keep
    turned += noise
    return np.asarray(mean[:, None, :] + _by_matrix(turned, np.swapaxes(spread @ axes, 1, 2)))


def _solved(spread: Array, values: Array) -> Array:
    """Return values by the inverse of a root; of one metric a product, as :func:`_by_matrix`."""
    if spread.shape[-1] == 1:
        return np.asarray(values * (1 / spread))
    return np.asarray(np.swapaxes(np.linalg.solve(spread, np.swapaxes(values, 1, 2)), 1, 2))


def _by_matrix(values: Array, matrix: Array) -> Array:
    """Return values @ matrix; of one metric a product, which is many times as fast."""
    return np.asarray(values * matrix if matrix.shape[-1] == 1 else values @ matrix)


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
