"""Metrics of the push: heights, times, forces, impulses, work, power.

Net impulses, mean forces and heights come from the states at the phase boundaries (placed
between samples); peaks are samples of the force. Formulas stand in ``cmjlab.catalog``.
"""

from __future__ import annotations

import math

from cmjlab.jump.analysis import Complete
from cmjlab.jump.edges import Edges
from cmjlab.jump.motion import Path, State
from cmjlab.jump.phases import Phases
from cmjlab.jump.rates import braking_rates
from cmjlab.jump.shape import shape_metrics
from cmjlab.jump.signal import largest, smallest
from cmjlab.jump.weighing import Weighing
from cmjlab.method import Method

Numbers = dict[str, float]

#: Sway goes on during the jump and changes velocity and displacement: newtons of sway in the
#: weighing window times these seconds are newton-seconds (simulated sway; our own).
SWAY_OF_HEIGHT_S = 0.40
SWAY_OF_DEPTH_S = 0.18
#: An onset placed too late or too early misses a share of the speed that the body gains in one
#: standard error of the onset (simulated; our own).
ONSET_OF_VELOCITY = 0.5
#: Take-off is placed within this share of a sampling interval, and white noise moves it by twice
#: its size over the slope of the force there, about 50 body weights a second (simulated).
TAKEOFF_SAMPLES = 0.05
TAKEOFF_NOISE = 2.0 / 50.0


def push_metrics(found: Complete, method: Method) -> Numbers:
    """Return the metrics of the push from onset to take-off.

    Parameters
    ----------
    found : Complete
        A jump with its phases.
    method : Method
        Definitions of rate of force development and stiffness.

    Returns
    -------
    dict of str to float
        Metric key -> value in the catalog's unit; per-mass versions are added later.
    """
    path, phases, edges, weighing = found.path, found.phases, found.edges, found.weighing
    out = {"body_weight_n": path.weight, "body_mass_kg": path.mass}
    out.update(_heights(path, phases, weighing, found.onset.se))
    out.update(_times(path, phases))
    out.update(_errors_of_times(out, found.onset.se * path.dt))
    out.update(_displacements(path, phases))
    out.update(_forces(path, phases, edges))
    out.update(_impulses_and_work(path, phases))
    out.update(_powers(path, phases, edges))
    out.update(braking_rates(found, method))
    out.update(shape_metrics(found, out))
    return out


def _heights(path: Path, phases: Phases, weighing: Weighing, onset_se: float) -> Numbers:
    g = path.gravity
    velocity = phases.takeoff.velocity
    height = velocity * velocity / (2.0 * g)
    time = (phases.takeoff.sample - phases.onset.sample) * path.dt
    down = (phases.lowest.sample - phases.onset.sample) * path.dt
    depth = -phases.lowest.displacement
    relative = weighing.se / path.weight
    sway = weighing.sway / path.mass
    white = weighing.white / path.mass * path.dt**0.5
    missed = ONSET_OF_VELOCITY * _speed_after(path, phases.onset.sample, onset_se)
    leaving = g * math.hypot(
        TAKEOFF_SAMPLES * path.dt, TAKEOFF_NOISE * weighing.white / path.weight
    )
    height_se = math.hypot(
        2.0 * height * relative * (1.0 + g * time / velocity),
        velocity / g * SWAY_OF_HEIGHT_S * sway,
        velocity / g * white * time**0.5,
        velocity / g * missed,
        velocity / g * leaving,
    )
    depth_se = math.hypot(
        relative * (0.5 * g * down * down - depth),
        down * SWAY_OF_DEPTH_S * sway,
        white * (down**3 / 3.0) ** 0.5,
        down * missed,
    )
    return {
        "jump_height_m": height,
        "jump_height_total_m": height + phases.takeoff.displacement,
        "jump_height_se_m": height_se,
        "countermovement_depth_se_m": depth_se,
        "takeoff_velocity_m_per_s": velocity,
        "rsi_modified_m_per_s": height / time,
    }


def _times(path: Path, phases: Phases) -> Numbers:
    dt = path.dt
    onset, takeoff = phases.onset.sample, phases.takeoff.sample
    return {
        "time_to_takeoff_s": (takeoff - onset) * dt,
        "unloading_duration_s": (phases.minimum - onset) * dt,
        "yielding_duration_s": (phases.slowest.sample - phases.minimum) * dt,
        "unweighting_duration_s": (phases.slowest.sample - onset) * dt,
        "braking_duration_s": (phases.lowest.sample - phases.braking.sample) * dt,
        "downward_duration_s": (phases.lowest.sample - onset) * dt,
        "propulsion_duration_s": (phases.push_end.sample - phases.propulsion.sample) * dt,
    }


def _speed_after(path: Path, onset: float, se: float) -> float:
    """Return the speed gained from the onset to one standard error after it, m/s."""
    if not se > 0.0:
        return 0.0
    return abs(path.at(onset + se).velocity)


def _errors_of_times(out: Numbers, onset_se: float) -> Numbers:
    """Return standard errors of what begins at the onset; the other end is known far better."""
    time, height = out["time_to_takeoff_s"], out["jump_height_m"]
    return {
        "time_to_takeoff_se_s": onset_se,
        "unweighting_duration_se_s": onset_se,
        "rsi_modified_se_m_per_s": math.hypot(
            out["jump_height_se_m"] / time, height * onset_se / (time * time)
        ),
    }


def _displacements(path: Path, phases: Phases) -> Numbers:
    lowest, takeoff = phases.lowest.displacement, phases.takeoff.displacement
    return {
        "countermovement_depth_m": -lowest,
        "unweighting_displacement_m": -phases.slowest.displacement,
        "braking_displacement_m": phases.braking.displacement - lowest,
        "takeoff_rise_m": takeoff,
        "push_distance_m": takeoff - lowest,
        "peak_downward_velocity_m_per_s": -phases.slowest.velocity,
    }


def _span(path: Path, begin: State, end: State) -> slice:
    """Return the samples between two states as indices of the path (at least one)."""
    first = math.ceil(begin.sample) - path.base
    last = math.floor(end.sample) - path.base
    return slice(first, max(last, first) + 1)


def _forces(path: Path, phases: Phases, edges: Edges) -> Numbers:
    weight, mass = path.weight, path.mass
    force = path.force
    braking = (phases.lowest.sample - phases.braking.sample) * path.dt
    pushing = (phases.push_end.sample - phases.propulsion.sample) * path.dt
    dropping = (phases.slowest.sample - phases.onset.sample) * path.dt
    gained = phases.push_end.velocity - phases.propulsion.velocity
    stopped = phases.lowest.velocity - phases.braking.velocity
    zero = phases.lowest.force
    peak_braking = max(float(largest(force[_span(path, phases.braking, phases.lowest)])), zero)
    first = math.ceil(phases.propulsion.sample) - path.base
    peak_push = max(float(largest(force[first : edges.last_loaded - path.base + 1])), zero)
    distance = phases.takeoff.displacement - phases.lowest.displacement
    work = phases.takeoff.work - phases.lowest.work
    return {
        "minimum_force_n": float(force[phases.minimum - path.base]),
        "peak_braking_force_n": peak_braking,
        "peak_propulsion_force_n": peak_push,
        "peak_force_n": max(peak_braking, peak_push),
        "force_at_zero_velocity_n": zero,
        "mean_unweighting_force_n": weight + mass * phases.slowest.velocity / dropping,
        "mean_braking_force_n": weight + mass * stopped / braking,
        "mean_propulsion_force_n": weight + mass * gained / pushing,
        "mean_force_over_push_n": work / distance if distance > 0.0 else math.nan,
    }


def _impulses_and_work(path: Path, phases: Phases) -> Numbers:
    mass = path.mass
    onset, slowest, lowest = phases.onset, phases.slowest, phases.lowest
    return {
        "unweighting_impulse_n_s": mass * (slowest.velocity - onset.velocity),
        "braking_impulse_n_s": mass * (lowest.velocity - phases.braking.velocity),
        "propulsion_impulse_n_s": mass * (phases.push_end.velocity - phases.propulsion.velocity),
        "unweighting_work_j": slowest.work - onset.work,
        "braking_work_j": lowest.work - phases.braking.work,
        "propulsion_work_j": phases.push_end.work - phases.propulsion.work,
    }


def _powers(path: Path, phases: Phases, edges: Edges) -> Numbers:
    first = math.ceil(phases.propulsion.sample) - path.base
    push = slice(first, edges.last_loaded - path.base + 1)
    down = slice(
        max(0, math.ceil(phases.onset.sample) - path.base),
        math.ceil(phases.lowest.sample) - path.base,
    )
    best = first + int(path.power[push].argmax())
    fastest = float(largest(path.velocity[push]))
    braking = (phases.lowest.sample - phases.braking.sample) * path.dt
    pushing = (phases.push_end.sample - phases.propulsion.sample) * path.dt
    return {
        "peak_propulsion_power_w": float(path.power[best]),
        "mean_propulsion_power_w": (phases.push_end.work - phases.propulsion.work) / pushing,
        "minimum_power_w": float(smallest(path.power[down])),
        "mean_braking_power_w": (phases.lowest.work - phases.braking.work) / braking,
        "peak_upward_velocity_m_per_s": max(fastest, phases.takeoff.velocity),
        "force_at_peak_power_n": float(path.force[best]),
        "velocity_at_peak_power_m_per_s": float(path.velocity[best]),
    }


#: Metrics that are also given per kilogram of body mass: key -> key per mass.
PER_MASS: dict[str, str] = {
    "minimum_force_n": "minimum_force_n_per_kg",
    "peak_braking_force_n": "peak_braking_force_n_per_kg",
    "peak_propulsion_force_n": "peak_propulsion_force_n_per_kg",
    "peak_force_n": "peak_force_n_per_kg",
    "force_at_zero_velocity_n": "force_at_zero_velocity_n_per_kg",
    "mean_braking_force_n": "mean_braking_force_n_per_kg",
    "mean_propulsion_force_n": "mean_propulsion_force_n_per_kg",
    "mean_force_over_push_n": "mean_force_over_push_n_per_kg",
    "unweighting_impulse_n_s": "unweighting_impulse_n_s_per_kg",
    "braking_impulse_n_s": "braking_impulse_n_s_per_kg",
    "propulsion_impulse_n_s": "propulsion_impulse_n_s_per_kg",
    "braking_work_j": "braking_work_j_per_kg",
    "propulsion_work_j": "propulsion_work_j_per_kg",
    "peak_propulsion_power_w": "peak_propulsion_power_w_per_kg",
    "mean_propulsion_power_w": "mean_propulsion_power_w_per_kg",
    "minimum_power_w": "minimum_power_w_per_kg",
    "mean_braking_power_w": "mean_braking_power_w_per_kg",
    "braking_rfd_n_per_s": "braking_rfd_n_per_s_per_kg",
    "braking_stiffness_n_per_m": "braking_stiffness_n_per_m_per_kg",
    "power_development_rate_w_per_s": "power_development_rate_w_per_s_per_kg",
    "peak_landing_force_n": "peak_landing_force_n_per_kg",
    "landing_stiffness_n_per_m": "landing_stiffness_n_per_m_per_kg",
}


def add_per_mass(numbers: Numbers) -> None:
    """Add the versions per kilogram of body mass in place."""
    mass = numbers["body_mass_kg"]
    for key, relative in PER_MASS.items():
        if key in numbers:
            numbers[relative] = numbers[key] / mass
