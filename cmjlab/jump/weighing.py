"""Body weight: the mean force of a still window before the jump, and how still it was."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from cmjlab.jump.signal import FloatArray, Signal
from cmjlab.method import Method

#: Window lengths tried when there is no still window of the wanted length (shares of it).
_SHORTER = (1.0, 0.7, 0.5, 0.35, 0.25, 0.15, 0.1, 0.05)


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
    se : float
        Standard error of the weight, N.
    """

    start: int
    stop: int
    weight: float
    sd: float
    slope: float
    se: float


def find_window(signal: Signal, begin: int, end: int, method: Method) -> tuple[int, int]:
    """Return the stillest window between two samples.

    The wanted length is shortened, down to ``method.weighing_minimum_s``, only while no
    window of that length is still.

    Parameters
    ----------
    signal : Signal
        Force.
    begin, end : int
        Part of the contact that may hold the window.
    method : Method
        Length of the window.
    """
    end = max(end, min(begin + 2, signal.n))
    part = signal.force[begin:end]
    least = max(2, min(signal.samples(method.weighing_minimum_s), part.shape[0]))
    step = max(1, round(0.01 * signal.rate))
    centred = part - part.mean()
    sums = np.empty((2, part.shape[0] + 1))
    sums[:, 0] = 0.0
    np.cumsum(centred, out=sums[0, 1:])
    np.cumsum(centred * centred, out=sums[1, 1:])
    best = (0, part.shape[0])
    for share in _SHORTER:
        length = max(least, round(share * method.weighing_duration_s * signal.rate))
        if length > part.shape[0]:
            continue
        found, sd, mean = _stillest(sums, length, step)
        best = (found, found + length)
        if sd <= method.limits.still_fail_percent / 100.0 * abs(mean + part.mean()):
            break
        if length == least:
            break
    return begin + best[0], begin + best[1]


def _stillest(sums: FloatArray, length: int, step: int) -> tuple[int, float, float]:
    """Return start, SD and mean of the stillest window (the last of equals)."""
    last = sums.shape[1] - 1 - length
    starts = np.arange(last, -1, -step)
    total = sums[0, starts + length] - sums[0, starts]
    square = sums[1, starts + length] - sums[1, starts]
    variance = np.maximum(square / length - (total / length) ** 2, 0.0)
    index = int(np.argmax(variance <= variance.min() * (1 + 1e-6) + 1e-9))
    return int(starts[index]), float(np.sqrt(variance[index])), float(total[index] / length)


def weigh(signal: Signal, start: int, stop: int) -> Weighing:
    """Return weight, SD, slope and standard error of a window.

    The standard error is that of slow sway, which one window cannot average out: the SD of
    means over 50 ms (white noise is gone there) times 0.33 for 1 s, more for shorter windows.
    The factor comes from simulated sway of 0.2–6 Hz; it is our own, no paper prescribes it.
    """
    part = signal.force[start:stop]
    n = part.shape[0]
    weight = float(part.mean())
    centred = part - weight
    square = float(centred @ centred)
    sd = (square / (n - 1)) ** 0.5 if n > 1 else 0.0
    time = np.arange(n) - 0.5 * (n - 1)
    slope = float(time @ centred) / (n * (n * n - 1.0) / 12.0) * signal.rate if n > 1 else 0.0
    block = max(1, round(0.05 * signal.rate))
    blocks = n // block
    slow = sd
    if blocks >= 3:
        slow = float(part[: blocks * block].reshape(blocks, block).mean(axis=1).std(ddof=1))
    factor = 0.33 * (signal.rate / n) ** 0.6 if n else 1.0
    se = ((sd * sd / n) + (factor * slow) ** 2) ** 0.5
    return Weighing(start, stop, weight, sd, slope, se)
