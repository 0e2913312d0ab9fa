"""Quality rules of plates and recording: weighing, zero, noise, range, samples, clock."""

from __future__ import annotations

import math

import numpy as np

from cmjlab.jump.analysis import Analysis
from cmjlab.jump.edges import Edges
from cmjlab.jump.quality_movement import uncertainty
from cmjlab.jump.signal import FloatArray, largest, mean_of, smallest
from cmjlab.jump.verdicts import Findings, graded, not_assessed, verdict
from cmjlab.jump.weighing import Weighing
from cmjlab.jump_types import Check
from cmjlab.method import Method
from cmjlab.method_limits import Limits


def plate_checks(found: Analysis, numbers: dict[str, float], method: Method) -> Findings:
    """Return the rules of weighing, unloaded plate, range, samples, rate and both plates."""
    limits = method.limits
    checks = [_sampling(found.signal.rate, limits), _dropped(found, limits)]
    if found.weighing is not None:
        checks += [_still(found.weighing, found, method), _slope(found.weighing, found, limits)]
        checks += [_plate_load(found, found.weighing, limits)]
    if found.edges is not None:
        checks += [
            _offset(found, found.edges, method),
            graded(
                "flight_noise",
                found.edges.noise,
                limits.noise_warn_n,
                limits.noise_fail_n,
                "SD of the force in flight",
            ),
            _gated(found, found.edges),
            _clipping(found, found.edges, limits),
            _sync(found, found.edges, limits),
        ]
    if numbers:
        checks.append(uncertainty(numbers, limits))
    out = {c.code: c for c in checks}
    if "zero_gated" in out and out["zero_gated"].status == "note":
        for code in ("unloaded_offset", "flight_noise"):
            if out[code].status == "pass":
                out[code] = not_assessed(code, "the recorder writes zeros for small forces")
    return out


def _still(w: Weighing, found: Analysis, method: Method) -> Check:
    limits = method.limits
    percent = 100.0 * w.unrest / w.weight if w.weight > 0.0 else math.inf
    if found.borrowed:
        text = (
            f"The athlete did not stand still here; the weight on the plate ({w.weight:.1f} N) is that"
            " of the athlete's other jumps of the session."
        )
        return verdict("still_weighing", "warn", percent, limits.still_fail_percent, text)
    length = (w.stop - w.start) / found.signal.rate
    wanted = method.weighing_duration_s
    check = graded(
        "still_weighing",
        percent,
        limits.still_warn_percent,
        limits.still_fail_percent,
        "SD of the force while weighing (means over 10 ms)",
    )
    short = f"The window is {length:.2f} s long ({wanted:g} s wanted): "
    if length < 0.5 * wanted - 1.5 / found.signal.rate:
        text = short + "not enough standing still before the jump."
        return verdict("still_weighing", "fail", percent, limits.still_fail_percent, text)
    if length < 0.9 * wanted - 1.5 / found.signal.rate and check.status == "pass":
        text = short + "the rest of the standing was not still."
        return verdict("still_weighing", "warn", percent, limits.still_warn_percent, text)
    return check


def _slope(w: Weighing, found: Analysis, limits: Limits) -> Check:
    if found.borrowed:
        return not_assessed("weighing_slope", "body weight is that of other jumps")
    seconds = min(1.0, (w.stop - w.start) / found.signal.rate)
    percent = 100.0 * abs(w.slope) * seconds / w.weight if w.weight > 0.0 else math.inf
    return graded(
        "weighing_slope",
        percent,
        limits.slope_warn_percent,
        limits.slope_fail_percent,
        "trend of the force while weighing",
    )


def _offset(found: Analysis, edges: Edges, method: Method) -> Check:
    limits = method.limits
    if method.offset_removal == "flight":
        removed = found.signal.offset
        text = f"The unloaded level of {removed:.2f} N was subtracted."
        return verdict("unloaded_offset", "note", removed, limits.offset_warn_n, text)
    return graded(
        "unloaded_offset",
        abs(edges.unloaded),
        limits.offset_warn_n,
        limits.offset_fail_n,
        "mean force in flight",
    )


def _gated(found: Analysis, edges: Edges) -> Check:
    """Return whether small forces were written as exact zeros."""
    if found.flight is None:
        return not_assessed("zero_gated", "no flight was found")
    start, stop = found.flight.middle
    part = found.signal.force[start:stop]
    if edges.noise > 0.0 or np.count_nonzero(part) > 0.5 * part.shape[0]:
        return verdict("zero_gated", "pass", math.nan, math.nan, "Small forces are recorded.")
    near = np.abs(found.signal.force[found.begin : found.stop])
    near = near[near > 0.0]
    gate = float(smallest(near)) if near.size else math.nan
    text = f"The flight is exactly zero; the smallest force recorded is {gate:.3g} N."
    return verdict("zero_gated", "note", gate, math.nan, text)


def _clipping(found: Analysis, edges: Edges, limits: Limits) -> Check:
    """Return whether the force is cut off at the end of the range."""
    code, least = "clipping", limits.clipping_samples
    signal = found.signal
    sides = [s for s in (signal.left, signal.right) if s is not None] or [signal.force]
    worst, first = 0, signal.n
    for force in sides:
        length, at = _plateau(force, least)
        if length:
            worst, first = max(worst, length), min(first, at)
    if worst == 0:
        return verdict(code, "pass", 0.0, float(least), "The force is not cut off.")
    early = first <= edges.last_loaded
    where = "before take-off" if early else "in the landing"
    text = f"The force is cut off for {worst} samples {where}: the range is too small."
    scope = "jump" if early else "landing"
    return verdict(code, "fail", float(worst), float(least), text, scope=scope)


def _plateau(force: FloatArray, least: int) -> tuple[int, int]:
    """Return length and first sample of the first plateau at the maximum; (0, 0) when none.

    A coarse converter also shows equal samples on top of a smooth peak; there the force
    comes and goes in single steps of the converter, at a cut-off peak it does not.
    """
    top = (force == largest(force)).nonzero()[0]
    if top.size < least:
        return 0, 0
    starts = np.flatnonzero(np.diff(top, prepend=top[0] - 2) > 1)
    lengths = np.diff(np.append(starts, top.size))
    long = np.flatnonzero(lengths >= least)
    if long.size == 0:
        return 0, 0
    steps = np.abs(np.diff(force))
    steps = steps[steps > 0.0]
    if steps.size == 0:
        return 0, 0
    one = float(steps.min())
    begin = int(top[starts[long[0]]])
    end = begin + int(lengths[long[0]])
    before = float(force[begin] - force[begin - 1]) if begin > 0 else 0.0
    after = float(force[end - 1] - force[end]) if end < force.shape[0] else 0.0
    if int(lengths[long[0]]) < 10 and max(before, after) < 2.5 * one:
        return 0, 0
    return int(lengths[long].max()), begin


def _dropped(found: Analysis, limits: Limits) -> Check:
    """Return whether samples are missing or repeated where it matters."""
    code = "dropped_samples"
    lost = np.flatnonzero(found.signal.lost) if found.signal.lost is not None else np.empty(0)
    frozen = _frozen(found, limits)
    missing = np.concatenate((lost, frozen)) if frozen.size else lost
    count = float(missing.size)
    limit = float(limits.lost_isolated)
    if count == 0:
        return verdict(code, "pass", 0.0, limit, "No sample is missing.")
    what = f"There are {lost.size} lost and {frozen.size} repeated samples"
    whole = found.complete()
    if whole is None:
        return verdict(code, "fail", count, limit, f"{what}; no jump was found.")
    edges, phases = whole.edges, whole.phases
    landing = whole.stop if math.isnan(edges.landing) else edges.landing
    near = limits.lost_near_event_s * found.signal.rate
    pushing = missing[(missing >= whole.weighing.start) & (missing <= edges.takeoff)]
    events = np.array(
        [
            phases.onset.sample,
            phases.slowest.sample,
            phases.lowest.sample,
            edges.takeoff,
        ]
    )
    if missing.size and np.abs(missing[:, None] - events).min() <= near:
        return verdict(code, "fail", count, limit, f"{what}, some of them at an event.")
    if pushing.size > limit:
        return verdict(code, "fail", count, limit, f"{what} between weighing and take-off.")
    if pushing.size:
        return verdict(code, "warn", count, limit, f"{what}; bridged by a straight line.")
    late = missing[(missing > edges.takeoff) & (missing < found.stop)]
    if late.size == 0:
        return verdict(code, "note", count, limit, f"{what}, outside the jump.")
    scope = "flight" if late.min() <= landing + near else "landing"
    return verdict(code, "fail", count, limit, f"{what} after take-off.", scope=scope)


def _frozen(found: Analysis, limits: Limits) -> FloatArray:
    """Return the samples of runs of equal force that end in a jump of the force."""
    signal = found.signal
    sides = [s for s in (signal.left, signal.right) if s is not None] or [signal.force]
    out = []
    for force in sides:
        if limits.frozen_samples >= 9 and not _five_equal(force):
            continue
        equal = force[1:] == force[:-1]
        edges = np.flatnonzero(np.diff(equal.astype(np.int8), prepend=0, append=0))
        starts, stops = edges[::2], edges[1::2]
        keep = (stops - starts >= limits.frozen_samples - 1) & (force[starts] != 0.0)
        starts, stops = starts[keep], stops[keep]
        after = np.minimum(stops + 1, force.shape[0] - 1)
        jump = np.abs(force[after] - force[stops])
        at_top = force[starts] == largest(force)
        keep = (jump > 0.02 * found.contacts.level) & ~at_top
        out += [np.arange(a, b + 1) for a, b in zip(starts[keep], stops[keep], strict=True)]
    return np.unique(np.concatenate(out)).astype(np.float64) if out else np.empty(0)


def _five_equal(force: FloatArray) -> bool:
    """Return whether any five samples from every fourth on are equal: all long runs have them."""
    first = force[:-4:4]
    n = first.shape[0]
    same = force[4::4][:n] == first
    for shift in (1, 2, 3):
        same &= force[shift::4][:n] == first
    same &= first != 0.0
    return bool(same.any())


def _sampling(rate: float, limits: Limits) -> Check:
    code = "sampling"
    nearly = 0.995  # a rate from rounded times is a little off
    if rate < nearly * limits.rate_fail_hz:
        text = f"Recorded at {rate:g} Hz: too slow for anything but flight time."
        return verdict(code, "fail", rate, limits.rate_fail_hz, text)
    if rate < nearly * limits.rate_warn_hz:
        error = "about 1 cm of height" if rate < 500 else "some millimetres of height"
        text = f"Recorded at {rate:g} Hz; below {limits.rate_warn_hz:g} Hz this can cost {error}."
        return verdict(code, "warn", rate, limits.rate_warn_hz, text)
    return verdict(code, "pass", rate, limits.rate_warn_hz, f"Recorded at {rate:g} Hz.")


def _sync(found: Analysis, edges: Edges, limits: Limits) -> Check:
    """Return whether one plate runs behind the other.

    Feet may leave and land one after the other; a late plate is late at both, by the same.
    """
    code = "plate_sync"
    left, right, rate = found.signal.left, found.signal.right, found.signal.rate
    if left is None or right is None:
        return not_assessed(code, "there are no two plates")
    if math.isnan(edges.landing) or found.flight is None:
        return not_assessed(code, "there is no landing")
    before = slice(max(0, edges.last_loaded - int(0.1 * rate)), found.flight.stop)
    after = slice(found.flight.start, min(found.signal.n, edges.first_loaded + int(0.1 * rate)))
    level = max(0.5 * edges.threshold, 10.0)
    leave = [_last_above(f[before], level) for f in (left, right)]
    land = [_first_above(f[after], level) for f in (left, right)]
    lags = ((leave[1] - leave[0]) / rate, (land[1] - land[0]) / rate)
    same = lags[0] * lags[1] > 0.0
    lag = min(abs(lags[0]), abs(lags[1])) if same else 0.0
    return graded(code, lag, limits.sync_warn_s, limits.sync_fail_s, "delay between the plates")


def _last_above(force: FloatArray, level: float) -> float:
    """Return where the force last falls through a level before the middle of the flight."""
    half = force[: max(2, force.shape[0] - force.shape[0] // 4)]
    above = (half > level).nonzero()[0]
    if above.size == 0 or above[-1] + 1 >= half.shape[0]:
        return math.nan
    k = int(above[-1])
    return k + float((half[k] - level) / max(half[k] - half[k + 1], 1e-12))


def _first_above(force: FloatArray, level: float) -> float:
    """Return where the force first rises through a level after the middle of the flight."""
    skip = force.shape[0] // 4
    above = (force[skip:] > level).nonzero()[0]
    if above.size == 0 or above[0] == 0:
        return math.nan
    k = skip + int(above[0])
    return k - float((force[k] - level) / max(force[k] - force[k - 1], 1e-12))


def _plate_load(found: Analysis, w: Weighing, limits: Limits) -> Check:
    code = "plate_load"
    left, right = found.signal.left, found.signal.right
    if left is None or right is None:
        return not_assessed(code, "there are no two plates")
    span = slice(w.start, w.stop)
    loads = [100.0 * mean_of(f[span]) / w.weight for f in (left, right)]
    least = min(loads)
    if least < limits.side_share_percent:
        text = f"One plate carries {least:.1f} % of body weight while weighing."
        return verdict(code, "fail", least, limits.side_share_percent, text)
    text = f"The plates carry {loads[0]:.1f} % and {loads[1]:.1f} % of body weight."
    return verdict(code, "pass", least, limits.side_share_percent, text)
