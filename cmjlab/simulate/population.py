"""Athletes as traits, and the jump that has the wanted traits.

A trait is what a practitioner would ask for: jump height, depth, time to take-off, rise at
take-off, body mass, relative strength. :func:`parameters_of` finds the jump that has them.
Variation is normal: on the logarithm of each trait, but for the rise, which varies in metres.
"""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np
from numpy.typing import NDArray

from cmjlab.errors import ArgumentError
from cmjlab.simulate.closed_form import Parameters
from cmjlab.simulate.onset_shapes import shape_totals
from cmjlab.units import STANDARD_GRAVITY

FloatArray = NDArray[np.float64]

#: Order of traits in every array. "strength" is squat one-repetition maximum / body mass.
TRAITS = ("height", "depth", "time", "rise", "mass", "strength")
#: Limits of the unweighting that a jump may have; wanted times beyond them are not reached.
UNWEIGHTING_RANGE = (0.30, 0.87)
_RISE = TRAITS.index("rise")


def correlated_normals(
    sd: Mapping[str, float],
    correlation: Mapping[str, float],
    *,
    shape: tuple[int, ...],
    random: np.random.Generator,
) -> FloatArray:
    """Return normal deviations of all traits, shape (*shape, n_traits).

    Parameters
    ----------
    sd : mapping
        Standard deviation by trait; a trait that is missing does not vary.
    correlation : mapping
        Correlations by pair, e.g. ``{"depth time": 0.5}``; others are 0.

    Raises
    ------
    ArgumentError
        When a name is unknown or the correlations contradict each other.
    """
    matrix = np.eye(len(TRAITS))
    for pair, value in correlation.items():
        i, j = (_index(name) for name in pair.split())
        matrix[i, j] = matrix[j, i] = value
    try:
        lower = np.linalg.cholesky(matrix)
    except np.linalg.LinAlgError:
        raise ArgumentError(
            f"correlation: {dict(correlation)} contradict each other (the matrix is not positive"
            " definite); move them towards 0."
        ) from None
    spread = np.zeros(len(TRAITS))
    for name, value in sd.items():
        spread[_index(name)] = value
    return random.standard_normal((*shape, len(TRAITS))) @ lower.T * spread


def _index(name: str) -> int:
    if name not in TRAITS:
        raise ArgumentError(f"trait: found {name!r}, allowed are {', '.join(TRAITS)}.")
    return TRAITS.index(name)


def trait_vector(values: Mapping[str, float]) -> FloatArray:
    """Return an array over traits with the given values, 0 elsewhere."""
    out = np.zeros(len(TRAITS))
    for name, value in values.items():
        out[_index(name)] = value
    return out


def apply_deviation(traits: FloatArray, deviation: FloatArray) -> FloatArray:
    """Return traits moved by deviations: relative (log scale), the rise in metres."""
    out = traits * np.exp(deviation)
    out[..., _RISE] = np.maximum(traits[..., _RISE] + deviation[..., _RISE], 0.03)
    return out


def parameters_of(
    traits: FloatArray, *, push_exponent: FloatArray, push_dip: FloatArray,
    landing_drop_m: FloatArray | float = 0.0, impact_share: FloatArray | float = 0.6,
) -> Parameters:  # fmt: skip
    """Return the closed-form parameters of jumps with the wanted traits.

    The braking force follows from push distance (depth + rise) and take-off velocity, a
    quadratic equation; the unweighting then follows from the time, by bisection. Times that no
    unweighting within :data:`UNWEIGHTING_RANGE` gives are met as nearly as possible: truth is
    always computed from the parameters returned, never from the wish.

    Parameters
    ----------
    traits : ndarray, shape (..., n_traits)
    push_exponent, push_dip, landing_drop_m, impact_share
        Arrays that broadcast with ``traits[..., 0]``.
    """
    height, depth, time, rise, mass, _ = np.moveaxis(traits, -1, 0)
    g = STANDARD_GRAVITY
    n, dip = push_exponent, push_dip
    speed = np.sqrt(2 * g * height)
    braking = _braking_for(depth + rise, speed, n, dip)
    push_s = speed / (g * (braking - (1 + braking) / (n + 1) - dip / 2))
    low = np.full(height.shape, UNWEIGHTING_RANGE[0])
    high = np.minimum(UNWEIGHTING_RANGE[1], braking - 0.05)
    wanted = time - push_s
    for _ in range(50):
        middle = (low + high) / 2
        too_slow = _drop_time(middle, braking, depth) > wanted
        low, high = np.where(too_slow, middle, low), np.where(too_slow, high, middle)
    return Parameters(
        mass, (low + high) / 2, braking, depth, speed, n, dip, landing_drop_m, impact_share,
        g, "quadratic",
    )  # fmt: skip


def _braking_for(
    distance: FloatArray, speed: FloatArray, n: FloatArray, dip: FloatArray
) -> FloatArray:
    """Return the net force at zero velocity (body weights) that needs this push distance.

    With Tp = v / (g (c1 b - c0)) the distance is v² / g (e1 b - e0) / (c1 b - c0)².
    """
    k = distance * STANDARD_GRAVITY / speed**2
    c1, c0 = n / (n + 1), 1 / (n + 1) + dip / 2
    share = 1 / ((n + 1) * (n + 2))
    e1, e0 = 0.5 - share, share + dip / 4
    a, b, c = k * c1**2, -(2 * k * c1 * c0 + e1), k * c0**2 + e0
    return (-b + np.sqrt(b**2 - 4 * a * c)) / (2 * a)


def _drop_time(unweighting: FloatArray, braking: FloatArray, depth: FloatArray) -> FloatArray:
    """Return the time from onset to zero velocity; it falls as unweighting grows."""
    first, second = shape_totals("quadratic")
    ratio = (braking - unweighting) / (2 * unweighting * first)
    factor = (
        unweighting * ratio**2 * second
        + (braking - unweighting) / 4
        + (braking + unweighting) / np.pi**2
    )
    return np.sqrt(depth / (STANDARD_GRAVITY * factor)) * (1 + ratio)
