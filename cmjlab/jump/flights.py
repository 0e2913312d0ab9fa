"""Where the athlete is in the air, coarsely: unloaded runs with contact before and after.

A coarse level of a tenth of the standing force is far above plate noise, so that noise, a plate
that is not zeroed, exact zeros of a gated plate, an empty plate before the athlete steps on and
the step off at the end do not look like a flight. A fast countermovement unloads the plate to
less than that for a moment. Such a run is no empty plate: empty is only what is as low as the
flight itself.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from cmjlab.jump.signal import FloatArray, Signal, largest, mean_of, smallest
from cmjlab.method import Method

#: Contacts and unloaded runs shorter than this (s) are spikes and drop-outs, not events.
SHORTEST_RUN_S = 0.020
#: A jump pushes at least this many standing forces (tells take-off from a step off) when the
#: recording ends in flight, and when the plates stay empty because the landing was beside them.
LEAST_PUSH = 1.15
LEAST_PUSH_BESIDE = 1.5
#: A body can be as good as weightless only so long on its way down: in 0.3 s of free fall it
#: gains 3 m/s. A longer run is an empty plate, whatever its level.
LONGEST_UNLOADING_S = 0.30
#: An empty plate shows no more than this share of the standing force above the flight, nor more
#: than these newtons, unless its noise is larger.
EMPTY_SHARE = 0.015
EMPTY_N = 10.0
#: Means over this time are held against the level of the flight: noise is no load, s.
_BLOCK_S = 0.010
#: Shorter than any flight that counts: the lowest mean over this time is the unloaded level, s.
_UNLOADED_S = 0.12
#: Plates that read less than this when empty and little when stood on were zeroed with the
#: athlete on them, N.
_ZEROED_N = -100.0


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
        All runs with an empty plate (start, stop), flights included.
    shift : float
        Level that was taken off before looking, N; other numbers are counted from it.
    zeroed_n : float
        Force of the flight when the plates were zeroed with the athlete on them, N; else nan.
    """

    level: float
    threshold: float
    flights: tuple[Flight, ...]
    unloaded: FloatArray
    shift: float = 0.0
    zeroed_n: float = math.nan

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
        Shortest and longest flight; whether the unloaded level is taken off first.
    """
    shift = 0.0
    if method.offset_removal == "flight":
        shift = _lowest_mean(signal)
    elif method.offset_removal == "minimum":
        shift = float(smallest(signal.force))
    elif smallest(signal.force) < _ZEROED_N:
        zeroed = _zeroed_with_athlete(signal)
        if zeroed < 0.0:
            return Contacts(0.0, 0.0, (), np.empty((0, 2)), zeroed_n=zeroed)
    force = signal.force - shift if shift else signal.force
    level = standing_level(force)
    threshold = 0.1 * level
    if level <= 0.0:
        return Contacts(level, threshold, (), np.empty((0, 2)), shift)
    runs = _runs(force < threshold, signal.samples(SHORTEST_RUN_S))
    flights, beside = _candidates(force, runs, level, signal.rate, method)
    lowest = _flight_mean(force, flights)
    flights = [f for f in flights if _as_low(force, f, lowest, level, signal.rate)]
    used = tuple(flights or beside)
    keep = [_is_empty(force, run, used, level, signal.rate) for run in runs.tolist()]
    return Contacts(level, threshold, used, runs[np.array(keep, dtype=bool)], shift)


def _candidates(
    force: FloatArray, runs: np.ndarray, level: float, rate: float, method: Method
) -> tuple[list[Flight], list[Flight]]:
    """Return runs that may be flights, and take-offs without a recorded landing."""
    n = force.shape[0]
    shortest, longest = method.minimum_flight_s * rate, method.maximum_flight_s * rate
    flights: list[Flight] = []
    beside: list[Flight] = []
    for start, stop in runs.tolist():
        if start == 0:
            continue
        push = float(largest(force[max(0, start - max(1, round(0.5 * rate))) : start])) / level
        if stop - start > longest:
            if push > LEAST_PUSH_BESIDE:
                beside.append(Flight(start, min(stop, start + int(longest)), open=True))
        elif stop == n:
            if push > LEAST_PUSH:
                beside.append(Flight(start, stop, open=True))
        elif stop - start >= shortest:
            flights.append(Flight(start, stop))
    return flights, beside


def _middle_mean(force: FloatArray, flight: Flight) -> float:
    start, stop = flight.middle
    return mean_of(force[start:stop])


def _flight_mean(force: FloatArray, flights: list[Flight]) -> float:
    """Return the mean force of the lowest flight; a push down is never as low as a flight."""
    return min((_middle_mean(force, f) for f in flights), default=0.0)


def _as_low(force: FloatArray, flight: Flight, lowest: float, level: float, rate: float) -> bool:
    """Return whether a run is a flight and not the unloading of a fast, deep countermovement."""
    if flight.stop - flight.start > LONGEST_UNLOADING_S * rate:
        return True
    return _middle_mean(force, flight) <= lowest + max(EMPTY_N, 2.0 * EMPTY_SHARE * level)


def _is_empty(
    force: FloatArray, run: list[int], flights: tuple[Flight, ...], level: float, rate: float
) -> bool:
    """Return whether the plate is empty in a run: as low as the flight nearest to it."""
    start, stop = run
    if not flights or stop - start > LONGEST_UNLOADING_S * rate:
        return True
    if any(f.start == start for f in flights) or start == 0 or stop == force.shape[0]:
        return True
    near = min(flights, key=lambda f: min(abs(f.start - stop), abs(start - f.stop)))
    block = max(1, round(_BLOCK_S * rate))
    first, last = near.middle
    quiet = _means(force[first:last], block)
    mean = mean_of(quiet)
    noise = float(quiet.std()) if quiet.size > 1 else 0.0
    bound = mean + max(min(EMPTY_N, EMPTY_SHARE * level), 5.0 * noise)
    lowest = np.sort(_means(force[start:stop], block))
    wanted = max(1, round(SHORTEST_RUN_S / _BLOCK_S))
    return bool(lowest.size >= wanted and lowest[wanted - 1] <= bound)


def _means(force: FloatArray, block: int) -> FloatArray:
    """Return means over blocks of samples; the force itself when it is shorter than one."""
    count = force.shape[0] // block
    if count == 0:
        return force
    return np.asarray(np.add.reduce(force[: count * block].reshape(count, block), axis=1) / block)


def _lowest_mean(signal: Signal) -> float:
    """Return the lowest mean over a time shorter than any flight: the unloaded level, N."""
    width = min(signal.samples(_UNLOADED_S), signal.n - 1)
    total = np.concatenate(([0.0], signal.force.cumsum()))
    return float((total[width:] - total[:-width]).min()) / width


def _zeroed_with_athlete(signal: Signal) -> float:
    """Return the force of the flight when standing reads about zero; 0 when it does not.

    Most of such a recording lies near zero, and its lowest stretch, the flight, is flat and
    far below: minus body weight.
    """
    low = _lowest_mean(signal)
    standing = float(np.median(signal.force))
    if low > _ZEROED_N or abs(standing) > 0.25 * abs(low):
        return 0.0
    flat = np.abs(signal.force - low) < 0.1 * abs(low)
    lasts = int(np.count_nonzero(flat)) / signal.rate
    return low if 0.1 <= lasts <= 0.5 * signal.n / signal.rate else 0.0


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
