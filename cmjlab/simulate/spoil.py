"""Faults of real recordings, put into clean simulated ones on purpose.

Each function takes a :class:`~cmjlab.simulate.jump.SimulatedJump` and returns another one
with one fault; events and profile stay those of the jump itself. They serve to test quality
rules: the fault must be flagged, the clean recording must not. Movements that are not one
countermovement jump stand in :mod:`cmjlab.simulate.other_movements`.
"""

from __future__ import annotations

import dataclasses
from collections.abc import Callable

import numpy as np
from numpy.typing import NDArray

from cmjlab.simulate.jump import SimulatedJump

FloatArray = NDArray[np.float64]


def with_force(sim: SimulatedJump, force_n: FloatArray) -> SimulatedJump:
    """Return the same jump with another force, shape (n_samples, n_plates)."""
    return dataclasses.replace(sim, recording=sim.recording.replace(force_n=force_n))


def _between(sim: SimulatedJump, start_s: float, end_s: float) -> NDArray[np.bool_]:
    time = sim.recording.time_s
    return (time >= start_s) & (time < end_s)


def add_force(sim: SimulatedJump, extra_n: FloatArray) -> SimulatedJump:
    """Add a force to the sum, equal parts on each plate; ``extra_n`` of shape (n_samples,)."""
    force = sim.recording.force_n
    return with_force(sim, force + extra_n[:, None] / force.shape[1])


def sway_of_body(
    sim: SimulatedJump, start_s: float, duration_s: float, rise_m: float
) -> FloatArray:
    """Return the force of a body that moves up by ``rise_m`` and back, at rest before and after.

    Displacement is ``rise_m`` sin⁴ over ``duration_s``; negative: down and back.
    """
    x = (sim.recording.time_s - start_s) / duration_s
    inside = (x > 0) & (x < 1)
    sine, cosine = np.sin(np.pi * x), np.cos(np.pi * x)
    curve = (np.pi / duration_s) ** 2 * (12 * sine**2 * cosine**2 - 4 * sine**4)
    return np.where(inside, sim.profile.mass_kg * rise_m * curve, 0.0)


# ---- standing before the jump ------------------------------------------------------------


def restless_standing(sim: SimulatedJump, *, sd_n: float = 25.0, seed: int = 0) -> SimulatedJump:
    """Let the athlete fidget (0.5 to 3 Hz) until the movement begins."""
    time = sim.recording.time_s
    random = np.random.default_rng(seed)
    fidget = np.zeros_like(time)
    for frequency in random.uniform(0.5, 3.0, 8):
        fidget += np.sin(2 * np.pi * frequency * time + random.uniform(0, 2 * np.pi))
    fade = np.clip((sim.events["onset"] - time) / 0.1, 0.0, 1.0)
    return add_force(sim, sd_n * fidget / 2.0 * fade)


def start_late(sim: SimulatedJump, *, standing_s: float = 0.10) -> SimulatedJump:
    """Begin the recording only ``standing_s`` before the movement."""
    first = int(np.ceil((sim.events["onset"] - standing_s) * sim.recording.rate_hz))
    rate = sim.recording.rate_hz
    cut = sim.recording.replace(
        force_n=sim.recording.force_n[first:], start_s=sim.recording.start_s + first / rate
    )
    return dataclasses.replace(sim, recording=cut)


def empty_plate_first(sim: SimulatedJump, *, empty_s: float = 1.0) -> SimulatedJump:
    """Leave the plate empty at first; the athlete steps on within 0.3 s."""
    time = sim.recording.time_s
    share = np.clip((time - empty_s) / 0.3, 0.0, 1.0)
    return with_force(sim, sim.recording.force_n * ((1 - np.cos(np.pi * share)) / 2)[:, None])


def hand_support(sim: SimulatedJump, *, share: float = 0.01) -> SimulatedJump:
    """Take a share of body weight off the plate until 0.2 s before the movement (a hand rests).

    Weighing comes out too low while the jump itself is right.
    """
    time = sim.recording.time_s
    fade = np.clip((sim.events["onset"] - 0.2 - time) / 0.05, 0.0, 1.0)
    return add_force(sim, -share * sim.profile.body_weight_n * fade)


def early_movement(sim: SimulatedJump, *, dip_m: float = 0.008) -> SimulatedJump:
    """Let the athlete dip a little and come back shortly before the jump."""
    return add_force(sim, sway_of_body(sim, sim.events["onset"] - 0.5, 0.40, -dip_m))


def preload(sim: SimulatedJump, *, rise_m: float = 0.008) -> SimulatedJump:
    """Let the athlete push up a little (onto the toes) just before the drop."""
    return add_force(sim, sway_of_body(sim, sim.events["onset"] - 0.35, 0.35, rise_m))


def double_dip(sim: SimulatedJump, *, dip_m: float = 0.10) -> SimulatedJump:
    """Let the athlete dip and stand up again directly before the jump."""
    return add_force(sim, sway_of_body(sim, sim.events["onset"] - 0.7, 0.70, -dip_m))


# ---- plates and converter ----------------------------------------------------------------


def offset(sim: SimulatedJump, *, newton: float = 20.0) -> SimulatedJump:
    """Add a constant, as a plate that was not zeroed does."""
    return add_force(sim, np.full(sim.recording.n_samples, float(newton)))


def drift(sim: SimulatedJump, *, newton: float = 30.0) -> SimulatedJump:
    """Add a straight line from 0 at the start to ``newton`` at the end."""
    return add_force(sim, np.linspace(0.0, newton, sim.recording.n_samples))


def clip(sim: SimulatedJump, *, newton: float = 1500.0) -> SimulatedJump:
    """Cut the summed force off at ``newton``, as a converter at the end of its range does."""
    force = sim.recording.force_n
    return with_force(sim, np.minimum(force, newton / force.shape[1]))


def clip_landing(sim: SimulatedJump, *, share_of_peak: float = 0.8) -> SimulatedJump:
    """Cut off the landing peak only; the push stays below the limit."""
    limit = share_of_peak * float(np.nanmax(sim.recording.total_n))
    return clip(sim, newton=limit)


def hum(sim: SimulatedJump, *, amplitude_n: float = 8.0, frequency_hz: float = 50.0) -> (
    SimulatedJump
):  # fmt: skip
    """Add mains hum."""
    time = sim.recording.time_s
    return add_force(sim, amplitude_n * np.sin(2 * np.pi * frequency_hz * time))


def noisy_flight(sim: SimulatedJump, *, sd_n: float = 15.0, seed: int = 0) -> SimulatedJump:
    """Let the plate ring after take-off: noise in flight only."""
    noise = np.random.default_rng(seed).normal(0, sd_n, sim.recording.n_samples)
    flying = _between(sim, sim.events["takeoff"], sim.events["landing"])
    return add_force(sim, np.where(flying, noise, 0.0))


def spike_in_flight(
    sim: SimulatedJump, *, newton: float = 400.0, samples: int = 3
) -> SimulatedJump:
    """Put a short spike into the middle of the flight."""
    middle = (sim.events["takeoff"] + sim.events["landing"]) / 2
    rec = sim.recording
    at = int(round((middle - rec.start_s) * rec.rate_hz))
    extra = np.zeros(rec.n_samples)
    extra[at : at + samples] = newton
    return add_force(sim, extra)


def zero_gated(sim: SimulatedJump, *, below_n: float = 20.0) -> SimulatedJump:
    """Show exactly 0 whenever a plate's force is below ``below_n``, as some converters do."""
    force = np.array(sim.recording.force_n)
    force[np.abs(force) < below_n] = 0.0
    return with_force(sim, force)


def lose_samples(
    sim: SimulatedJump, *, after_s: float = 0.3, event: str = "onset", samples: int = 8
) -> SimulatedJump:
    """Lose samples (nan) from ``after_s`` after an event."""
    rec = sim.recording
    at = int(round((sim.events[event] + after_s - rec.start_s) * rec.rate_hz))
    force = np.array(rec.force_n)
    force[at : at + samples] = np.nan
    return with_force(sim, force)


def freeze(
    sim: SimulatedJump, *, after_s: float = 0.3, event: str = "onset", samples: int = 25
) -> SimulatedJump:
    """Repeat one sample, as a stuck transmission does."""
    rec = sim.recording
    at = int(round((sim.events[event] + after_s - rec.start_s) * rec.rate_hz))
    force = np.array(rec.force_n)
    force[at : at + samples] = force[at]
    return with_force(sim, force)


def out_of_sync(sim: SimulatedJump, *, delay_s: float = 0.015) -> SimulatedJump:
    """Delay the right plate against the left; needs two plates."""
    rec = sim.recording
    shift = int(round(delay_s * rec.rate_hz))
    force = np.array(rec.force_n)
    right = rec.plates.index("right")
    force[:, right] = np.concatenate([np.repeat(force[:1, right], shift), force[:-shift, right]])
    return with_force(sim, force)


# ---- landing and end ---------------------------------------------------------------------


def stop_in_flight(sim: SimulatedJump) -> SimulatedJump:
    """End the recording in the middle of the flight."""
    return _stop_at(sim, (sim.events["takeoff"] + sim.events["landing"]) / 2)


def stop_after_landing(sim: SimulatedJump, *, after_s: float = 0.3) -> SimulatedJump:
    """End the recording soon after landing: no second quiet standing."""
    return _stop_at(sim, sim.events["landing"] + after_s)


def _stop_at(sim: SimulatedJump, time_s: float) -> SimulatedJump:
    rec = sim.recording
    last = int((time_s - rec.start_s) * rec.rate_hz)
    return dataclasses.replace(sim, recording=rec.replace(force_n=rec.force_n[:last]))


def step_off(sim: SimulatedJump, *, after_s: float = 0.5) -> SimulatedJump:
    """Let the athlete walk off the plates soon after landing."""
    x = np.clip((sim.recording.time_s - sim.events["landing"] - after_s) / 0.25, 0.0, 1.0)
    return with_force(sim, sim.recording.force_n * ((1 + np.cos(np.pi * x)) / 2)[:, None])


def land_beside(sim: SimulatedJump) -> SimulatedJump:
    """Let the athlete land beside the plates: nothing after take-off but noise."""
    return with_force(sim, _without_landing(sim, range(len(sim.recording.plates))))


def one_foot_beside(sim: SimulatedJump) -> SimulatedJump:
    """Let the left foot land beside its plate; needs two plates."""
    return with_force(sim, _without_landing(sim, [sim.recording.plates.index("left")]))


def _without_landing(sim: SimulatedJump, columns: range | list[int]) -> FloatArray:
    """Replace force after landing by a repetition of the force in flight."""
    force = np.array(sim.recording.force_n)
    flying = np.flatnonzero(_between(sim, sim.events["takeoff"] + 0.05, sim.events["landing"]))
    after = np.flatnonzero(sim.recording.time_s >= sim.events["landing"])
    for column in columns:
        force[after, column] = np.resize(force[flying, column], after.size)
    return force


#: Every fault by name, each with its default size.
FAULTS: dict[str, Callable[[SimulatedJump], SimulatedJump]] = {
    f.__name__: f
    for f in (
        restless_standing, start_late, empty_plate_first, hand_support, early_movement, preload,
        double_dip, offset, drift, clip, clip_landing, hum, noisy_flight, spike_in_flight,
        zero_gated, lose_samples, freeze, out_of_sync, stop_in_flight, stop_after_landing,
        step_off, land_beside, one_foot_beside,
    )
}  # fmt: skip
