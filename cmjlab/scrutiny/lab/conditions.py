"""What plate and standing athlete add to the force, as a lab's own recordings show it.

In flight nothing but the plate moves; while an athlete stands, the slow part is sway and the quick
part is the plate again. Numbers of single jumps come from here; medians over many jumps are the lab's.
"""

from __future__ import annotations

from dataclasses import asdict, dataclass
from functools import lru_cache

import numpy as np
import pandas as pd

from cmjlab.jump_types import Jump
from cmjlab.recording import FloatArray, Recording
from cmjlab.scrutiny.lab.plate_steps import step_of
from cmjlab.simulate.noise import sway

#: Sway is looked at in means over this time: one period of the mains at 50 Hz, s.
BLOCK_S = 0.02
#: The part of the flight that is used, as shares: the plate rings after take-off.
_FLIGHT = (0.3, 0.9)
#: Fewest samples that a spread is taken of.
_FEWEST = 12
#: Variance of a third difference of white noise of variance 1: 1 + 9 + 9 + 1.
_THIRD = 20.0
#: The recording of simulated standing, and how many are made.
_SWAY_HZ, _STANDINGS = 100.0, 400


@dataclass(frozen=True)
class Conditions:
    """How one jump was recorded; variances in N², of all plates together; nan: not to be had.

    Attributes
    ----------
    rate_hz, plates : float, int
    flight_var : float
        Variance of the middle of the flight around its line.
    flight_fine_var, standing_fine_var : float
        Variance of the quick part (third differences) in flight and in the weighing window: equal
        to ``flight_var`` for white noise.
    slow_var : float
        Variance of means over :data:`BLOCK_S` in the weighing window, that of the quick part
        taken off; negative where the athlete stood stiller than the plate shows.
    plate_fine_var : tuple of float
        ``flight_fine_var`` of each plate.
    step_n : float
        Step of the converter of one plate.
    standing_s, after_s, window_s : float
        Standing before the onset, recorded after landing, weighing window.
    """

    rate_hz: float
    plates: int
    flight_var: float
    flight_fine_var: float
    standing_fine_var: float
    slow_var: float
    plate_fine_var: tuple[float, ...]
    step_n: float
    standing_s: float
    after_s: float
    window_s: float


def conditions_of(jump: Jump) -> Conditions:
    """Return how one jump was recorded.

    Parameters
    ----------
    jump : Jump
        With take-off, landing and a weighing window; what depends on a missing one is nan.
    """
    rec, e = jump.recording, jump.events
    flight_s = e["landing"] - e["takeoff"]
    flight = _part(rec, e["takeoff"] + _FLIGHT[0] * flight_s, e["takeoff"] + _FLIGHT[1] * flight_s)
    window = _part(rec, e["weighing_start"], e["weighing_end"])
    total, standing = flight.sum(axis=1), window.sum(axis=1)
    fine = fine_variance(standing)
    steps = [step_of(p) for part in (flight, window) for p in part.T]
    known = [s for s in steps if s == s]
    return Conditions(
        rec.rate_hz, len(rec.plates), _around_line(total), fine_variance(total), fine,
        slow_variance(standing, rec.rate_hz) - fine / _block(rec.rate_hz),
        tuple(fine_variance(p) for p in flight.T),
        float(np.median(known)) if len(known) >= len(steps) / 2 else float("nan"),
        _standing_s(rec, e["onset"], float(np.mean(standing)) if standing.size else np.nan),
        rec.start_s + rec.duration_s - e["landing"],
        e["weighing_end"] - e["weighing_start"],
    )  # fmt: skip


def conditions_table(jumps: list[Jump]) -> pd.DataFrame:
    """Return one row per jump: file, jump and the attributes of :class:`Conditions`."""
    rows = []
    for jump in jumps:
        where = {"athlete": jump.recording.athlete, "session": jump.recording.session,
                 "trial": jump.recording.trial}  # fmt: skip
        rows.append({**where, **asdict(conditions_of(jump))})
    return pd.DataFrame(rows)


def fine_variance(force_n: FloatArray) -> float:
    """Return the variance of the quick part of a force: white noise of the plate, no sway.

    Third differences lose what moves slowly against the samples (sway of 6 Hz at 100 Hz: 99 %).
    """
    if force_n.shape[0] < _FEWEST:
        return float("nan")
    return float(np.mean(np.diff(force_n, n=3) ** 2) / _THIRD)


def slow_variance(force_n: FloatArray, rate_hz: float) -> float:
    """Return the variance of means over :data:`BLOCK_S`."""
    block = _block(rate_hz)
    count = force_n.shape[0] // block
    if count < 3:
        return float("nan")
    return float(force_n[: count * block].reshape(count, block).mean(axis=1).var())


@lru_cache(maxsize=64)
def seen_of_sway(standing_s: float, window_s: float, *, stillest: bool) -> float:
    """Return what a weighing window shows of sway of variance 1: the median over standings.

    A window of one second does not see what moves more slowly, and the stillest of a longer
    standing is stiller than most. Standings are made as :func:`cmjlab.simulate_jump` makes them and
    looked at as a recording is.

    Parameters
    ----------
    standing_s, window_s : float
        Time that the window may be taken from, and its length.
    stillest : bool
        Whether the stillest window is taken; else any.
    """
    random = np.random.default_rng(20261128)
    block = _block(_SWAY_HZ)
    time = np.arange(int(max(standing_s, window_s) * _SWAY_HZ)) / _SWAY_HZ
    width = max(3, int(window_s * _SWAY_HZ) // block)
    seen = []
    for _ in range(_STANDINGS):
        force = sway(time, 1.0, random=random)
        count = force.shape[0] // block
        means = force[: count * block].reshape(count, block).mean(axis=1)
        windows = np.lib.stride_tricks.sliding_window_view(means, min(width, count)).var(axis=1)
        seen.append(windows.min() if stillest else windows[0])
    return float(np.median(seen))


def _block(rate_hz: float) -> int:
    return max(1, round(BLOCK_S * rate_hz))


def _part(rec: Recording, start_s: float, stop_s: float) -> FloatArray:
    """Return the forces between two times of the file's clock, shape (n, plates); none for nan."""
    if not (np.isfinite(start_s) and np.isfinite(stop_s)):
        return rec.force_n[:0]
    first, last = ((t - rec.start_s) * rec.rate_hz for t in (start_s, stop_s))
    return rec.force_n[max(0, int(np.ceil(first))) : max(0, int(last))]


def _around_line(force_n: FloatArray) -> float:
    """Return the variance around a straight line."""
    n = force_n.shape[0]
    if n < _FEWEST:
        return float("nan")
    x = np.arange(n) - (n - 1) / 2
    rest = force_n - force_n.mean()
    rest = rest - x * (x @ rest) / (x @ x)
    return float(rest @ rest / (n - 2))


def _standing_s(rec: Recording, onset_s: float, weight_n: float) -> float:
    """Return how long somebody stood on the plates before the onset, seconds."""
    if not (np.isfinite(onset_s) and np.isfinite(weight_n)):
        return float("nan")
    before = _part(rec, rec.start_s, onset_s).sum(axis=1)
    light = np.flatnonzero(before < 0.5 * weight_n)
    return (before.shape[0] - (int(light[-1]) + 1 if light.size else 0)) / rec.rate_hz
