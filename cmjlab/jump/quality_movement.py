"""Quality rules of the movement: one countermovement jump from standing still, or not."""

from __future__ import annotations

import math

import numpy as np

from cmjlab.jump.analysis import Analysis, Complete
from cmjlab.jump.flights import Flight
from cmjlab.jump.signal import FloatArray, Signal, largest
from cmjlab.jump.split import REBOUND_S
from cmjlab.jump.verdicts import Findings, graded, not_assessed, verdict
from cmjlab.jump_types import Check
from cmjlab.method_limits import Limits

#: Longest look back from the onset for early movement, s.
_BEFORE_S = 0.5
#: Swings of the velocity before the onset must be this much larger than those after it.
_DIP_BEFORE = 3.0
#: An unloaded plate this shortly before take-off is a hop, s.
_HOP_BEFORE_S = 2.0
#: Hops are at least this many take-offs after the first, each in the air for this share of its
#: time or longer; bounces of a landing are shorter.
_HOPS = 2
_HOP_SHARE = 0.5
#: A body slower than this at the bottom has stopped, m/s.
_STOPPED_M_PER_S = 0.05


def movement_checks(
    found: Analysis, numbers: dict[str, float], moved_s: float | None, limits: Limits
) -> Findings:
    """Return the rules of flight, countermovement, dips, order, onset and plausibility."""
    checks = [
        _flight(found, limits),
        _several(found),
        _countermovement(found, numbers, limits),
        _moved(moved_s),
    ]
    whole = found.complete()
    if whole is not None:
        checks += [
            _dips(whole, limits),
            _order(whole),
            _early(whole, limits),
            _impossible(numbers, limits),
            _plausible(numbers, whole.path.weight, limits),
        ]
    elif moved_s is not None and found.flight is not None:
        text = "The events as fixed leave no dip and push between onset and take-off."
        checks.append(verdict("event_order", "fail", 1.0, 0.0, text))
    return {c.code: c for c in checks}


def _flight(found: Analysis, limits: Limits) -> Check:
    code = "no_flight"
    low, high = limits.flight_low_s, limits.flight_high_s
    if found.flight is None:
        return verdict(code, "fail", math.nan, low, _why_no_flight(found))
    if found.edges is None or found.flight.open:
        seconds = (found.flight.stop - found.flight.start) / found.signal.rate
        text = f"The recording ends {seconds:.3g} s after take-off, in flight."
        return verdict(code, "pass", math.nan, low, text)
    time = (found.edges.landing - found.edges.takeoff) / found.signal.rate
    if low <= time <= high:
        return verdict(code, "pass", time, low, f"The flight lasts {time:.3f} s.")
    limit = low if time < low else high
    text = f"The flight lasts {time:.3f} s; a jump lies between {low:g} and {high:g} s."
    return verdict(code, "fail", time, limit, text)


def _why_no_flight(found: Analysis) -> str:
    """Return in words why no flight was found."""
    contacts, signal = found.contacts, found.signal
    if contacts.zeroed_n == contacts.zeroed_n:
        return (
            "No flight: the plates seem to have been zeroed with the athlete on them, as standing"
            f" reads about 0 N and the flight {contacts.zeroed_n:.0f} N. Set offset_removal ="
            ' "flight" under [method].'
        )
    if contacts.level <= 0.0:
        return (
            "No flight: the force is never above zero; the plate is empty or the sign is reversed"
            f" (largest {signal.force.max():.4g} N, smallest {signal.force.min():.4g} N)."
        )
    if contacts.unloaded.shape[0] == 0:
        return (
            f"No flight: the smallest force is {signal.force.min():.4g} N, never below a tenth of"
            f" the standing force ({contacts.threshold:.4g} N)."
        )
    longest = float(np.diff(contacts.unloaded, axis=1).max()) / signal.rate
    return (
        f"No flight: the plate is unloaded for {longest:.3g} s at most, or without standing before"
        " and after."
    )


def _several(found: Analysis) -> Check:
    code = "several_flights"
    flights = sorted(found.contacts.flights, key=lambda f: f.start)
    if not flights:
        return not_assessed(code, "no flight was found")
    apart = REBOUND_S * found.signal.rate
    jumps = 1 + sum(b.start - a.stop >= apart for a, b in zip(flights, flights[1:], strict=False))
    if jumps == 1:
        return verdict(code, "pass", 1.0, 1.0, "One jump.")
    text = f"There are {jumps} jumps; split them with split_jumps. The first is analysed."
    return verdict(code, "fail", float(jumps), 1.0, text)


def _countermovement(found: Analysis, numbers: dict[str, float], limits: Limits) -> Check:
    code, least = "countermovement", limits.countermovement_m
    if found.flight is None:
        return not_assessed(code, "no flight was found")
    other = _hops(found, found.flight) or _from_the_air(found, found.flight, limits)
    if other:
        return verdict(code, "fail", math.nan, least, other)
    if found.phases is None or found.path is None or found.edges is None:
        text = (
            "A squat jump: no countermovement before the push, or not enough standing before the"
            " jump to see one."
        )
        return verdict(code, "fail", math.nan, least, text)
    depth = numbers["countermovement_depth_m"]
    if depth < least:
        text = f"A squat jump: no countermovement, the body dips by {100 * max(depth, 0.0):.1f} cm only."
        return verdict(code, "fail", depth, least, text)
    first = math.ceil(found.phases.slowest.sample) - found.path.base
    velocity = found.path.velocity[first : found.edges.last_loaded - found.path.base + 1]
    pause = int(np.count_nonzero(np.abs(velocity) < _STOPPED_M_PER_S)) / found.signal.rate
    if pause > limits.pause_s:
        text = f"A squat jump: no countermovement, the body stops for {pause:.2f} s at the bottom."
        return verdict(code, "fail", depth, least, text)
    return verdict(code, "pass", depth, least, f"The body dips by {100 * depth:.1f} cm.")


def _hops(found: Analysis, flight: Flight) -> str:
    """Return that the athlete takes off again and again after the flight, or ""."""
    longest, shortest = REBOUND_S * found.signal.rate, _HOP_SHARE * (flight.stop - flight.start)
    before, again = flight, 0
    for later in sorted(found.contacts.flights, key=lambda f: f.start):
        if later.start <= flight.start:
            continue
        if later.start - before.stop >= longest or later.stop - later.start < shortest:
            break
        before, again = later, again + 1
    if again < _HOPS:
        return ""
    return (
        f"Hops: the athlete takes off {again} times more, each time less than {REBOUND_S:g} s after"
        " landing."
    )


def _from_the_air(found: Analysis, flight: Flight, limits: Limits) -> str:
    """Return that the contact before take-off began with a landing, or ""."""
    rate = found.signal.rate
    contact = (flight.start - found.begin) / rate
    empty = [run for run in found.contacts.unloaded.tolist() if run[1] == found.begin]
    if not empty:
        return ""
    start, stop = empty[0]
    if contact < limits.standing_before_s:
        if start == 0:
            return (
                f"A drop jump: the contact before take-off lasts {contact:.3g} s only, on a plate"
                " that was empty before."
            )
        return f"A rebound or a drop jump: contact lasts {contact:.3g} s after an unloaded plate."
    if start > 0 and contact < _HOP_BEFORE_S and found.complete() is None:
        return (
            f"A hop or a rebound: the plate is unloaded for {(stop - start) / rate:.2f} s,"
            f" {contact:.1f} s before take-off, without standing in between."
        )
    return ""


def _moved(moved_s: float | None) -> Check:
    if moved_s is None:
        return verdict("event_moved", "pass", 0.0, math.nan, "All events are as detected.")
    text = f"Events fixed by a person; the largest shift is {1000 * moved_s:.0f} ms."
    return verdict("event_moved", "note", moved_s, math.nan, text)


def _dips(found: Complete, limits: Limits) -> Check:
    """Return whether the body goes down once and up once, from one second before the onset on."""
    code = "double_dip"
    path, onset = found.path, found.onset.sample
    first = max(0, math.ceil(onset) - path.base)
    velocity = path.velocity[first : found.edges.last_loaded - path.base + 1]
    before = _velocity_before(found)
    swings = np.concatenate(
        (
            before[np.abs(before) > _DIP_BEFORE * limits.dip_m_per_s],
            velocity[np.abs(velocity) > limits.dip_m_per_s],
        )
    )
    down = swings < 0.0
    turns = int(np.count_nonzero(down[1:] != down[:-1]))
    longest = found.signal.samples(_HOP_BEFORE_S)
    for start, stop in found.contacts.unloaded.tolist():
        if start > 0 and 0 < found.edges.last_loaded - stop < longest:
            text = "The plate is unloaded for a moment before the jump: a hop."
            return verdict(code, "fail", float(turns), 1.0, text)
    if turns != 1:
        text = f"The velocity turns {turns} times before take-off; one turn is wanted."
        return verdict(code, "fail", float(turns), 1.0, text)
    return verdict(code, "pass", 1.0, 1.0, "One dip, one push.")


def _velocity_before(found: Complete) -> FloatArray:
    """Return the velocity in the second before the onset, from rest at its start, m/s."""
    end = int(found.onset.sample)
    begin = max(found.weighing.stop, end - found.signal.samples(2 * _BEFORE_S))
    net = found.signal.force[begin:end] - found.weighing.weight
    return np.cumsum(net) * (found.path.gravity / found.weighing.weight / found.signal.rate)


def _order(found: Complete) -> Check:
    p, e = found.phases, found.edges
    times = [p.onset.sample, p.minimum, p.slowest.sample, p.lowest.sample, e.takeoff]
    if not math.isnan(e.landing):
        times.append(e.landing)
    wrong = sum(b <= a for a, b in zip(times, times[1:], strict=False))
    if wrong:
        text = f"There are {wrong} event(s) not later than the event before."
        return verdict("event_order", "fail", float(wrong), 0.0, text)
    return verdict("event_order", "pass", 0.0, 0.0, "The events are in order.")


def _early(found: Complete, limits: Limits) -> Check:
    """Return whether the athlete stood still from the weighing to the onset."""
    code = "early_movement"
    w, onset, signal = found.weighing, found.onset, found.signal
    end = int(onset.sample)
    near = max(w.stop, end - signal.samples(_BEFORE_S))
    rise = _extreme(signal.force[near : found.phases.minimum] - w.weight, signal) / w.weight
    fall = _extreme(w.weight - signal.force[near:end], signal) / w.weight
    rise, fall = 100.0 * rise, 100.0 * fall
    before = _velocity_before(found)
    speed = abs(float(before[-1])) if before.size else 0.0
    largest = max(rise, fall)
    if speed > limits.moving_fail_m_per_s:
        text = f"The body already moves at {speed:.2f} m/s at the onset."
        return verdict(code, "fail", largest, limits.preload_fail_percent, text)
    if largest > limits.preload_fail_percent:
        text = (
            f"The force leaves body weight by {largest:.1f} % in the half second before the onset."
        )
        return verdict(code, "fail", largest, limits.preload_fail_percent, text)
    preload = max(limits.preload_warn_percent, 500.0 * w.sd / w.weight)
    if rise > preload:
        text = f"The force rises {rise:.1f} % above body weight before the onset."
        return verdict(code, "warn", rise, preload, text)
    early = (onset.sample - onset.forward) / signal.rate
    if early > limits.early_s:
        text = f"The force first leaves body weight {1000 * early:.0f} ms before the onset."
        return verdict(code, "warn", largest, limits.preload_warn_percent, text)
    return verdict(code, "pass", largest, preload, "The athlete stands still before the onset.")


def _extreme(excess: FloatArray, signal: Signal) -> float:
    """Return the largest mean over 10 ms, N (noise is no movement); at least 0."""
    block = max(1, round(0.01 * signal.rate))
    count = excess.shape[0] // block
    if count == 0:
        return 0.0
    means = np.add.reduce(excess[: count * block].reshape(count, block), axis=1)
    return max(float(largest(means)) / block, 0.0)


def _impossible(numbers: dict[str, float], limits: Limits) -> Check:
    """Return whether a number is one that no person can have; then none of them is believed."""
    code, most = "impossible", math.inf
    bounds = (
        ("body mass", "body_mass_kg", limits.mass_low_kg, limits.mass_high_kg, "kg"),
        ("jump height", "jump_height_m", 0.0, limits.height_most_m, "m"),
        ("countermovement depth", "countermovement_depth_m", -most, limits.way_most_m, "m"),
        ("rise at take-off", "takeoff_rise_m", -limits.way_most_m, limits.way_most_m, "m"),
        ("peak power", "peak_propulsion_power_w_per_kg", -most, limits.power_most_w_per_kg, "W/kg"),
    )
    wrong = [
        f"{name} {numbers[key]:.3g} {unit} (possible "
        + (f"up to {high:g})" if low in (0.0, -most) else f"{low:g} to {high:g})")
        for name, key, low, high, unit in bounds
        if not low <= numbers[key] <= high
    ]
    if not wrong:
        return verdict(code, "pass", 0.0, 0.0, "All values are those a person can have.")
    text = f"Not possible: {'; '.join(wrong)}. Look at unit, zero and weighing of the recording."
    return verdict(code, "fail", float(len(wrong)), 0.0, text)


def _plausible(numbers: dict[str, float], weight: float, limits: Limits) -> Check:
    """Return whether all values are usual; ``weight`` is that on the plate, load included."""
    bounds = (
        (
            "time to take-off",
            numbers["time_to_takeoff_s"],
            limits.time_low_s,
            limits.time_high_s,
            "s",
        ),
        ("depth", numbers["countermovement_depth_m"], limits.depth_low_m, limits.depth_high_m, "m"),
        ("rise at take-off", numbers["takeoff_rise_m"], limits.rise_low_m, limits.rise_high_m, "m"),
        (
            "peak force",
            numbers["peak_force_n"] / weight,
            limits.force_low_bw,
            limits.force_high_bw,
            "BW",
        ),
        (
            "take-off velocity",
            numbers["takeoff_velocity_m_per_s"],
            limits.velocity_low_m_per_s,
            limits.velocity_high_m_per_s,
            "m/s",
        ),
    )
    odd = [
        f"{name} {value:.3g} {unit} (usual {low:g} to {high:g})"
        for name, value, low, high, unit in bounds
        if not low <= value <= high
    ]
    if odd:
        return verdict(
            "plausibility", "warn", float(len(odd)), 0.0, "Unusual: " + "; ".join(odd) + "."
        )
    return verdict("plausibility", "pass", 0.0, 0.0, "All values are usual.")


def uncertainty(numbers: dict[str, float], limits: Limits) -> Check:
    """Return whether the weighing lets height be known well enough."""
    se = numbers.get("jump_height_se_m", math.nan)
    return graded(
        "height_uncertainty", se, limits.height_se_warn_m, math.inf, "standard error of height"
    )
