"""How long a chart runs until it signals, level and noise known: averages by integral equation.

They check the recursions of ``limits`` against published tables, and say how soon a shift
of a stated size is seen.
"""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray
from scipy import special

Array = NDArray[np.float64]

_POINTS = 160
_ROOT_2PI = math.sqrt(2.0 * math.pi)


def _density(z: Array) -> Array:
    return np.asarray(np.exp(-0.5 * z * z) / _ROOT_2PI)


def mean_run_length(weight: float, factor: float, shift: float = 0.0) -> float:
    """Return the average number of weeks until the weighted mean signals.

    Parameters
    ----------
    weight : float
        Weight of the newest week.
    factor : float
        Limits are ± factor × the SD that the mean has after many weeks.
    shift : float
        Distance from the level from the first week on, in units of the noise.

    Notes
    -----
    Integral equation of Crowder (1987, Technometrics 29:401) by Gauss-Legendre quadrature.
    """
    limit = factor * math.sqrt(weight / (2.0 - weight))
    nodes, weights = np.polynomial.legendre.leggauss(_POINTS)
    at, width = limit * nodes, limit * weights

    def kernel(start: Array) -> Array:
        z = (at[None, :] - (1.0 - weight) * start[:, None]) / weight - shift
        return _density(z) * width[None, :] / weight

    lengths = np.linalg.solve(np.eye(_POINTS) - kernel(at), np.ones(_POINTS))
    return float(1.0 + (kernel(np.zeros(1)) @ lengths)[0])


def sum_run_length(slack: float, limit: float, shift: float = 0.0) -> float:
    """Return the average number of weeks until the sum of what lies above signals.

    Parameters
    ----------
    slack, limit, shift : float
        In units of the noise.

    Notes
    -----
    Integral equation of Page (1954, Biometrika 41:100), with its atom at 0.
    """
    nodes, weights = np.polynomial.legendre.leggauss(_POINTS)
    at, width = limit * (nodes + 1.0) / 2.0, limit * weights / 2.0
    step = slack - shift
    matrix = np.empty((_POINTS + 1, _POINTS + 1))
    starts = np.concatenate([[0.0], at])
    matrix[:, 0] = special.ndtr(step - starts)
    matrix[:, 1:] = _density(at[None, :] - starts[:, None] + step) * width[None, :]
    lengths = np.linalg.solve(np.eye(_POINTS + 1) - matrix, np.ones(_POINTS + 1))
    return float(lengths[0])


def both_sums_run_length(slack: float, limit: float, shift: float = 0.0) -> float:
    """Return the average number of weeks until one of both sums signals.

    1 / length = 1 / length above + 1 / length below (van Dobben de Bruyn 1968).
    """
    up, down = (sum_run_length(slack, limit, side) for side in (shift, -shift))
    return 1.0 / (1.0 / up + 1.0 / down)
