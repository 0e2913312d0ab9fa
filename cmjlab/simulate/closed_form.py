"""Closed-form motion of a countermovement jump, piece by piece.

The acceleration of the centre of mass is given by five formulas (unloading, loading, push,
flight, landing); velocity and displacement are their exact integrals. Net force is
continuous from onset to the end (but for onset shape "abrupt"), and the force is zero at
take-off and at landing contact. All functions broadcast over arrays of parameters, so the
exact values of thousands of jumps cost one call.

Symbols: g gravity, BW = m g, alpha unweighting / BW, beta net force at zero velocity / BW,
d depth, n exponent of the push, delta dip (> 0: two peaks, < 0: late peak).
Source: derived here; verified by adaptive quadrature in ``tests/simulate/test_simulate_profile.py``.
"""

from __future__ import annotations

from typing import Any, NamedTuple

import numpy as np
from numpy.typing import NDArray

from cmjlab.simulate.onset_shapes import shape_totals, shape_values

FloatArray = NDArray[np.float64]

#: Seconds from landing contact to rest, and length of the impact pulse.
LANDING_S = 0.90
IMPACT_S = 0.09


class Parameters(NamedTuple):
    """What fixes a jump; every number may be an array, all of one broadcast shape."""

    mass_kg: Any
    unweighting: Any  # alpha, share of body weight taken off at minimum force
    braking: Any  # beta, net force at zero velocity in body weights
    depth_m: Any
    takeoff_velocity: Any
    push_exponent: Any  # n
    push_dip: Any  # delta
    landing_drop_m: Any  # centre of mass lower at landing than at take-off
    impact_share: Any  # share of the landing speed taken by the impact pulse
    gravity: Any
    onset_shape: str


class Motion(NamedTuple):
    """Acceleration (m/s²), velocity (m/s), displacement (m; 0 standing), same shape."""

    acceleration: FloatArray
    velocity: FloatArray
    displacement: FloatArray


class Solution(NamedTuple):
    """Durations (s), and velocities (m/s) and displacements (m) where pieces meet."""

    unloading_s: FloatArray  # T1: onset to minimum force
    loading_s: FloatArray  # T2: minimum force to zero velocity
    push_s: FloatArray  # Tp: zero velocity to take-off
    turning_s: FloatArray  # within T2: peak downward velocity
    flight_s: FloatArray
    velocity_1: FloatArray  # at minimum force
    displacement_1: FloatArray
    lowest_velocity: FloatArray  # minimum of velocity (negative)
    turning_displacement: FloatArray  # displacement at peak downward velocity (negative)
    takeoff_rise: FloatArray
    landing_speed: FloatArray

    @property
    def time_to_takeoff_s(self) -> FloatArray:
        """Onset to take-off."""
        return self.unloading_s + self.loading_s + self.push_s


def solve(p: Parameters) -> Solution:
    """Return durations and junction values that give the wanted depth and take-off velocity."""
    g, a, b = p.gravity, p.unweighting, p.braking
    first, second = shape_totals(p.onset_shape)
    ratio = (b - a) / (2 * a * first)
    loading = np.sqrt(p.depth_m / (g * (a * ratio**2 * second + (b - a) / 4 + (b + a) / np.pi**2)))
    unloading = loading * ratio
    n, dip = p.push_exponent, p.push_dip
    push = p.takeoff_velocity / (g * (b - (1 + b) / (n + 1) - dip / 2))
    velocity_1 = -a * g * unloading * first
    displacement_1 = -a * g * unloading**2 * second
    turning = loading / np.pi * np.arccos((b - a) / (b + a))
    at_turn = _loading(p, loading, velocity_1, displacement_1, turning)
    rise = -p.depth_m + g * push**2 * (b / 2 - (1 + b) / ((n + 1) * (n + 2)) - dip / 4)
    speed = np.sqrt(np.square(p.takeoff_velocity) + 2 * g * p.landing_drop_m)
    return Solution(
        unloading, loading, push, turning, (p.takeoff_velocity + speed) / g, velocity_1,
        displacement_1, at_turn.velocity, at_turn.displacement, rise, speed,
    )  # fmt: skip


def unloading_motion(p: Parameters, s: Solution, time: Any) -> Motion:
    """Return the motion from onset to minimum force, ``time`` from onset."""
    q = shape_values(p.onset_shape, time / s.unloading_s)
    scale = -p.unweighting * p.gravity
    length = s.unloading_s
    return Motion(
        scale * q.value, scale * length * q.integral, scale * length**2 * q.double_integral
    )


def loading_motion(p: Parameters, s: Solution, time: Any) -> Motion:
    """Return the motion from minimum force to zero velocity, ``time`` from minimum force."""
    return _loading(p, s.loading_s, s.velocity_1, s.displacement_1, time)


def _loading(p: Parameters, length: Any, v1: Any, y1: Any, time: Any) -> Motion:
    g, a, b = p.gravity, p.unweighting, p.braking
    angle = np.pi * time / length
    w = length / np.pi
    return Motion(
        g * ((b - a) / 2 - (b + a) / 2 * np.cos(angle)),
        v1 + g * ((b - a) * time / 2 - (b + a) / 2 * w * np.sin(angle)),
        y1 + v1 * time
        + g * ((b - a) * time**2 / 4 + (b + a) / 2 * w**2 * (np.cos(angle) - 1)),
    )  # fmt: skip


def push_motion(p: Parameters, s: Solution, time: Any) -> Motion:
    """Return the motion from zero velocity to take-off, ``time`` from zero velocity."""
    g, b, n, dip = p.gravity, p.braking, p.push_exponent, p.push_dip
    length = s.push_s
    x = time / length
    wave, w = 2 * np.pi * x, length / (2 * np.pi)
    half = dip * g / 2
    fall = (1 + b) * g
    return Motion(
        b * g - fall * x**n - half * (1 - np.cos(wave)),
        b * g * time - fall * length * x ** (n + 1) / (n + 1) - half * (time - w * np.sin(wave)),
        -p.depth_m + b * g * time**2 / 2 - fall * length**2 * x ** (n + 2) / ((n + 1) * (n + 2))
        - half * (time**2 / 2 + w**2 * (np.cos(wave) - 1)),
    )  # fmt: skip


def flight_motion(p: Parameters, s: Solution, time: Any) -> Motion:
    """Return the motion in flight, ``time`` from take-off."""
    zero = np.zeros_like(np.asarray(time, dtype=np.float64))
    return Motion(
        zero - p.gravity,
        p.takeoff_velocity - p.gravity * time,
        s.takeoff_rise + p.takeoff_velocity * time - p.gravity * time**2 / 2,
    )


def landing_motion(p: Parameters, s: Solution, time: Any) -> Motion:
    """Return the motion from landing contact to rest, ``time`` (0 to LANDING_S) from landing.

    An impact pulse (raised cosine of IMPACT_S) takes a share of the landing speed; a quintic
    brings the rest to a stand at height 0, so that both meet rest exactly.
    """
    taken = p.impact_share * s.landing_speed
    pulse = _impact(taken, time)
    start = s.takeoff_rise - p.landing_drop_m
    end_y = -taken * (LANDING_S - IMPACT_S / 2)
    body = _quintic(
        (start, -s.landing_speed, -p.gravity), (end_y, -taken), np.asarray(time) / LANDING_S
    )
    return Motion(*(one + two for one, two in zip(pulse, body, strict=True)))


def _impact(taken: Any, time: Any) -> Motion:
    inside = np.minimum(time, IMPACT_S)
    after = np.asarray(time) - inside
    w = IMPACT_S / (2 * np.pi)
    angle = inside / w
    return Motion(
        taken / IMPACT_S * (1 - np.cos(angle)),
        taken / IMPACT_S * (inside - w * np.sin(angle)),
        taken / IMPACT_S * (inside**2 / 2 + w**2 * (np.cos(angle) - 1)) + taken * after,
    )


def _quintic(start: tuple[Any, Any, Any], end: tuple[Any, Any], x: Any) -> Motion:
    """Quintic over LANDING_S from (y, v, a) to (y, v, 0); x = time / LANDING_S."""
    length = LANDING_S
    y0, v0, a0 = start[0], start[1] * length, start[2] * length**2
    y1, v1 = end[0], end[1] * length
    gap = y1 - y0 - v0 - a0 / 2
    slope = v1 - v0 - a0
    curve = -a0
    c3 = 10 * gap - 4 * slope + curve / 2
    c4 = -15 * gap + 7 * slope - curve
    c5 = 6 * gap - 3 * slope + curve / 2
    return Motion(
        (a0 + x * (6 * c3 + x * (12 * c4 + x * 20 * c5))) / length**2,
        (v0 + x * (a0 + x * (3 * c3 + x * (4 * c4 + x * 5 * c5)))) / length,
        y0 + x * (v0 + x * (a0 / 2 + x * (c3 + x * (c4 + x * c5)))),
    )
