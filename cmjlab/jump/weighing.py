"""Body weight: the mean force of a still window before the jump, and how still it was."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from cmjlab.jump.signal import FloatArray, Signal, smallest
from cmjlab.method import Method

#: Window lengths tried, the longest first, as shares of the wanted length.
_SHARES = (1.0, 0.85, 0.7, 0.6, 0.5, 0.35, 0.25, 0.15, 0.1, 0.05)
#: Stillness is judged on means over this time: noise and hum of the plate are no movement, s.
_BLOCK_S = 0.010
#: Sway is judged on means over this time, s.
_SWAY_BLOCK_S = 0.05
#: Median size of the step between two samples of white noise of SD 1: 0.6745 · √2.
_STEP_OF_NOISE = 0.9539
#: Error of body weight per newton of sway, window of 1 s (simulated sway; our own).
SWAY_OF_WEIGHT = 0.60


@dataclass(frozen=True, slots=True)
class Weighing:
    """Body weight and its window.

    Attributes
    ----------
    start, stop : int
        Samples of the window, ``stop`` not included.
    weight : float
        Body weight, N.
    sd : float
        Standard deviation of the force in the window, N.
    slope : float
        Change of the force over one second in the window, N/s.
    sway : float
        Standard deviation of the slow part of the force in the window, N.
    white : float
        Standard deviation of the plate's white noise in the window, N.
    unrest : float
        Standard deviation of means over 10 ms in the window, the plate's white noise taken out,
        N: how much the athlete moved.
    se : float
        Standard error of the weight, N.
    """

    start: int
    stop: int
    weight: float
    sd: float
    slope: float
    sway: float
    white: float
    unrest: float
    se: float


def find_window(signal: Signal, begin: int, end: int, method: Method) -> tuple[int, int]:
    """Return the stillest window between two samples.

    The longest window up to the wanted length that is still; when none is still enough for a
    pass, the longest that is still enough not to fail; else the shortest allowed.

    Parameters
    ----------
    signal : Signal
        Force.
    begin, end : int
        Part of the contact that may hold the window.
    method : Method
        Length of the window and limits of stillness.
    """
    end = max(end, min(begin + 2, signal.n))
    block = max(1, round(_BLOCK_S * signal.rate))
    count = (end - begin) // block
    if count < 3:
        return begin, end
    first = end - count * block
    means = np.add.reduce(signal.force[first:end].reshape(count, block), axis=1)
    means /= block
    level = float(np.add.reduce(means)) / count
    means -= level
    sums = np.zeros((2, count + 1))
    means.cumsum(out=sums[0, 1:])
    (means * means).cumsum(out=sums[1, 1:])
    least = max(2, round(signal.samples(method.weighing_minimum_s) / block))
    wanted = signal.samples(method.weighing_duration_s)
    lengths = sorted({max(least, round(s * wanted / block)) for s in _SHARES}, reverse=True)
    lengths = [k for k in lengths if k <= count] or [count]
    limits = method.limits
    # Mostly the longest window is still, noise and all: then the noise need not be known.
    index = _still_enough(sums, lengths[:1], (level, 0.0), limits.still_warn_percent, 0.0)
    if index is None:
        noisy = (level, white_noise(signal.force[first:end]) ** 2 / block)
        least_share = 0.5 * wanted / block
        index = _still_enough(sums, lengths, noisy, limits.still_warn_percent, least_share)
        if index is None:
            index = _still_enough(sums, lengths, noisy, limits.still_fail_percent, 0.0)
    length, start = index if index is not None else (lengths[-1], _stillest(sums, lengths[-1])[0])
    begin = first + start * block
    return begin, begin + min(length * block, wanted if index is not None else length * block)


def white_noise(force: FloatArray) -> float:
    """Return the SD of the plate's white noise, from the steps between neighbouring samples.

    The median of the steps sees noise only: a body moves by far less from sample to sample.
    """
    if force.shape[0] < 3:
        return 0.0
    steps = np.abs(force[1:] - force[:-1])
    middle = steps.shape[0] // 2
    if steps.shape[0] % 2:
        steps.partition(middle)
        return float(steps[middle]) / _STEP_OF_NOISE
    steps.partition((middle - 1, middle))
    return 0.5 * float(steps[middle - 1] + steps[middle]) / _STEP_OF_NOISE


def _still_enough(
    sums: FloatArray,
    lengths: list[int],
    level_and_noise: tuple[float, float],
    percent: float,
    least: float,
) -> tuple[int, int] | None:
    """Return length and start of the longest still window, in blocks; None when none is still.

    The variance of white noise in the means is no movement and is taken out.
    """
    level, white = level_and_noise
    for length in lengths:
        if length < least:
            return None
        start, sd, mean = _stillest(sums, length)
        if max(sd * sd - white, 0.0) ** 0.5 <= percent / 100.0 * abs(level + mean):
            return length, start
    return None


def _stillest(sums: FloatArray, length: int) -> tuple[int, float, float]:
    """Return start, SD and mean of the stillest window (the last of equals), in blocks."""
    total = sums[0, length:] - sums[0, :-length]
    square = sums[1, length:] - sums[1, :-length]
    variance = np.maximum(square / length - (total / length) ** 2, 0.0)[::-1]
    index = int(np.argmax(variance <= smallest(variance) * (1 + 1e-6) + 1e-9))
    start = int(variance.shape[0]) - 1 - index
    return start, float(variance[index]) ** 0.5, float(total[start]) / length


def is_restless(weighing: Weighing, rate: float, method: Method) -> bool:
    """Return whether a window is too short, or the athlete moved too much in it, to be weighed."""
    short = weighing.stop - weighing.start < 0.5 * method.weighing_duration_s * rate - 1.5
    if weighing.weight <= 0.0:
        return True
    percent = 100.0 * weighing.unrest / weighing.weight
    return short or percent > method.limits.still_fail_percent


def weigh(signal: Signal, start: int, stop: int) -> Weighing:
    """Return weight, SD, slope, sway and standard error of a window.

    White noise hardly matters for the weight; slow sway does, and one window cannot average
    it out. Sway is the SD of means over 50 ms, white
    noise taken out. Its error of the weight, 0.6 times the sway
    for the stillest window of 1 s and less for longer ones, was found by simulating sway of
    0.2 to 6 Hz; it is our own, no paper prescribes it.

    Parameters
    ----------
    signal : Signal
        Force.
    start, stop : int
        Samples of the window.
    """
    part = signal.force[start:stop]
    n = part.shape[0]
    weight = float(np.add.reduce(part)) / n
    centred = part - weight
    square = float(centred @ centred)
    sd = (square / (n - 1)) ** 0.5 if n > 1 else 0.0
    slope = 0.0
    if n > 1:
        slope = float(np.arange(n) @ centred) / (n * (n * n - 1.0) / 12.0) * signal.rate
    white = white_noise(part)
    sway = _slow_sd(centred, sd, white, signal.samples(_SWAY_BLOCK_S))
    unrest = _slow_sd(centred, sd, white, signal.samples(_BLOCK_S))
    factor = SWAY_OF_WEIGHT * (signal.rate / n) ** 1.15
    se = (sd * sd / n + (factor * sway) ** 2) ** 0.5
    return Weighing(start, stop, weight, sd, slope, sway, white, unrest, se)


def _slow_sd(centred: FloatArray, sd: float, white: float, block: int) -> float:
    """Return the SD of means over blocks without the part that white noise has in it."""
    count = centred.shape[0] // block
    if count < 3:
        return sd
    means = np.add.reduce(centred[: count * block].reshape(count, block), axis=1) / block
    variance = float(means @ means) / (count - 1) - white**2 / block
    return max(variance, 0.0) ** 0.5
