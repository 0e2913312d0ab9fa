"""Exact values of every metric that the closed form gives; arrays of jumps in one call.

Most are formulas. Extremes inside a piece (peak power, peak of a two-peaked push, peak
landing force) are the maximum of a closed-form function, found by a grid and golden-section
search to about 1e-12 of the value.
"""

from __future__ import annotations

from collections.abc import Callable
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
    grid = np.linspace(0.0, 1.0, 257)
    values = function(np.broadcast_to(grid.reshape(-1, *([1] * len(shape))), (257, *shape)))
    best = grid[np.argmax(values, axis=0)]
    low, high = np.maximum(best - 1 / 256, 0.0), np.minimum(best + 1 / 256, 1.0)
    for _ in range(44):
        left = high - _GOLDEN * (high - low)
        right = low + _GOLDEN * (high - low)
        rising = function(left[None])[0] < function(right[None])[0]
        low, high = np.where(rising, left, low), np.where(rising, high, right)
    inside = function(((low + high) / 2)[None])[0]
    return np.maximum(inside, np.maximum(values[0], values[-1]))


def exact_metrics(p: Parameters) -> dict[str, FloatArray]:
    """Return exact metric values by catalog key.

    Parameters
    ----------
    p : Parameters
        Numbers or arrays of one broadcast shape.

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
    out = {**_kinematics(p, s), **_kinetics(p, s), **_extremes(p, s, shape)}
    mass = out["body_mass_kg"]
    for key in [k for k in out if k != "body_weight_n"]:
        if key.endswith(_PER_MASS):
            out[f"{key}_per_kg"] = out[key] / mass
    return out


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


def _extremes(p: Parameters, s: Solution, shape: tuple[int, ...]) -> dict[str, FloatArray]:
    m, g = p.mass_kg, p.gravity

    def force(piece: Motion) -> FloatArray:
        return m * (piece.acceleration + g)

    def power(piece: Motion) -> FloatArray:
        return force(piece) * piece.velocity

    def braking(x: FloatArray) -> FloatArray:
        return -power(loading_motion(p, s, s.turning_s + x * (s.loading_s - s.turning_s)))

    return {
        "peak_propulsion_force_n": largest(lambda x: force(push_motion(p, s, x * s.push_s)), shape),
        "peak_propulsion_power_w": largest(lambda x: power(push_motion(p, s, x * s.push_s)), shape),
        "peak_velocity_m_per_s": largest(lambda x: push_motion(p, s, x * s.push_s).velocity, shape),
        "minimum_power_w": -largest(braking, shape),
        "peak_landing_force_n": largest(
            lambda x: force(landing_motion(p, s, x * LANDING_S)), shape
        ),
    }
