"""Exact values of every metric that the closed form gives; arrays of jumps in one call.

Most are formulas. Extremes inside a piece (peak power, peak of a two-peaked push, peak
landing force) are the maximum of a closed-form function, found by a grid and golden-section
search to about 1e-12 of the value.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable
from typing import Any

import numpy as np
from numpy.typing import NDArray

from cmjlab.simulate.closed_form import (
    LANDING_S,
    Motion,
    Parameters,
    Solution,
    landing_motion,
    loading_motion,
    push_motion,
    solve,
)

FloatArray = NDArray[np.float64]
_GRID = 128
_GOLDEN = (np.sqrt(5.0) - 1) / 2

#: Units in keys that also exist per kilogram of body mass.
_PER_MASS = ("_n", "_w", "_j", "_n_s", "_n_per_s", "_n_per_m")


def largest(function: Callable[[FloatArray], FloatArray], shape: tuple[int, ...]) -> FloatArray:
    """Return the largest value over x in [0, 1] of a function that broadcasts over jumps.

    Parameters
    ----------
    function : callable
        Takes x of shape (k, *shape) and returns values of that shape.
    shape : tuple of int
        Shape of the parameters.

    Returns
    -------
    ndarray, shape ``shape``
    """
    grid = np.linspace(0.0, 1.0, _GRID + 1)
    values = function(np.broadcast_to(grid.reshape(-1, *([1] * len(shape))), (_GRID + 1, *shape)))
    best = grid[np.argmax(values, axis=0)]
    low, high = np.maximum(best - 1 / _GRID, 0.0), np.minimum(best + 1 / _GRID, 1.0)
    for _ in range(44):
        left = high - _GOLDEN * (high - low)
        right = low + _GOLDEN * (high - low)
        rising = function(left[None])[0] < function(right[None])[0]
        low, high = np.where(rising, left, low), np.where(rising, high, right)
    inside = function(((low + high) / 2)[None])[0]
    return np.maximum(inside, np.maximum(values[0], values[-1]))


def exact_metrics(p: Parameters, keys: Iterable[str] | None = None) -> dict[str, FloatArray]:
    """Return exact metric values by catalog key.

    Parameters
    ----------
    p : Parameters
        Numbers or arrays of one broadcast shape.
    keys : iterable of str, optional
        Only these; extremes that nobody asks for are then not searched.

    Returns
    -------
    dict of str to ndarray
        Every key with a closed form, absolute and per kilogram; body weight means the true one.
    """
    shape = np.broadcast_shapes(*(np.shape(value) for value in p[:-1]))
    arrays: dict[str, Any] = {
        name: np.broadcast_to(np.asarray(value, np.float64), shape)
        for name, value in zip(p._fields[:-1], p[:-1], strict=True)
    }
    p = p._replace(**arrays)
    s = solve(p)
    wanted = None if keys is None else set(keys)
    out = {**_kinematics(p, s), **_kinetics(p, s)}
    for key, search in EXTREMES.items():
        if wanted is None or key in wanted or f"{key}_per_kg" in wanted:
            out[key] = search(p, s, shape)
    mass = out["body_mass_kg"]
    for key in [k for k in out if k != "body_weight_n"]:
        if key.endswith(_PER_MASS):
            out[f"{key}_per_kg"] = out[key] / mass
    return out if wanted is None else {k: v for k, v in out.items() if k in wanted}


def _kinematics(p: Parameters, s: Solution) -> dict[str, FloatArray]:
    height = p.takeoff_velocity**2 / (2 * p.gravity)
    time = s.time_to_takeoff_s
    return {
        "jump_height_m": height,
        "jump_height_flight_m": p.gravity * s.flight_s**2 / 8,
        "jump_height_total_m": height + s.takeoff_rise,
        "takeoff_velocity_m_per_s": +p.takeoff_velocity,
        "flight_time_s": s.flight_s,
        "time_to_takeoff_s": time,
        "unweighting_duration_s": s.unloading_s + s.turning_s,
        "unloading_duration_s": s.unloading_s,
        "yielding_duration_s": s.turning_s,
        "braking_duration_s": s.loading_s - s.turning_s,
        "propulsion_duration_s": s.push_s,
        "countermovement_depth_m": +p.depth_m,
        "takeoff_rise_m": s.takeoff_rise,
        "peak_downward_velocity_m_per_s": -s.lowest_velocity,
        "braking_displacement_m": p.depth_m + s.turning_displacement,
        "unweighting_displacement_m": -s.turning_displacement,
        "propulsion_displacement_m": p.depth_m + s.takeoff_rise,
        "rsi_modified_m_per_s": height / time,
        "landing_velocity_m_per_s": s.landing_speed,
    }


def _kinetics(p: Parameters, s: Solution) -> dict[str, FloatArray]:
    m, g = p.mass_kg, p.gravity
    weight = m * g
    braking_s = s.loading_s - s.turning_s
    drop = p.depth_m + s.turning_displacement
    brake_impulse = -m * s.lowest_velocity
    push_impulse = m * p.takeoff_velocity
    push_work = m * (p.takeoff_velocity**2 / 2 + g * (s.takeoff_rise + p.depth_m))
    brake_work = -m * (s.lowest_velocity**2 / 2 + g * drop)
    unweight_work = m * (s.lowest_velocity**2 / 2 + g * s.turning_displacement)
    net_braking = p.braking * weight
    return {
        "body_weight_n": weight,
        "body_mass_kg": +m,
        "minimum_force_n": weight * (1 - p.unweighting),
        "peak_braking_force_n": weight * (1 + p.braking),
        "force_at_zero_velocity_n": weight * (1 + p.braking),
        "mean_braking_force_n": weight + brake_impulse / braking_s,
        "mean_propulsion_force_n": weight + push_impulse / s.push_s,
        "unweighting_impulse_n_s": -brake_impulse,
        "braking_impulse_n_s": brake_impulse,
        "propulsion_impulse_n_s": push_impulse,
        "unweighting_work_j": unweight_work,
        "braking_work_j": brake_work,
        "propulsion_work_j": push_work,
        "mean_propulsion_power_w": push_work / s.push_s,
        "mean_braking_power_w": brake_work / braking_s,
        "braking_rfd_n_per_s": net_braking / braking_s,
        "braking_rfd_from_minimum_n_per_s": weight * (p.unweighting + p.braking) / s.loading_s,
        "braking_rfd_maximum_n_per_s": weight * (p.unweighting + p.braking) / 2 * np.pi
        / s.loading_s,
        "braking_stiffness_n_per_m": net_braking / drop,
        "landing_impulse_n_s": m * s.landing_speed,
    }  # fmt: skip


def _force(p: Parameters, piece: Motion) -> FloatArray:
    return p.mass_kg * (piece.acceleration + p.gravity)


def _peak_push_force(p: Parameters, s: Solution, shape: tuple[int, ...]) -> FloatArray:
    return largest(lambda x: _force(p, push_motion(p, s, x * s.push_s)), shape)


def _peak_push_power(p: Parameters, s: Solution, shape: tuple[int, ...]) -> FloatArray:
    def power(x: FloatArray) -> FloatArray:
        piece = push_motion(p, s, x * s.push_s)
        return _force(p, piece) * piece.velocity

    return largest(power, shape)


def _peak_velocity(p: Parameters, s: Solution, shape: tuple[int, ...]) -> FloatArray:
    return largest(lambda x: push_motion(p, s, x * s.push_s).velocity, shape)


def _least_power(p: Parameters, s: Solution, shape: tuple[int, ...]) -> FloatArray:
    def absorbed(x: FloatArray) -> FloatArray:
        piece = loading_motion(p, s, s.turning_s + x * (s.loading_s - s.turning_s))
        return -_force(p, piece) * piece.velocity

    return -largest(absorbed, shape)


def _peak_landing_force(p: Parameters, s: Solution, shape: tuple[int, ...]) -> FloatArray:
    return largest(lambda x: _force(p, landing_motion(p, s, x * LANDING_S)), shape)


#: Metrics that are the extreme of a closed-form function.
EXTREMES: dict[str, Callable[[Parameters, Solution, tuple[int, ...]], FloatArray]] = {
    "peak_propulsion_force_n": _peak_push_force,
    "peak_propulsion_power_w": _peak_push_power,
    "peak_velocity_m_per_s": _peak_velocity,
    "minimum_power_w": _least_power,
    "peak_landing_force_n": _peak_landing_force,
}
