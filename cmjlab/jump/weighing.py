"""Body weight: the mean force of a still window before the jump, and how still it was."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from cmjlab.jump.signal import FloatArray, Signal
from cmjlab.method import Method

#: Window lengths tried, the longest first, as shares of the wanted length.
_SHARES = (1.0, 0.85, 0.7, 0.6, 0.5, 0.35, 0.25, 0.15, 0.1, 0.05)
#: Stillness is judged on means over this time: noise and hum of the plate are no movement, s.
_BLOCK_S = 0.010
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
    se : float
        Standard error of the weight, N.
    """

    start: int
    stop: int
    weight: float
    sd: float
    slope: float
    sway: float
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
    index = _still_enough(
        sums, lengths, level, method.limits.still_warn_percent, 0.5 * wanted / block
    )
    if index is None:
        index = _still_enough(sums, lengths, level, method.limits.still_fail_percent, 0.0)
    length, start = index if index is not None else (lengths[-1], _stillest(sums, lengths[-1])[0])
    begin = first + start * block
    return begin, begin + min(length * block, wanted if index is not None else length * block)


def _still_enough(
    sums: FloatArray, lengths: list[int], level: float, percent: float, least: float
) -> tuple[int, int] | None:
    """Return length and start of the longest still window, in blocks; None when none is still."""
    for length in lengths:
        if length < least:
            return None
        start, sd, mean = _stillest(sums, length)
        if sd <= percent / 100.0 * abs(level + mean):
            return length, start
    return None


def _stillest(sums: FloatArray, length: int) -> tuple[int, float, float]:
    """Return start, SD and mean of the stillest window (the last of equals), in blocks."""
    total = sums[0, length:] - sums[0, :-length]
    square = sums[1, length:] - sums[1, :-length]
    variance = np.maximum(square / length - (total / length) ** 2, 0.0)[::-1]
    index = int(np.argmax(variance <= variance.min() * (1 + 1e-6) + 1e-9))
    start = int(variance.shape[0]) - 1 - index
    return start, float(variance[index]) ** 0.5, float(total[start]) / length


def weigh(signal: Signal, start: int, stop: int) -> Weighing:
    """Return weight, SD, slope, sway and standard error of a window.

    White noise hardly matters for the weight; slow sway does, and one window cannot average
    it out. Sway is the SD of means over 50 ms. Its error of the weight, 0.6 times the sway
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
    block = max(1, round(0.05 * signal.rate))
    blocks = n // block
    sway = sd
    if blocks >= 3:
        means = np.add.reduce(centred[: blocks * block].reshape(blocks, block), axis=1) / block
        sway = float(means @ means / (blocks - 1)) ** 0.5
    factor = SWAY_OF_WEIGHT * (signal.rate / n) ** 1.15
    return Weighing(
        start, stop, weight, sd, slope, sway, (sd * sd / n + (factor * sway) ** 2) ** 0.5
    )
