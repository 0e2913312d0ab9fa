"""Exact values of the shape of the push and of the first instants of push and landing.

Impulses and ratios are formulas. The valley of the force is found on a grid; its peaks and its
bottom are then searched between neighbouring points, so that it is good to 1e-6 N and better.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping

import numpy as np
from numpy.typing import NDArray

from cmjlab.simulate.closed_form import (
    Parameters,
    Solution,
    landing_motion,
    loading_motion,
    push_motion,
)
from cmjlab.simulate.search import largest

FloatArray = NDArray[np.float64]

#: The valley is that of the mean force over this time, s.
MEAN_OVER_S = 0.010
#: Two peaks when the valley is deeper than this share of body weight.
TWO_PEAKS_SHARE = 0.05
_GRID = 400


def simple_shape(
    p: Parameters, s: Solution, other: Mapping[str, FloatArray]
) -> dict[str, FloatArray]:
    """Return the metrics that are formulas; ``other``: metrics already known."""
    mass, weight = p.mass_kg, p.mass_kg * p.gravity
    out = {
        "jump_momentum_kg_m_per_s": mass * p.takeoff_velocity,
        "mean_propulsion_velocity_m_per_s": (p.depth_m + s.takeoff_rise) / s.push_s,
    }
    for name, key in (
        ("duration", "{}_duration_s"),
        ("impulse", "{}_impulse_n_s"),
        ("mean_force", "mean_{}_force_n"),
    ):
        ratio = other[key.format("braking")] / other[key.format("propulsion")]
        out[f"braking_to_propulsion_{name}_ratio"] = ratio
    for name, seconds in (("50ms", 0.05), ("100ms", 0.1)):
        gained = push_motion(p, s, np.minimum(seconds, s.push_s)).velocity
        out[f"propulsion_impulse_{name}_n_s"] = np.where(seconds <= s.push_s, mass * gained, np.nan)
        slowed = landing_motion(p, s, seconds).velocity + s.landing_speed
        out[f"landing_impulse_{name}_n_s"] = mass * slowed + weight * seconds
    return out


def valley(p: Parameters, s: Solution) -> dict[str, FloatArray]:
    """Return the valley between two peaks of the mean force over 10 ms, and how many peaks."""
    half = MEAN_OVER_S / 2
    first, last = s.turning_s + half, s.loading_s + s.push_s - half

    def mean_force(x: FloatArray) -> FloatArray:
        time = first + x * (last - first)
        gained = _velocity(p, s, time + half) - _velocity(p, s, time - half)
        return np.asarray(p.mass_kg * (gained / MEAN_OVER_S + p.gravity))

    x = np.linspace(0.0, 1.0, _GRID + 1).reshape(-1, *([1] * s.push_s.ndim))
    force = mean_force(x)
    before = np.maximum.accumulate(force, axis=0)
    after = np.maximum.accumulate(force[::-1], axis=0)[::-1]
    bottom = np.argmax(np.minimum(before, after) - force, axis=0)
    place = np.arange(_GRID + 1).reshape(x.shape)
    peaks = [
        _near(mean_force, np.argmax(np.where(side, force, -np.inf), axis=0), s.push_s.shape)
        for side in (place <= bottom, place >= bottom)
    ]
    low = -_near(lambda at: -mean_force(at), bottom, s.push_s.shape)
    deep = np.maximum(np.minimum(*peaks) - low, 0.0)
    # with one peak the bottom is any point of a slope, and neighbours of it are no valley
    alone = (np.minimum(before, after) - force).max(axis=0) <= 0.0
    depth = np.where(alone, 0.0, deep)
    two = depth > TWO_PEAKS_SHARE * p.mass_kg * p.gravity
    return {"force_valley_n": depth, "force_peaks": 1.0 + two}


def _velocity(p: Parameters, s: Solution, time: FloatArray) -> FloatArray:
    """Return velocity in loading and push, ``time`` from minimum force."""
    down = loading_motion(p, s, np.minimum(time, s.loading_s)).velocity
    up = push_motion(p, s, np.clip(time - s.loading_s, 0.0, s.push_s)).velocity
    return np.where(time < s.loading_s, down, up)


def _near(
    function: Callable[[FloatArray], FloatArray], index: NDArray[np.intp], shape: tuple[int, ...]
) -> FloatArray:
    """Return the largest value between the neighbours of a point of the grid."""
    low, high = np.maximum(index - 1, 0) / _GRID, np.minimum(index + 1, _GRID) / _GRID
    return largest(lambda x: function(low + x * (high - low)), shape).value
