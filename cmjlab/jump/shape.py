"""Metrics of the shape of the push: when it peaks, how it begins, how braking and push compare."""

from __future__ import annotations

import math

import numpy as np

from cmjlab.jump.analysis import Complete
from cmjlab.jump.edges import Edges
from cmjlab.jump.motion import Path
from cmjlab.jump.phases import Phases
from cmjlab.jump.signal import FloatArray, largest

Numbers = dict[str, float]

#: The force is averaged over this time before its valley is looked for, s.
SMOOTHING_S = 0.010
#: A valley deeper than this share of body weight parts two peaks (our own limit).
VALLEY_SHARE = 0.05
#: Values that differ by less than this share are equal: rounding, far below any plate.
_EQUAL = 1e-9
#: Beginnings of the propulsion whose impulse is given: name in the key, s.
BEGINNINGS = (("50ms", 0.050), ("100ms", 0.100))


def shape_metrics(found: Complete, known: Numbers) -> Numbers:
    """Return the metrics of the shape of the push.

    Parameters
    ----------
    found : Complete
        A jump with its phases.
    known : dict of str to float
        The other metrics of the push.
    """
    path, phases = found.path, found.phases
    duration = known["propulsion_duration_s"]
    valley = _valley(path, phases, found.edges)
    distance = phases.push_end.displacement - phases.propulsion.displacement
    return {
        "jump_momentum_kg_m_per_s": path.mass * phases.takeoff.velocity,
        "positive_net_impulse_n_s": path.mass
        * (known["peak_upward_velocity_m_per_s"] - phases.slowest.velocity),
        "mean_propulsion_velocity_m_per_s": distance / duration,
        "braking_to_propulsion_duration_ratio": known["braking_duration_s"] / duration,
        "braking_to_propulsion_impulse_ratio": _ratio(known, "{}_impulse_n_s"),
        "braking_to_propulsion_mean_force_ratio": _ratio(known, "mean_{}_force_n"),
        "force_valley_n": valley,
        "force_peaks": 1.0 + (valley > VALLEY_SHARE * path.weight) if valley == valley else valley,
        **_beginnings(path, phases),
        **_peak_times(path, phases, found.edges),
    }


def _ratio(known: Numbers, key: str) -> float:
    """Return braking over propulsion; nan when the push has none of it."""
    pushed = known[key.format("propulsion")]
    return known[key.format("braking")] / pushed if pushed > 0.0 else math.nan


def _beginnings(path: Path, phases: Phases) -> Numbers:
    """Return net impulses of the first instants of propulsion; nan when it is over before."""
    begin, end = phases.propulsion, phases.push_end.sample
    out = {}
    for name, seconds in BEGINNINGS:
        until = begin.sample + seconds / path.dt
        gained = path.at(until).velocity - begin.velocity if until <= end else math.nan
        out[f"propulsion_impulse_{name}_n_s"] = path.mass * gained
    return out


def _peak_times(path: Path, phases: Phases, edges: Edges) -> Numbers:
    """Return when force and power peak, and how fast power rises to its peak."""
    stop = edges.last_loaded - path.base + 1
    braking = math.ceil(phases.braking.sample) - path.base
    strongest = braking + int(path.force[braking:stop].argmax())
    at_peak = path.base + _top(path.force, strongest)
    if phases.lowest.force > path.force[strongest]:
        at_peak = phases.lowest.sample
    pushing = math.ceil(phases.propulsion.sample) - path.base
    best = pushing + int(path.power[pushing:stop].argmax())
    at_best = path.base + _top(path.power, best)
    rise = (at_best - phases.lowest.sample) * path.dt
    onset = phases.onset.sample
    return {
        "time_to_peak_force_s": (at_peak - onset) * path.dt,
        "time_to_peak_power_s": (at_best - onset) * path.dt,
        "power_development_rate_w_per_s": float(path.power[best]) / rise if rise > 0 else math.nan,
    }


def _top(values: FloatArray, largest: int) -> float:
    """Return where the top around the largest value is, between samples.

    The middle of the neighbours that equal it but for rounding, else the vertex of a parabola
    through it and its neighbours: which of equal samples rounding calls the largest must not
    move a time.
    """
    level = float(values[largest]) * (1.0 - _EQUAL)
    first = last = largest
    while first > 0 and values[first - 1] >= level:
        first -= 1
    while last < values.shape[0] - 1 and values[last + 1] >= level:
        last += 1
    if first < last or not 0 < largest < values.shape[0] - 1:
        return 0.5 * (first + last)
    before, here, after = (float(v) for v in values[largest - 1 : largest + 2])
    return largest + 0.5 * (before - after) / (before - 2.0 * here + after)


def _valley(path: Path, phases: Phases, edges: Edges) -> float:
    """Return how deep the force falls between two peaks; 0 when it has one peak only.

    Between peak downward velocity and take-off, whatever the phase model: where braking begins
    earlier the drop itself would be a valley. The mean force over a short time is the gain of
    momentum in it, so the velocity serves as the running sum.
    """
    width = max(1, round(SMOOTHING_S / path.dt))
    first = math.ceil(phases.slowest.sample) - path.base
    velocity = path.velocity[first : edges.last_loaded - path.base + 1]
    if velocity.shape[0] < width + 3:
        return math.nan
    gained = velocity[width:] - velocity[:-width]
    before = np.maximum.accumulate(gained)
    after = np.maximum.accumulate(gained[::-1])[::-1]
    deepest = float(largest(np.minimum(before, after) - gained))
    return path.mass * deepest / (width * path.dt)
