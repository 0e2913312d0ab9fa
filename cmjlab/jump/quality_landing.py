"""Quality rules of landing and standing again, and what they say about the weighing."""

from __future__ import annotations

import math

from cmjlab.jump.analysis import Analysis
from cmjlab.jump.edges import Edges
from cmjlab.jump.flights import Flight
from cmjlab.jump.signal import largest, mean_of
from cmjlab.jump.split import REBOUND_S
from cmjlab.jump.verdicts import Findings, graded, not_assessed, verdict
from cmjlab.jump.weighing import Weighing
from cmjlab.jump_types import Check
from cmjlab.method_limits import Limits


def landing_checks(
    found: Analysis, numbers: dict[str, float], others: Findings, limits: Limits
) -> Findings:
    """Return the rules of landing, standing again, momentum balance and the two heights.

    ``others`` are the rules of the plates: a landing that was cut off or has gaps does not
    balance, which says nothing about the weighing.
    """
    if found.edges is None or found.weighing is None or found.flight is None:
        return {}
    edges, weighing = found.edges, found.weighing
    off_plate = _off_plate(found, edges, weighing, limits)
    if found.flight.open:
        why = "no landing is recorded"
        codes = ("step_off", "rebound", "height_agreement", "rest_to_rest")
        return {off_plate.code: off_plate, **{code: not_assessed(code, why) for code in codes}}
    step_off = _step_off(found, edges, weighing, limits)
    spoiled = [
        c
        for c in (off_plate, step_off, others.get("clipping"), others.get("dropped_samples"))
        if c is not None and c.status == "fail" and c.scope != "jump"
    ]
    if spoiled:
        rest = not_assessed("rest_to_rest", "the landing is not completely recorded")
    else:
        rest = _rest(found, weighing, limits)
    checks = [
        off_plate,
        step_off,
        rest,
        _rebound(found, found.flight),
        _agreement(numbers, rest, limits),
    ]
    return {c.code: c for c in checks}


def _rest(found: Analysis, w: Weighing, limits: Limits) -> Check:
    code = "rest_to_rest"
    rest = found.rest
    if rest is None or rest.window is None:
        return not_assessed(code, "the athlete does not stand still after the landing")
    percent = 100.0 * abs(rest.weight / rest.weighed - 1.0)
    check = graded(
        code, percent, limits.rest_warn_percent, limits.rest_fail_percent,
        "body weight from the momentum balance against the weighing",
    )  # fmt: skip
    left = f" Integrated to the standing after, {abs(rest.velocity):.2f} m/s are left over."
    return verdict(code, check.status, percent, check.limit, check.reason + left)


def _off_plate(found: Analysis, edges: Edges, w: Weighing, limits: Limits) -> Check:
    code = "off_plate_landing"
    if math.isnan(edges.landing):
        text = "The recording ends in flight: no landing, no flight time."
        return verdict(code, "fail", math.nan, 1.0, text)
    last = edges.first_loaded + found.signal.samples(limits.landing_wait_s)
    part = found.signal.force[edges.first_loaded : last]
    peak = float(largest(part)) / w.weight if part.size else math.nan
    if not peak > 1.0:
        text = f"The force reaches {peak:.2f} BW only after the flight: not landed on the plates."
        return verdict(code, "fail", peak, 1.0, text)
    return verdict(code, "pass", peak, 1.0, f"Landed on the plates with {peak:.1f} BW.")


def _step_off(found: Analysis, edges: Edges, w: Weighing, limits: Limits) -> Check:
    code, limit = "step_off", limits.standing_after_percent
    signal = found.signal
    begin = edges.first_loaded + signal.samples(1.0)
    end = min(edges.first_loaded + signal.samples(2.0), signal.n)
    leaves = found.contacts.contact_after(edges.first_loaded, signal.n)
    if leaves < signal.n and leaves < begin + signal.samples(0.3):
        seconds = (leaves - edges.landing) / signal.rate
        text = f"The plates are unloaded {seconds:.2f} s after landing."
        return verdict(code, "fail", 100.0, limit, text)
    if leaves < signal.n:
        end = min(end, leaves - signal.samples(0.2))
    if end - begin < signal.samples(0.1):
        return not_assessed(code, "the recording ends less than 1.1 s after landing")
    percent = 100.0 * abs(mean_of(signal.force[begin:end]) / w.weight - 1.0)
    if percent > limit:
        text = f"From 1 s after landing on the force is {percent:.1f} % off body weight."
        return verdict(code, "fail", percent, limit, text)
    for name, side in (("left", signal.left), ("right", signal.right)):
        if side is not None:
            share = 100.0 * mean_of(side[begin:end]) / w.weight
            before = 100.0 * mean_of(side[w.start : w.stop]) / w.weight
            if share < limits.side_share_percent <= before:
                text = f"After landing the {name} plate carries {share:.1f} % of body weight."
                return verdict(code, "fail", share, limits.side_share_percent, text)
    text = f"Stands on the plates after landing, within {percent:.1f} % of body weight."
    return verdict(code, "pass", percent, limit, text)


def _rebound(found: Analysis, flight: Flight) -> Check:
    code = "rebound"
    later = [f for f in found.contacts.flights if f.start >= flight.stop]
    if later:
        gap = (later[0].start - flight.stop) / found.signal.rate
        if gap < REBOUND_S:
            text = f"The athlete takes off again {gap:.2f} s after landing."
            return verdict(code, "fail", gap, REBOUND_S, text)
    return verdict(code, "pass", math.nan, REBOUND_S, "No second take-off after landing.")


def _agreement(numbers: dict[str, float], rest: Check, limits: Limits) -> Check:
    """Return whether the heights agree; a failed momentum balance puts it down to weighing."""
    code = "height_agreement"
    if "jump_height_flight_m" not in numbers:
        return not_assessed(code, "one of the two heights is not known")
    flight, impulse = numbers["jump_height_flight_m"], numbers["jump_height_m"]
    d = flight - impulse
    both = f"Flight time gives {100 * flight:.1f} cm, take-off velocity {100 * impulse:.1f} cm"
    if limits.agree_low_warn_m <= d <= limits.agree_high_warn_m:
        limit = limits.agree_high_warn_m if d >= 0 else limits.agree_low_warn_m
        return verdict(code, "pass", d, limit, both + ".")
    low, high = limits.agree_low_fail_m, limits.agree_high_fail_m
    if low <= d <= high:
        status = "warn"
        limit = limits.agree_high_warn_m if d > 0 else limits.agree_low_warn_m
    else:
        status, limit = "fail", high if d > 0 else low
    if rest.status == "fail":
        text = both + "; the momentum balance puts it down to the weighing."
        return verdict(code, status, d, limit, text, scope="jump")
    if rest.status == "not_assessed":
        cause = "weighing or landing posture: without standing after the landing it stays open"
    elif d > 0:
        cause = "the momentum balance is right, so the legs were bent at landing"
    else:
        cause = "the momentum balance is right, so the body was higher at landing than at take-off"
    return verdict(code, status, d, limit, f"{both}; {cause}.")
