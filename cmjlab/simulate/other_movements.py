"""Recordings that are not one countermovement jump: several jumps, a hop, a squat jump.

Built from exact pieces, so that momentum and energy are right: every movement starts and
ends at rest, and flight follows from take-off velocity.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from cmjlab.recording import Recording
from cmjlab.simulate.closed_form import LANDING_S, landing_motion, push_motion, solve
from cmjlab.simulate.jump import SimulatedJump
from cmjlab.simulate.noise import plate_noise
from cmjlab.simulate.profile import Profile, motion, true_events

FloatArray = NDArray[np.float64]


def several_jumps(sims: Sequence[SimulatedJump]) -> Recording:
    """Join recordings one after the other; all of one rate and the same plates.

    Give each enough standing (``quiet_before_s``, ``quiet_after_s``).
    """
    force = np.concatenate([sim.recording.force_n for sim in sims])
    return sims[0].recording.replace(force_n=force)


def hop_first(sim: SimulatedJump, hop: SimulatedJump) -> Recording:
    """Let a small jump (``hop``) come to rest directly before the jump ``sim``."""
    rate = sim.recording.rate_hz
    until = int(np.ceil(hop.events["rest"] * rate))
    begin = int((sim.events["onset"] - 0.02) * rate)
    force = np.concatenate([hop.recording.force_n[:until], sim.recording.force_n[begin:]])
    return sim.recording.replace(force_n=force)


def _body_moves(duration_s: float, rate_hz: float, end_m: float) -> FloatArray:
    """Return acceleration of a body that moves to ``end_m`` and stops there (quintic)."""
    x = np.arange(int(duration_s * rate_hz)) / (duration_s * rate_hz)
    return end_m / duration_s**2 * (60 * x - 180 * x**2 + 120 * x**3)


def _flight_and_landing(
    profile: Profile, rate_hz: float, speed_m_per_s: float, rise_m: float
) -> FloatArray:
    """Return acceleration from a take-off (speed, height above standing) to rest standing."""
    p = profile.parameters._replace(takeoff_velocity=speed_m_per_s, landing_drop_m=0.0)
    flight_s = 2 * speed_m_per_s / p.gravity
    s = solve(p)._replace(takeoff_rise=np.asarray(rise_m))
    flight = np.full(int(round(flight_s * rate_hz)), -p.gravity)
    time = np.arange(int(LANDING_S * rate_hz)) / rate_hz
    return np.concatenate([flight, landing_motion(p, s, time).acceleration])


def _push_from_hold(profile: Profile, rate_hz: float) -> list[FloatArray]:
    """Return acceleration of a push from rest at the lowest point, its flight and landing."""
    p = profile.parameters
    s = solve(p)
    time = np.arange(int(float(s.push_s) * rate_hz)) / rate_hz
    ramp = np.minimum(time / 0.04, 1.0)  # the force rises within 0.04 s
    push = push_motion(p, s, time).acceleration - (1 - ramp) * p.braking * p.gravity
    velocity = np.cumsum(push) / rate_hz
    rise = float(np.sum(velocity) / rate_hz) - profile.depth_m
    return [push, _flight_and_landing(profile, rate_hz, float(velocity[-1]), rise)]


def _recorded(
    profile: Profile, pieces: Sequence[FloatArray], rate_hz: float, noise_sd_n: float, seed: int
) -> Recording:
    acceleration = np.concatenate(pieces)
    total = np.maximum(profile.mass_kg * (acceleration + profile.gravity_m_per_s2), 0.0)
    noise = plate_noise((total.size, 1), noise_sd_n, random=np.random.default_rng(seed))
    return Recording(total[:, None] + noise, rate_hz)


def _still(seconds: float, rate_hz: float) -> FloatArray:
    return np.zeros(int(seconds * rate_hz))


def squat_and_stand(
    profile: Profile | None = None,
    *,
    rate_hz: float = 1000.0,
    noise_sd_n: float = 1.0,
    seed: int = 0,
) -> Recording:
    """Squat down and stand up: the force moves, and nobody takes off."""
    profile = profile or Profile()
    down = _body_moves(0.5, rate_hz, -profile.depth_m)
    pieces = [_still(2, rate_hz), down, -down, _still(2, rate_hz)]
    return _recorded(profile, pieces, rate_hz, noise_sd_n, seed)


def squat_jump(
    profile: Profile | None = None,
    *,
    rate_hz: float = 1000.0,
    noise_sd_n: float = 1.0,
    seed: int = 0,
) -> Recording:
    """Squat down slowly, hold, and jump without a countermovement."""
    profile = profile or Profile(takeoff_velocity_m_per_s=2.4)
    down = _body_moves(1.2, rate_hz, -profile.depth_m)
    before = [_still(1.5, rate_hz), down, _still(1.5, rate_hz)]
    pieces = [*before, *_push_from_hold(profile, rate_hz), _still(1.5, rate_hz)]
    return _recorded(profile, pieces, rate_hz, noise_sd_n, seed)


def squat_jump_from_hold(
    profile: Profile | None = None,
    *,
    rate_hz: float = 1000.0,
    noise_sd_n: float = 1.0,
    seed: int = 0,
) -> Recording:
    """Hold a squat from the start of the recording on, and jump from it without a drop."""
    profile = profile or Profile(takeoff_velocity_m_per_s=2.4)
    pieces = [_still(2.0, rate_hz), *_push_from_hold(profile, rate_hz), _still(1.5, rate_hz)]
    return _recorded(profile, pieces, rate_hz, noise_sd_n, seed)


def drop_jump(
    profile: Profile | None = None,
    *,
    rate_hz: float = 1000.0,
    noise_sd_n: float = 1.0,
    seed: int = 0,
) -> Recording:
    """Drop from a box onto the empty plate, touch it for a quarter of a second, and jump."""
    profile = profile or Profile()
    falling = np.full(int(1.5 * rate_hz), -profile.gravity_m_per_s2)
    contact_s, speed_in, speed_out = 0.25, 2.0, profile.takeoff_velocity_m_per_s
    x = np.arange(int(contact_s * rate_hz)) / (contact_s * rate_hz)
    mean = (speed_in + speed_out) / contact_s + profile.gravity_m_per_s2
    contact = 2 * mean * np.sin(np.pi * x) ** 2 - profile.gravity_m_per_s2
    landing = _flight_and_landing(profile, rate_hz, speed_out, 0.10)
    pieces = [falling, contact, landing, _still(1.5, rate_hz)]
    return _recorded(profile, pieces, rate_hz, noise_sd_n, seed)


def hops(
    profile: Profile | None = None,
    *,
    number: int = 6,
    contact_s: float = 0.2,
    rate_hz: float = 1000.0,
    noise_sd_n: float = 1.0,
    seed: int = 0,
) -> Recording:
    """Jump from standing and rebound ``number`` times, each contact as short as the others."""
    profile = profile or Profile(depth_m=0.12, takeoff_velocity_m_per_s=1.6)
    g, speed = profile.gravity_m_per_s2, profile.takeoff_velocity_m_per_s
    first = np.arange(int(true_events(profile)["takeoff"] * rate_hz)) / rate_hz
    flight = np.full(int(round(2 * speed / g * rate_hz)), -g)
    x = np.arange(int(contact_s * rate_hz)) / (contact_s * rate_hz)
    contact = 2 * (2 * speed / contact_s + g) * np.sin(np.pi * x) ** 2 - g
    pieces = [
        _still(2.0, rate_hz), motion(profile, first).acceleration, *[flight, contact] * number,
        _flight_and_landing(profile, rate_hz, speed, 0.10), _still(1.5, rate_hz),
    ]  # fmt: skip
    return _recorded(profile, pieces, rate_hz, noise_sd_n, seed)


def empty_plate(
    *, seconds: float = 4.0, rate_hz: float = 1000.0, noise_sd_n: float = 1.0, seed: int = 0
) -> Recording:
    """Record an unloaded plate."""
    noise = plate_noise((int(seconds * rate_hz), 1), noise_sd_n, random=np.random.default_rng(seed))
    return Recording(noise, rate_hz)
