"""Take-off and landing: threshold from the flight itself, placed between samples.

Near take-off the force falls by some 40 N a millisecond and the acceleration is −g, so one
sample of error costs g·dt of velocity. The default therefore does not interpolate into the
flight (the force has a corner there) but continues the line of the last loaded samples down
to the unloaded level. The threshold then only decides which sample is the last loaded one.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from cmjlab.jump.flights import Flight
from cmjlab.jump.signal import FloatArray, Signal, largest, mean_of
from cmjlab.method import Method

#: Length of the line that is continued to the unloaded level, s.
_LINE_S = 0.003
_LANDING_LINE_S = 0.002


@dataclass(frozen=True, slots=True)
class Edges:
    """Take-off and landing in samples (fractions), and the force of the flight.

    Attributes
    ----------
    takeoff, landing : float
        Positions in samples; landing is nan when the recording ends in flight.
    last_loaded, first_loaded : int
        Last sample on the plate before and first sample on it after the flight.
    unloaded : float
        Mean force of the middle of the flight, N.
    noise : float
        Standard deviation there, N.
    threshold : float
        Force that told loaded from unloaded, N.
    takeoff_force : float
        Force at the placed take-off, N.
    """

    takeoff: float
    landing: float
    last_loaded: int
    first_loaded: int
    unloaded: float
    noise: float
    threshold: float
    takeoff_force: float


def flight_level(signal: Signal, flight: Flight, coarse: float) -> tuple[float, float]:
    """Return mean and SD of the force in the central half of a flight, spikes left out."""
    start, stop = flight.middle
    part = signal.force[start:stop]
    if largest(part) >= coarse:
        part = part[part < coarse]
    mean = mean_of(part)
    centred = part - mean
    return mean, float(centred @ centred / max(1, part.shape[0] - 1)) ** 0.5


def find_edges(signal: Signal, flight: Flight, coarse: float, method: Method) -> Edges:
    """Return take-off and landing of one coarse flight.

    Parameters
    ----------
    signal : Signal
        Force.
    flight : Flight
        Unloaded run.
    coarse : float
        Coarse threshold, N: no fine threshold is above it.
    method : Method
        Threshold rule and placing between samples.
    """
    mean, noise = flight_level(signal, flight, coarse)
    by_noise = mean + method.takeoff_sd * noise
    if method.takeoff_rule == "newton":
        threshold = method.takeoff_newton
    elif method.takeoff_rule == "flight_sd":
        threshold = by_noise
    else:
        threshold = max(method.takeoff_newton, by_noise)
    threshold = min(threshold, coarse)
    force = signal.force
    below = force[flight.start : flight.stop] < threshold
    if not below.any():
        below = np.ones_like(below)
    first = flight.start + int(np.argmax(below))
    last = flight.stop - 1 - int(np.argmax(below[::-1]))
    levels = (threshold, mean, mean + 2.0 * noise)
    takeoff = _edge(force, first - 1, -1, levels, signal.rate, method.event_placing)
    landing = np.nan
    if not flight.open:
        landing = _edge(force, last + 1, 1, levels, signal.rate, method.event_placing)
    at_takeoff = {"extrapolate": mean, "linear": threshold, "none": float(force[first])}
    return Edges(
        takeoff,
        landing,
        first - 1,
        last + 1,
        mean,
        noise,
        threshold,
        at_takeoff[method.event_placing],
    )


def _edge(
    force: FloatArray,
    loaded: int,
    away: int,
    levels: tuple[float, float, float],
    rate: float,
    placing: str,
) -> float:
    """Return where contact ends, next to a loaded sample; ``away`` points away from flight.

    ``levels`` are the threshold, the unloaded level and the largest force that cannot be told
    from it: the contact ends at the latest at the first sample as low as that.
    """
    threshold, unloaded, empty = levels
    inside = loaded - away
    if placing == "none":
        return float(inside)
    step = max(1, round((_LINE_S if away < 0 else _LANDING_LINE_S) * rate))
    outer = loaded + away * step
    here = float(force[loaded])
    if placing == "linear" or not 0 <= outer < force.shape[0]:
        crossing = (here - threshold) / max(here - float(force[inside]), 1e-12)
        return loaded - away * min(max(crossing, 0.0), 1.0)
    slope = max((float(force[outer]) - here) / step, 1e-9)
    few = force[inside : inside + 8] if away < 0 else force[max(0, inside - 7) : inside + 1][::-1]
    latest = 1.0 + int(np.argmax(few <= empty))
    return loaded - away * min((here - unloaded) / slope, latest)
