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
from cmjlab.simulate.exact_shape import simple_shape, valley
from cmjlab.simulate.search import first_rise, largest

FloatArray = NDArray[np.float64]
#: Share of body weight within which the force counts as steady after landing.
STABLE_SHARE = 0.05

#: Units in keys that also exist per kilogram of body mass.
_PER_MASS = ("_n", "_w", "_j", "_n_s", "_n_per_s", "_n_per_m", "_w_per_s")


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
    out.update(simple_shape(p, s, out))
    out.update(_search(p, s, wanted))
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
        "downward_duration_s": s.unloading_s + s.loading_s,
        "propulsion_duration_s": s.push_s,
        "flight_to_contraction_ratio": s.flight_s / time,
        "countermovement_depth_m": +p.depth_m,
        "takeoff_rise_m": s.takeoff_rise,
        "peak_downward_velocity_m_per_s": -s.lowest_velocity,
        "braking_displacement_m": p.depth_m + s.turning_displacement,
        "unweighting_displacement_m": -s.turning_displacement,
        "push_distance_m": p.depth_m + s.takeoff_rise,
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
    whole = p.unweighting + p.braking
    return {
        "body_weight_n": weight,
        "body_mass_kg": +m,
        "minimum_force_n": weight * (1 - p.unweighting),
        "peak_braking_force_n": weight * (1 + p.braking),
        "force_at_zero_velocity_n": weight * (1 + p.braking),
        "mean_unweighting_force_n": weight - brake_impulse / (s.unloading_s + s.turning_s),
        "mean_braking_force_n": weight + brake_impulse / braking_s,
        "mean_propulsion_force_n": weight + push_impulse / s.push_s,
        "mean_force_over_push_n": push_work / (p.depth_m + s.takeoff_rise),
        "unweighting_impulse_n_s": -brake_impulse,
        "braking_impulse_n_s": brake_impulse,
        "propulsion_impulse_n_s": push_impulse,
        "unweighting_work_j": unweight_work,
        "braking_work_j": brake_work,
        "propulsion_work_j": push_work,
        "mean_propulsion_power_w": push_work / s.push_s,
        "mean_braking_power_w": brake_work / braking_s,
        "braking_rfd_n_per_s": net_braking / braking_s,
        "braking_rfd_mean_n_per_s": net_braking / braking_s,
        "braking_rfd_from_minimum_n_per_s": weight * whole / s.loading_s,
        "braking_rfd_maximum_n_per_s": weight * whole / 2 * np.pi / s.loading_s,
        "unloading_rate_n_per_s": weight * p.unweighting / s.unloading_s,
        "braking_stiffness_n_per_m": net_braking / drop,
        "braking_stiffness_line_n_per_m": net_braking / drop,
        "braking_stiffness_peak_n_per_m": weight * (1 + p.braking) / drop,
        "braking_stiffness_depth_n_per_m": weight * (1 + p.braking) / p.depth_m,
        "landing_impulse_n_s": m * s.landing_speed,
    }  # fmt: skip


def _search(p: Parameters, s: Solution, keys: set[str] | None) -> dict[str, FloatArray]:
    """Return metrics that need a search, only those wanted."""
    out: dict[str, FloatArray] = {}
    for names, search in SEARCHES:
        if keys is None or any(k in keys or f"{k}_per_kg" in keys for k in names):
            out.update(search(p, s))
    return out


def _force(p: Parameters, piece: Motion) -> FloatArray:
    return p.mass_kg * (piece.acceleration + p.gravity)


def _push_force(p: Parameters, s: Solution) -> dict[str, FloatArray]:
    peak = largest(lambda x: _force(p, push_motion(p, s, x * s.push_s)), s.push_s.shape)
    down = s.unloading_s + s.loading_s
    return {
        "peak_propulsion_force_n": peak.value,
        "peak_force_n": np.maximum(peak.value, p.mass_kg * p.gravity * (1 + p.braking)),
        "time_to_peak_force_s": down + peak.place * s.push_s,
    }


def _push_power(p: Parameters, s: Solution) -> dict[str, FloatArray]:
    def power(x: FloatArray) -> FloatArray:
        piece = push_motion(p, s, x * s.push_s)
        return _force(p, piece) * piece.velocity

    peak = largest(power, s.push_s.shape)
    time = peak.place * s.push_s
    there = push_motion(p, s, time)
    return {
        "time_to_peak_power_s": s.unloading_s + s.loading_s + time,
        "power_development_rate_w_per_s": peak.value / time,
        "peak_propulsion_power_w": peak.value,
        "force_at_peak_power_n": _force(p, there),
        "velocity_at_peak_power_m_per_s": there.velocity,
    }


def _push_velocity(p: Parameters, s: Solution) -> dict[str, FloatArray]:
    peak = largest(lambda x: push_motion(p, s, x * s.push_s).velocity, s.push_s.shape)
    return {
        "peak_upward_velocity_m_per_s": peak.value,
        "positive_net_impulse_n_s": p.mass_kg * (peak.value - s.lowest_velocity),
    }


def _least_power(p: Parameters, s: Solution) -> dict[str, FloatArray]:
    def absorbed(x: FloatArray) -> FloatArray:
        piece = loading_motion(p, s, s.turning_s + x * (s.loading_s - s.turning_s))
        return -_force(p, piece) * piece.velocity

    return {"minimum_power_w": -largest(absorbed, s.push_s.shape).value}


def _regression(p: Parameters, s: Solution) -> dict[str, FloatArray]:
    """Return slope and r² of force on downward displacement, every instant counted once."""
    nodes, weights = np.polynomial.legendre.leggauss(40)
    x = ((nodes + 1) / 2).reshape(-1, *([1] * s.push_s.ndim))
    w = (weights / 2).reshape(x.shape)
    piece = loading_motion(p, s, s.turning_s + x * (s.loading_s - s.turning_s))
    force, down = _force(p, piece), -piece.displacement
    force, down = force - np.sum(w * force, axis=0), down - np.sum(w * down, axis=0)
    both, spread = np.sum(w * force * down, axis=0), np.sum(w * down**2, axis=0)
    return {
        "braking_stiffness_regression_n_per_m": both / spread,
        "braking_stiffness_fit": both**2 / (spread * np.sum(w * force**2, axis=0)),
    }


def _landing(p: Parameters, s: Solution) -> dict[str, FloatArray]:
    shape = s.push_s.shape
    weight = p.mass_kg * p.gravity

    def force(x: FloatArray) -> FloatArray:
        return _force(p, landing_motion(p, s, x * LANDING_S))

    peak = largest(force, shape)
    stop = LANDING_S * first_rise(lambda x: landing_motion(p, s, x * LANDING_S).velocity, shape)
    lowest = landing_motion(p, s, stop)
    time = LANDING_S * peak.place
    depth = s.takeoff_rise - p.landing_drop_m - lowest.displacement
    # from the end backwards: the last instant at which the force is not near body weight
    steady = 1.0 - first_rise(
        lambda x: np.abs(force(1.0 - x) - weight) - STABLE_SHARE * weight, shape
    )
    return {
        "peak_landing_force_n": peak.value,
        "landing_time_to_peak_s": time,
        "landing_loading_rate_n_per_s": peak.value / time,
        "landing_duration_s": stop,
        "landing_depth_m": depth,
        "landing_stiffness_n_per_m": peak.value / depth,
        "mean_landing_force_n": weight + p.mass_kg * s.landing_speed / stop,
        "time_to_stabilisation_s": LANDING_S * steady,
    }


#: Metrics that need a search, and the function that finds them.
SEARCHES: tuple[
    tuple[tuple[str, ...], Callable[[Parameters, Solution], dict[str, FloatArray]]], ...
] = (
    (("peak_propulsion_force_n", "peak_force_n", "time_to_peak_force_s"), _push_force),
    (
        (
            "peak_propulsion_power_w", "force_at_peak_power_n", "velocity_at_peak_power_m_per_s",
            "time_to_peak_power_s", "power_development_rate_w_per_s",
        ),
        _push_power,
    ),
    (("peak_upward_velocity_m_per_s", "positive_net_impulse_n_s"), _push_velocity),
    (("force_valley_n", "force_peaks"), valley),
    (("minimum_power_w",), _least_power),
    (("braking_stiffness_regression_n_per_m", "braking_stiffness_fit"), _regression),
    (
        (
            "peak_landing_force_n", "landing_time_to_peak_s", "landing_loading_rate_n_per_s",
            "landing_duration_s", "landing_depth_m", "landing_stiffness_n_per_m",
            "mean_landing_force_n",
            "time_to_stabilisation_s",
        ),
        _landing,
    ),
)  # fmt: skip
