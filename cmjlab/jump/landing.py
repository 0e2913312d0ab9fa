"""The landing, and standing again: landing metrics and the momentum balance."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from cmjlab.jump.edges import Edges
from cmjlab.jump.motion import Path
from cmjlab.jump.signal import FloatArray, Signal, mean_of
from cmjlab.jump.weighing import Weighing, find_window, weigh
from cmjlab.method import Method

#: Error of the momentum balance: newtons of sway times these seconds over the time between the
#: windows (simulated sway; our own).
SWAY_OF_BALANCE_S = 0.42
#: Beginnings of the contact whose impulse is given: name in the key, s.
BEGINNINGS = (("50ms", 0.050), ("100ms", 0.100))


@dataclass(frozen=True, slots=True)
class Rest:
    """Standing after the landing, and body weight from rest to rest.

    Attributes
    ----------
    window : Weighing or None
        Still window after the landing; None when there is none.
    weight : float
        Body weight by momentum balance, N; nan without a window.
    velocity : float
        Velocity left in that window by integration from the weighing window, m/s.
    weighed : float
        Body weight of the weighing window, N.
    se : float
        Standard error of ``weight``, N.
    """

    window: Weighing | None
    weight: float
    velocity: float
    weighed: float
    se: float = math.nan


def balance(signal: Signal, weighing: Weighing, edges: Edges, stop: int, method: Method) -> Rest:
    """Return body weight from the momentum balance between two still windows.

    The body is at rest in both, so the impulse of the whole time between them is body weight
    times time: the running impulse lies on the same straight line in both windows, and its
    slope is body weight. Using the means over both windows averages sway out of the ends.

    Parameters
    ----------
    signal : Signal
        Force.
    weighing : Weighing
        Window before the jump.
    edges : Edges
        Landing.
    stop : int
        End of the contact after landing.
    method : Method
        Length of the windows and stillness.
    """
    if math.isnan(edges.landing):
        return Rest(None, math.nan, math.nan, weighing.weight)
    begin = edges.first_loaded + signal.samples(0.3)
    if stop - begin < signal.samples(0.5 * method.weighing_duration_s):
        return Rest(None, math.nan, math.nan, weighing.weight)
    first, last = find_window(signal, begin, stop, method)
    if last - first < 0.5 * method.weighing_duration_s * signal.rate - 1:
        return Rest(None, math.nan, math.nan, weighing.weight)
    window = weigh(signal, first, last)
    if window.unrest > method.limits.rest_still_percent / 100.0 * weighing.weight:
        return Rest(None, math.nan, math.nan, weighing.weight)
    net = signal.force[weighing.start : last] - weighing.weight
    impulse = net.cumsum()
    before = weighing.stop - weighing.start
    left = mean_of(impulse[first - weighing.start :]) - mean_of(impulse[:before])
    time = 0.5 * (first + last) - 0.5 * (weighing.start + weighing.stop)
    mass = weighing.weight / method.gravity_m_per_s2
    velocity = left / signal.rate / mass
    se = SWAY_OF_BALANCE_S * weighing.sway * signal.rate / time
    return Rest(window, weighing.weight + left / time, velocity, weighing.weight, se)


def landing_metrics(
    signal: Signal, path: Path, edges: Edges, stop: int, method: Method
) -> dict[str, float]:
    """Return flight and landing metrics; empty when the recording ends in flight.

    Parameters
    ----------
    signal : Signal
        Force.
    path : Path
        Motion, followed past the landing.
    edges : Edges
        Take-off and landing.
    stop : int
        End of the contact after landing.
    method : Method
        Definition of time to stabilisation.
    """
    if math.isnan(edges.landing):
        return {}
    g, dt, weight = path.gravity, path.dt, path.weight
    flight = (edges.landing - edges.takeoff) * dt
    out = {"flight_time_s": flight, "jump_height_flight_m": g * flight * flight / 8.0}
    first = edges.first_loaded
    near = signal.force[first : min(stop, first + signal.samples(0.5))]
    if near.shape[0] < 3:
        return out
    top = int(near.argmax())
    peak = float(near[top])
    touch = path.at(edges.landing)
    time = (first + top - edges.landing) * dt
    out["peak_landing_force_n"] = peak
    out["landing_time_to_peak_s"] = time
    out["landing_loading_rate_n_per_s"] = peak / time if time > 0.0 else math.nan
    for name, seconds in BEGINNINGS:
        impulse = impulse_after(signal.force, edges, stop, seconds, signal.rate)
        out[f"landing_impulse_{name}_n_s"] = impulse
    out["landing_velocity_m_per_s"] = -touch.velocity
    index = first - path.base
    rising = (path.velocity[index : stop - path.base] >= 0.0).nonzero()[0]
    if rising.size and rising[0] > 0:
        k = index + int(rising[0])
        before, after = float(path.velocity[k - 1]), float(path.velocity[k])
        low = path.at(path.base + k - 1 + before / (before - after))
        duration = (low.sample - edges.landing) * dt
        impulse = -weight / g * touch.velocity
        out["landing_duration_s"] = duration
        depth = touch.displacement - low.displacement
        out["landing_depth_m"] = depth
        out["landing_stiffness_n_per_m"] = peak / depth if depth > 0.0 else math.nan
        out["landing_impulse_n_s"] = impulse
        out["mean_landing_force_n"] = weight + impulse / duration if duration > 0 else math.nan
    out["time_to_stabilisation_s"] = _stabilisation(signal, edges, stop, weight, method)
    return out


def impulse_after(force: FloatArray, edges: Edges, stop: int, seconds: float, rate: float) -> float:
    """Return the integral of a force from the landing on, N·s; nan when the contact is shorter.

    Parameters
    ----------
    force : ndarray, shape (n_samples,)
        Force of both feet or of one, N.
    edges : Edges
        Landing; the force rises from zero there in a straight line to the first loaded sample.
    stop : int
        End of the contact.
    seconds, rate : float
        How long, and the sampling rate, Hz.
    """
    end = edges.landing + seconds * rate
    first, last = edges.first_loaded, math.floor(end)
    if last + 1 >= stop or last < first:
        return math.nan
    begun, done = float(force[first]), float(force[last])
    reached = done + (float(force[last + 1]) - done) * (end - last)
    inner = float(np.add.reduce(force[first : last + 1])) - 0.5 * (begun + done)
    outer = 0.5 * begun * (first - edges.landing) + 0.5 * (done + reached) * (end - last)
    return (inner + outer) / rate


def _stabilisation(signal: Signal, edges: Edges, stop: int, weight: float, method: Method) -> float:
    """Return the time after landing from which the force stays near body weight."""
    part = signal.force[edges.first_loaded : stop]
    near = np.abs(part - weight) <= method.stable_percent / 100.0 * weight
    length = signal.samples(method.stable_s)
    out = np.flatnonzero(~near)
    begins = np.concatenate(([0], out + 1))
    ends = np.concatenate((out, [part.shape[0]]))
    good = np.flatnonzero(ends - begins >= length)
    if good.size == 0:
        return math.nan
    return float(edges.first_loaded + begins[good[0]] - edges.landing) / signal.rate
