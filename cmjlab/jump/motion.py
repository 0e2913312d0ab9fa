"""Motion of the centre of mass: integration of the force from the onset."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from cmjlab.jump.signal import FloatArray


@dataclass(frozen=True, slots=True)
class State:
    """Position in samples, force (N), velocity (m/s), displacement (m) and work so far (J).

    Work is nan after the push.
    """

    sample: float
    force: float
    velocity: float
    displacement: float
    work: float


@dataclass(frozen=True, slots=True)
class Path:
    """Force and motion from just before the onset on; arrays of one length.

    Attributes
    ----------
    base : int
        Sample of the recording at index 0.
    dt : float
        Sampling interval, s.
    weight : float
        Body weight, N.
    gravity : float
        Acceleration of free fall, m/s².
    force, acceleration, velocity, displacement : ndarray, shape (n,)
        N, m/s², m/s, m; velocity and displacement are 0 at the origin.
    power, work : ndarray, shape (n_push,)
        W and J up to the end of the push; work is 0 at the origin.
    """

    base: int
    dt: float
    weight: float
    gravity: float
    force: FloatArray
    acceleration: FloatArray
    velocity: FloatArray
    displacement: FloatArray
    power: FloatArray
    work: FloatArray

    @property
    def mass(self) -> float:
        """Body mass, kg."""
        return self.weight / self.gravity

    def at(self, sample: float) -> State:
        """Return the state between two samples: the force runs straight there."""
        position = sample - self.base
        k = min(max(int(position), 0), self.force.shape[0] - 2)
        tau = (position - k) * self.dt
        a0, a1 = float(self.acceleration[k]), float(self.acceleration[k + 1])
        f0, f1 = float(self.force[k]), float(self.force[k + 1])
        work = math.nan
        if k + 1 < self.power.shape[0]:
            p0, p1 = float(self.power[k]), float(self.power[k + 1])
            work = float(self.work[k]) + p0 * tau + 0.5 * (p1 - p0) / self.dt * tau * tau
        v0 = float(self.velocity[k])
        jerk = (a1 - a0) / self.dt
        return State(
            sample,
            f0 + (f1 - f0) * tau / self.dt,
            v0 + a0 * tau + 0.5 * jerk * tau * tau,
            float(self.displacement[k])
            + v0 * tau
            + 0.5 * a0 * tau * tau
            + jerk * tau * tau * tau / 6,
            work,
        )

    def leaving(self, loaded: int, sample: float, force: float) -> State:
        """Return the state at take-off: the force runs straight from the last loaded sample."""
        k = loaded - self.base
        tau = (sample - loaded) * self.dt
        a0 = float(self.acceleration[k])
        a1 = self.gravity * (force / self.weight - 1.0)
        v0, p0 = float(self.velocity[k]), float(self.power[k])
        velocity = v0 + 0.5 * (a0 + a1) * tau
        displacement = float(self.displacement[k]) + v0 * tau + (2 * a0 + a1) * tau * tau / 6
        work = float(self.work[k]) + 0.5 * (p0 + force * velocity) * tau
        return State(sample, force, velocity, displacement, work)


def running_trapezoid(values: FloatArray, dt: float) -> FloatArray:
    """Return the running integral by the trapezoid rule, 0 at the first sample."""
    out = np.empty_like(values)
    out[0] = 0.0
    np.add(values[1:], values[:-1], out=out[1:])
    out.cumsum(out=out)
    out *= 0.5 * dt
    return out


def running_simpson(values: FloatArray, dt: float) -> FloatArray:
    """Return the running integral with parabolas through three samples, 0 at the first.

    Each interval is integrated with the parabola through it and the next sample (the last
    one with the sample before), which is third-order exact at every sample.
    """
    if values.shape[0] < 3:
        return running_trapezoid(values, dt)
    pieces = np.zeros_like(values)
    pieces[1:-1] = (5 * values[:-2] + 8 * values[1:-1] - values[2:]) / 12
    pieces[-1] = (5 * values[-1] + 8 * values[-2] - values[-3]) / 12
    return np.asarray(np.cumsum(pieces) * dt)


def integrate(
    force: FloatArray, origin: float, *, weight: float, gravity: float, rate: float,
    rule: str,
    push_stop: int | None = None,
) -> Path:  # fmt: skip
    """Integrate the force from an origin at rest.

    Parameters
    ----------
    force : ndarray, shape (n_samples,)
        Force, N.
    origin : float
        Position in samples where velocity, displacement and work are 0.
    weight : float
        Body weight, N.
    gravity : float
        Acceleration of free fall, m/s².
    rate : float
        Sampling rate, Hz.
    rule : str
        "trapezoid" or "simpson".
    push_stop : int, optional
        End of power and work (not included); the end of the force when not given.
    """
    base = int(origin)
    dt = 1.0 / rate
    running = running_trapezoid if rule == "trapezoid" else running_simpson
    part = force[base:]
    acceleration = part * (gravity / weight)
    acceleration -= gravity
    velocity = running(acceleration, dt)
    tau = (origin - base) * dt
    a0 = float(acceleration[0])
    jerk = (float(acceleration[1]) - a0) / dt
    velocity -= a0 * tau + 0.5 * jerk * tau * tau
    displacement = running(velocity, dt)
    v0 = float(velocity[0])
    displacement -= v0 * tau + 0.5 * a0 * tau * tau + jerk * tau**3 / 6
    push = (force.shape[0] if push_stop is None else push_stop) - base
    power = part[:push] * velocity[:push]
    work = running(power, dt)
    p0 = float(power[0])
    work -= p0 * tau + 0.5 * (float(power[1]) - p0) / dt * tau * tau
    return Path(base, dt, weight, gravity, part, acceleration, velocity, displacement, power, work)
