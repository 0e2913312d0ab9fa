"""Onset of the movement: where the force leaves body weight."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np

from cmjlab.jump.onset_fit import FittedOnset, fitted_onset
from cmjlab.jump.signal import FloatArray, Signal
from cmjlab.jump.weighing import Weighing
from cmjlab.method import Method

#: Longest stretch before take-off in which the countermovement is looked for, s.
LONGEST_JUMP_S = 2.5
#: Longest time from the lowest force to the peak downward velocity, s.
_LONGEST_DROP_S = 1.0
#: A rise is looked for this long before the drop, s.
RISE_BEFORE_S = 0.6
#: From the rise to the drop there is at most this much time, s.
_STRAIGHT_S = 0.10

#: How far the onset alone can part the times of athletes who start slow and deep from those who
#: start fast and short, by onset rule, s (our own simulations: tests/calibration/onset_rules.csv
#: and standard_errors.csv, standing with up to 3 N of sway).
ONSET_STYLE_S = {"fit": 0.008, "sd": 0.025, "newton": 0.025, "percent": 0.025}


@dataclass(frozen=True, slots=True)
class Onset:
    """Onset and what it was found with, in samples.

    Attributes
    ----------
    sample : float
        Onset.
    minimum : int
        Sample of the lowest force of unweighting.
    forward : float
        Onset by the other search direction (for the check of early movement).
    change : float
        Change of force that marks the onset by a threshold, N.
    se : float
        Standard error of ``sample``: the spread of all starts that fit the force, and how far
        the onset used lies from their mean.
    """

    sample: float
    minimum: int
    forward: float
    change: float
    se: float


def onset_change(weighing: Weighing, method: Method) -> float:
    """Return the change of force that marks the onset, N."""
    if method.onset_rule == "newton":
        return method.onset_newton
    if method.onset_rule == "percent":
        return method.onset_percent / 100.0 * weighing.weight
    floor = method.onset_floor_percent / 100.0 * weighing.weight
    return max(method.onset_sd * weighing.sd, floor)


def lowest_force(signal: Signal, weighing: Weighing, takeoff: int) -> tuple[int, int]:
    """Return the samples of the lowest force of unweighting and of peak downward velocity.

    The velocity is known up to a constant there, which does not move its minimum.
    """
    force = signal.force
    begin = max(weighing.stop, takeoff - signal.samples(LONGEST_JUMP_S))
    begin = min(begin, takeoff - 1)
    velocity = (force[begin : takeoff + 1] - weighing.weight).cumsum()
    slowest = begin + int(velocity.argmin())
    begin = max(begin, slowest - signal.samples(_LONGEST_DROP_S))
    return begin + int(force[begin : slowest + 1].argmin()), slowest


def find_onset(signal: Signal, weighing: Weighing, takeoff: int, method: Method) -> Onset:
    """Return the onset by the rule of the method.

    Parameters
    ----------
    signal : Signal
        Force.
    weighing : Weighing
        Body weight and its window.
    takeoff : int
        Last sample on the plate.
    method : Method
        Rule, search direction and shift.
    """
    minimum, _ = lowest_force(signal, weighing, takeoff)
    change = onset_change(weighing, method)
    begin = weighing.stop
    part = signal.force[begin : minimum + 1]
    if part.size == 0:
        return Onset(float(begin), minimum, float(begin), change, math.nan)
    off = part < weighing.weight - change
    backward = _last_off(part, off, weighing.weight - change, method)
    either = off
    if method.onset_direction == "either":
        either = np.abs(part - weighing.weight) > change
    persistence = max(1, round(method.onset_persistence_s * signal.rate))
    forward = _first_run(either, persistence)
    chosen = backward if method.onset_search == "backward" else forward
    shift = method.onset_shift_s * signal.rate
    by_threshold = begin + chosen - shift
    # Without a drop there is nothing to lay a curve through: no countermovement.
    fitted = FittedOnset(by_threshold, math.nan)
    if off[-1]:
        fitted = fitted_onset(signal, weighing, minimum)
    sample = fitted.sample if method.onset_rule == "fit" else by_threshold
    if method.onset_rise == "include" and method.onset_search == "backward":
        crossing = max(by_threshold, sample) + shift
        rise = _rise(signal, weighing, crossing, change, method)
        if rise is not None and rise.sample < sample:
            sample, fitted = rise.sample, rise
    sample = max(sample, float(weighing.start + 2))
    se = math.hypot(fitted.se, fitted.sample - sample)
    return Onset(sample, minimum, begin + forward - shift, change, se)


def _rise(
    signal: Signal, weighing: Weighing, crossing: float, change: float, method: Method
) -> FittedOnset | None:
    """Return the onset of a rise above body weight directly before the drop; None when none.

    A rise counts when means over 10 ms pass 2 % of body weight and five times the sway of the
    weighing, when it runs straight into the drop, and when nothing went down before it (then
    it is the second half of a wobble). It begins as the drop does: by the same rule, upside
    down.
    """
    end = int(crossing)
    begin = max(weighing.start, end - signal.samples(RISE_BEFORE_S))
    block = max(1, round(0.01 * signal.rate))
    count = (end - begin) // block
    if count < 3:
        return None
    first = end - count * block
    means = np.add.reduce(signal.force[first:end].reshape(count, block), axis=1)
    means = means / block - weighing.weight
    top = int(means.argmax())
    noise = 5.0 * weighing.sd / block**0.5
    least = max(0.02 * weighing.weight, 5.0 * weighing.sway, noise)
    if means[top] < least:
        return None
    high = (means > 0.5 * least).nonzero()[0]
    if count - int(high[-1]) > _STRAIGHT_S / 0.01 or float(means[:top].min(initial=0.0)) < -least:
        return None
    peak = first + top * block + block // 2
    upside_down = replace(signal, force=2.0 * weighing.weight - signal.force)
    fitted = fitted_onset(upside_down, weighing, peak)
    if method.onset_rule == "fit":
        return fitted
    start = max(weighing.start, peak - signal.samples(RISE_BEFORE_S))
    part = upside_down.force[start : peak + 1]
    level = weighing.weight - min(change, 0.5 * float(means[top]))
    found = _last_off(part, part < level, level, method)
    return fitted._replace(sample=start + found - method.onset_shift_s * signal.rate)


def _last_off(part: FloatArray, off: np.ndarray, level: float, method: Method) -> float:
    """Return where the force left the level for good before its minimum."""
    if not off[-1]:
        return float(part.shape[0] - 1)
    back = int(np.argmin(off[::-1]))
    if off[part.shape[0] - 1 - back]:
        return 0.0
    first = part.shape[0] - back
    if method.event_placing == "none":
        return float(first)
    above, below = float(part[first - 1]), float(part[first])
    return first - 1 + (above - level) / max(above - below, 1e-12)


def _first_run(mask: np.ndarray, length: int) -> float:
    """Return the start of the first run of true values of this length; the end when none."""
    n = mask.shape[0]
    if not mask.any():
        return float(n - 1)
    change = np.flatnonzero(mask[1:] != mask[:-1]) + 1
    edges = np.concatenate(([0], change, [n]))
    first = 0 if mask[0] else 1
    starts, stops = edges[first:-1:2], edges[first + 1 :: 2]
    long = np.flatnonzero((stops - starts >= length) | (stops == n))
    return float(starts[long[0]]) if long.size else math.nan
