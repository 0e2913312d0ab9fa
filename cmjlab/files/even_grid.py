"""Hold a time column against an even grid: rate, holes, repeats, scatter.

Stamps rounded to a step r scatter over r at most; a lost sample shifts all later stamps by
one step. A column whose stamps are finer than its step shows every lost sample; in a coarser
one a loss cannot be placed, and the reader asks.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field, replace

import numpy as np
from numpy.typing import NDArray

from cmjlab.checks import listed
from cmjlab.errors import ReadError
from cmjlab.files.columns import Columns, FloatArray
from cmjlab.files.notes import note
from cmjlab.files.remedies import without_time
from cmjlab.recording import ReadingNote

_ROUND_STEPS = (1000.0, 500.0, 250.0, 100.0, 50.0, 25.0, 10.0, 5.0, 1.0, 0.5, 0.1)
#: A given rate that differs by more than this from the time column contradicts it.
AGREE = 0.005
#: Time stamps further from the even grid than this part of a step are no even clock.
_MOST_JITTER = 0.35
#: With fewer single steps than this share, a time column has no usual step to count in.
_LEAST_NORMAL = 0.8


@dataclass
class Clock:
    """Rate and grid: row ``rows[k]`` of the file is sample ``index[k]`` of the recording.

    ``index`` None: row k is sample k.
    """

    rate_hz: float
    start_s: float = 0.0
    n_samples: int = 0
    index: NDArray[np.int64] | None = None
    rows: NDArray[np.int64] | None = None
    unit: str = ""
    notes: list[ReadingNote] = field(default_factory=list)


@dataclass(frozen=True)
class Stamps:
    """A time column in seconds, the rows it stands in, its rounding, and a given rate."""

    columns: Columns
    column: int
    seconds: FloatArray
    rows: NDArray[np.int64] | None
    step: float
    given: float | None

    def line(self, at: int) -> int:
        """Return the line of the file of stamp ``at``."""
        return self.columns.line(at if self.rows is None else int(self.rows[at]))


def resolution(values: FloatArray) -> float:
    """Return the step to which numbers are rounded (0.01 for 2 decimals), 0 when none is seen."""
    probe = values if values.size <= 128 else np.concatenate([values[:64], values[-64:]])
    few = probe[:6].tolist()
    for digits in range(10):
        scale = 10.0**digits
        if any(abs(v * scale - round(v * scale)) > 1e-5 for v in few):
            continue
        scaled = probe * scale
        if float(np.abs(scaled - np.rint(scaled)).max()) < 1e-5:
            return float(10.0**-digits)
    return 0.0


def clock_of(stamps: Stamps) -> Clock:
    """Return the clock of a time column.

    Raises
    ------
    ReadError
        When it does not advance, is uneven, too coarse, or contradicts the given rate.
    """
    seconds, r = stamps.seconds, stamps.step
    count = seconds.size - 1
    span = float(seconds[-1] - seconds[0])
    if span <= 0.0:
        name = stamps.columns.label(stamps.column)
        raise ReadError(f"{stamps.columns.file}: time does not advance (column {name}).")
    low, high = count / (span + r), count / (span - r) if span > r else math.inf
    grid = np.arange(seconds.size)
    rates = [_round_rate(low, high, count / span)]
    if r * rates[0] > 1.0001:  # several samples share a stamp
        rates.insert(0, _round_rate(*_slope_bounds(seconds, r)))
    if stamps.given and low * (1 - AGREE) <= stamps.given <= high * (1 + AGREE):
        rates.insert(0, stamps.given)
    for rate in rates:
        off = seconds - seconds[0] - grid / rate
        most = 1.0001 * r if r * rate > 1.0001 else min(1.0001 * r, 0.9999 / rate)
        if float(off.max() - off.min()) > max(most, 1e-6 / rate):
            continue
        clock = Clock(rate, float(seconds[0]), stamps.columns.n_rows)
        _note_rounding(clock, r, low, high)
        _refuse_contradiction(stamps, clock)
        place(stamps.columns, clock, grid, stamps.rows, seconds)
        return clock
    return _uneven(stamps)


def _slope_bounds(seconds: FloatArray, r: float) -> tuple[float, float, float]:
    """Return lower bound, upper bound and estimate of the rate from the slope of all stamps.

    Rounding errors of at most r/2 leave the slope of n stamps uncertain by about r/n^1.5.
    """
    n = seconds.size
    k = np.arange(n) - (n - 1) / 2.0
    rate = float((k @ k) / (k @ seconds))
    width = 6.0 * r * rate * rate / n**1.5
    return rate - width, rate + width, rate


def _round_rate(low: float, high: float, found: float) -> float:
    """Return the roundest rate inside an interval, ``found`` when several are equally round."""
    if high - low < 1e-7 * found:
        slack = max(high - low, 1e-10 * found)
        return next((v for d in range(7) if abs((v := round(found, d)) - found) <= slack), found)
    for step in _ROUND_STEPS:
        first, last = math.ceil(low / step - 1e-9), math.floor(high / step + 1e-9)
        if last >= first:
            return first * step if first == last else found
    return found


def _note_rounding(clock: Clock, r: float, low: float, high: float) -> None:
    if r * clock.rate_hz > 1.5:
        clock.notes.append(
            note(
                "rate_rounded",
                f"Time is rounded to {r:g} s, several samples share a stamp; the rate lies between"
                f" {low:.1f} and {high:.1f} Hz, {clock.rate_hz:g} Hz was taken.",
            )
        )


def _refuse_contradiction(stamps: Stamps, clock: Clock) -> None:
    given, found = stamps.given, clock.rate_hz
    if not given or given == found:
        return
    if abs(given / found - 1) > AGREE:
        raise ReadError(
            f"{stamps.columns.file}: rate_hz = {given:g} was given, but the time column says"
            f" {found:.6g} Hz. Leave the rate out, or, if the time column is wrong,"
            f" {without_time(given)}."
        )
    clock.notes.append(
        note(
            "rate_agrees",
            f"The given rate {given:g} Hz agrees with the time column within {AGREE:.1%}; the"
            f" column's {found:.6g} Hz is used.",
        )
    )


def _uneven(stamps: Stamps) -> Clock:
    """Return the clock of a time column with holes, repeats or scatter."""
    stamps, repeats = _without_repeats(stamps)
    seconds, r = stamps.seconds, stamps.step
    steps = np.diff(seconds)
    positive = steps[steps > 0]
    usual = float(np.median(positive)) if positive.size else 0.0
    if positive.size < steps.size or (r > 0.6 * usual and positive.min() < 0.75 * usual):
        raise ReadError(
            f"{stamps.columns.file}: time is rounded too coarsely (to {r:g} s) to find the rate and"
            f" the lost samples. State it: {without_time(_even_rate(stamps, r))}."
        )
    index = _counted(stamps, steps, usual)
    span, count = float(seconds[-1] - seconds[0]), float(index[-1])
    rate = _round_rate(count / (span + r), count / (span - r), count / span)
    off = float(np.abs(seconds - seconds[0] - index / rate).max())
    if off > max(_MOST_JITTER / rate, r):
        raise ReadError(_not_even(stamps, steps, usual))
    clock = Clock(rate, float(seconds[0]), stamps.columns.n_rows)
    _refuse_contradiction(stamps, clock)
    if repeats:
        clock.notes.append(
            note("repeated_rows", f"{repeats} row(s) that repeat the row before were left out.")
        )
    if off > max(1.01 * r, 0.02 / rate):
        clock.notes.append(
            note(
                "time_jitter",
                f"Time stamps scatter by up to {off * 1e3:.3g} ms around the even clock of {rate:g}"
                " Hz.",
            )
        )
    place(stamps.columns, clock, index, stamps.rows, seconds)
    return clock


def _counted(stamps: Stamps, steps: FloatArray, usual: float) -> NDArray[np.int64]:
    """Return the sample number of every stamp: how many usual steps it lies behind the first."""
    normal = steps < 1.5 * usual
    if float(normal.mean()) < _LEAST_NORMAL:
        raise ReadError(_not_even(stamps, steps, usual))
    step = float(steps[normal].mean())
    whole = np.where(normal, 1, np.rint(steps / step)).astype(np.int64)
    index = np.concatenate([[0], np.cumsum(whole)])
    if index[-1] > 4 * index.size + 1000:
        at = int(np.argmax(whole))
        raise ReadError(
            f"{stamps.columns.file}: line {stamps.line(at + 1)}: time jumps from"
            f" {stamps.seconds[at]:.6g} s to {stamps.seconds[at + 1]:.6g} s, more than the whole"
            " recording. Correct the file, or save each part as a file of its own."
        )
    return index


def _not_even(stamps: Stamps, steps: FloatArray, usual: float) -> str:
    """Return the sentence for time stamps that follow no even clock."""
    at = int(np.argmax(np.abs(steps / usual - np.rint(steps / usual))))
    even = without_time(_even_rate(stamps, usual))
    return (
        f"{stamps.columns.file}: time is not even: steps run from {steps.min() * 1e3:.4g} to"
        f" {steps.max() * 1e3:.4g} ms (usual {usual * 1e3:.4g} ms), the worst at line"
        f" {stamps.line(at + 1)}; nothing is resampled. If the samples are even all the same, {even}."
    )


def _even_rate(stamps: Stamps, unsure: float) -> float:
    """Return the rate to propose for even rows: the usual one of many rows in a row."""
    if stamps.given:
        return stamps.given
    seconds = stamps.seconds
    count = max(1, seconds.size // 10)
    span = float(np.median(seconds[count:] - seconds[:-count]))
    unsure = min(unsure, 0.5 * span)
    return _round_rate(count / (span + unsure), count / (span - unsure), count / span)


def _without_repeats(stamps: Stamps) -> tuple[Stamps, int]:
    """Leave out rows that repeat the row before in every column; stop when only time repeats."""
    seconds, columns = stamps.seconds, stamps.columns
    same = np.flatnonzero(np.diff(seconds) == 0) + 1
    if not same.size or same.size > 0.05 * seconds.size:
        return stamps, 0
    rows = np.arange(seconds.size) if stamps.rows is None else stamps.rows
    likely = _even_rate(stamps, float(np.median(np.diff(seconds))))
    for at in same:
        a, b = int(rows[at - 1]), int(rows[at])
        for values in columns.values:
            if values is not None and not (
                values[a] == values[b] or (math.isnan(values[a]) and math.isnan(values[b]))
            ):
                raise ReadError(
                    f"{columns.file}: line {columns.line(b)}: the time {seconds[at]:.6g} s stands"
                    f" twice with different values (first in line {columns.line(a)}). Correct the"
                    f" file, or, if its rows are even samples, {without_time(likely)}."
                )
    kept = replace(stamps, seconds=np.delete(seconds, same), rows=np.delete(rows, same))
    return kept, int(same.size)


def place(
    columns: Columns,
    clock: Clock,
    index: NDArray[np.int64],
    rows: NDArray[np.int64] | None,
    seconds: FloatArray,
) -> None:
    """Put the rows on the grid and note every hole."""
    clock.n_samples = int(index[-1]) + 1
    whole = rows is None and clock.n_samples == columns.n_rows
    if whole:
        return
    clock.index, clock.rows = index, rows
    holes = np.flatnonzero(np.diff(index) > 1)
    if not holes.size:
        return
    texts = []
    for at in holes:
        width = float(seconds[at + 1] - seconds[at])
        texts.append(f"gap of {width * 1e3:.4g} ms at {seconds[at]:.3f} s")
    lost = clock.n_samples - index.size
    clock.notes.append(
        note(
            "gap", f"{lost} samples are lost: {listed(texts)}. They are nan; nothing was filled in."
        )
    )
