"""Where the athlete is in the air, coarsely: unloaded runs with contact before and after.

A coarse level of a tenth of the standing force is far above plate noise and far below any
contact, so that noise, a plate that is not zeroed, exact zeros of a gated plate, an empty
plate before the athlete steps on and the step off at the end do not look like a flight.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from cmjlab.jump.signal import FloatArray, Signal
from cmjlab.method import Method

#: Contacts and unloaded runs shorter than this (s) are spikes and drop-outs, not events.
SHORTEST_RUN_S = 0.020
#: A jump pushes at least this many standing forces (tells take-off from a step off) when the
#: recording ends in flight, and when the plates stay empty because the landing was beside them.
LEAST_PUSH = 1.15
LEAST_PUSH_BESIDE = 1.5


@dataclass(frozen=True, slots=True)
class Flight:
    """One unloaded run: samples ``start`` … ``stop - 1``; ``open`` when no landing is recorded."""

    start: int
    stop: int
    open: bool = False

    @property
    def middle(self) -> tuple[int, int]:
        """Samples of the central half."""
        quarter = (self.stop - self.start) // 4
        return self.start + quarter, max(self.stop - quarter, self.start + quarter + 1)


@dataclass(frozen=True, slots=True)
class Contacts:
    """What the coarse look at the recording found.

    Attributes
    ----------
    level : float
        Standing force, coarsely, N.
    threshold : float
        Coarse threshold, N.
    flights : tuple of Flight
        Complete flights; when there is none, those without a recorded landing.
    unloaded : ndarray, shape (n_runs, 2)
        All unloaded runs (start, stop), flights included.
    """

    level: float
    threshold: float
    flights: tuple[Flight, ...]
    unloaded: FloatArray

    def contact_before(self, sample: int) -> int:
        """Return the first sample of the contact that ends at ``sample``."""
        stops = [int(stop) for _, stop in self.unloaded if stop <= sample]
        return stops[-1] if stops else 0

    def contact_after(self, sample: int, n: int) -> int:
        """Return the end of the contact that begins at ``sample``."""
        starts = [int(start) for start, _ in self.unloaded if start > sample]
        return starts[0] if starts else n


def standing_level(force: FloatArray) -> float:
    """Return the force below which half of all impulse lies: standing, coarsely.

    Unlike the median it does not see an empty plate, and unlike the maximum it does not see
    a hard landing.
    """
    part = np.sort(force[:: max(1, force.shape[0] // 800)])
    weight = np.maximum(part, 0.0).cumsum()
    return float(part[np.searchsorted(weight, 0.5 * weight[-1])]) if weight[-1] > 0 else 0.0


def find_contacts(signal: Signal, method: Method) -> Contacts:
    """Return the flights of a recording.

    Parameters
    ----------
    signal : Signal
        Force.
    method : Method
        Shortest and longest flight.
    """
    force, n = signal.force, signal.n
    level = standing_level(force)
    threshold = 0.1 * level
    if level <= 0.0:
        return Contacts(level, threshold, (), np.empty((0, 2)))
    runs = _runs(force < threshold, signal.samples(SHORTEST_RUN_S))
    shortest = method.minimum_flight_s * signal.rate
    longest = method.maximum_flight_s * signal.rate
    flights: list[Flight] = []
    beside: list[Flight] = []
    for start, stop in runs.tolist():
        if start == 0:
            continue
        before = force[max(0, start - signal.samples(0.5)) : start]
        push = float(before.max()) / level
        if stop - start > longest:
            if push > LEAST_PUSH_BESIDE:
                beside.append(Flight(start, min(stop, start + int(longest)), open=True))
        elif stop == n:
            if push > LEAST_PUSH:
                beside.append(Flight(start, stop, open=True))
        elif stop - start >= shortest:
            flights.append(Flight(start, stop))
    if not flights:
        flights = beside
    return Contacts(level, threshold, tuple(flights), runs)


def _runs(mask: np.ndarray, shortest: int) -> np.ndarray:
    """Return (start, stop) of the true runs; shorter gaps are closed, then short runs dropped."""
    change = np.flatnonzero(mask[1:] != mask[:-1]) + 1
    edges = np.concatenate(([0], change, [mask.shape[0]]))
    first = 0 if mask[0] else 1
    starts, stops = edges[first:-1:2], edges[first + 1 :: 2]
    if starts.size == 0:
        return np.empty((0, 2), dtype=np.int64)
    apart = starts[1:] - stops[:-1] >= shortest
    starts = starts[np.concatenate(([True], apart))]
    stops = stops[np.concatenate((apart, [True]))]
    keep = (stops - starts >= shortest) | (starts == 0) | (stops == mask.shape[0])
    return np.column_stack((starts[keep], stops[keep]))
