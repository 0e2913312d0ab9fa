"""The uniform clock of a recording: rate, first time, and which samples are lost.

Nothing is resampled. A time column is held against an even grid: lost samples leave a hole
(nan), a rounded column gives the one whole rate that fits it, and anything else stops.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from cmjlab.errors import ReadError
from cmjlab.files.columns import Columns, FloatArray
from cmjlab.files.notes import give_rate, listed, note, write_in_layout
from cmjlab.files.roles import Roles
from cmjlab.layout import Layout
from cmjlab.results import Note
from cmjlab.units import TIME_UNITS

#: Rates a force plate is sampled with; outside, the unit of time is doubted (common practice).
_SLOWEST_HZ, _FASTEST_HZ = 40.0, 20_000.0
_ROUND_STEPS = (1000.0, 500.0, 250.0, 100.0, 50.0, 25.0, 10.0, 5.0, 1.0, 0.5, 0.1)
#: A given rate that differs by more than this from the time column contradicts it.
_AGREE = 0.005
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
    notes: list[Note] = field(default_factory=list)


def find_clock(columns: Columns, roles: Roles, layout: Layout, rate_hz: float | None) -> Clock:
    """Return the clock of the rows.

    Parameters
    ----------
    columns, roles
        What the file holds, with the time column found.
    layout : Layout
        ``time_unit`` and ``rate_hz`` are used.
    rate_hz : float, optional
        Rate given by the caller; goes before the layout's.

    Raises
    ------
    ReadError
        When no rate is known, time restarts, is uneven, or contradicts what was given.
    """
    given = rate_hz or layout.rate_hz or None
    if roles.time is None:
        return _from_rate(columns, given, columns.n_rows)
    values = columns.values[roles.time]
    assert values is not None
    rows = None
    if not math.isfinite(float(values.sum())):
        rows = np.flatnonzero(np.isfinite(values))
        values = values[rows]
    if values.size < 2:
        raise ReadError(f"{columns.file}: the time column holds {values.size} numbers.")
    if roles.time in columns.clock:
        values = _unwrapped(columns, values)
    _refuse_restart(columns, roles, values, rows)
    if roles.is_counter:
        return _from_counter(columns, given, values, rows)
    unit = _unit(columns, roles, layout, values, given)
    if unit == "counter":
        return _from_counter(columns, given, values, rows)
    clock = _from_time(columns, roles, values, rows, TIME_UNITS[unit], given)
    clock.unit = unit
    if roles.time in columns.clock:
        clock.start_s = 0.0
    _hold_against_stated(columns, clock)
    _note_unit(columns, roles, layout, clock)
    return clock


def _from_rate(columns: Columns, given: float | None, n: int, *, counter: bool = False) -> Clock:
    """Return the clock of a file without time."""
    stated = sorted(set(columns.stated_rates.values()) or {columns.rate_hz} - {0.0})
    if columns.rate_hz and (not given or abs(columns.rate_hz / given - 1) <= _AGREE):
        return Clock(columns.rate_hz, columns.start_s, n)
    if given:
        code, text = "rate_given", f"Rate {given:g} Hz as given; the file holds no time."
        if stated and all(abs(s / given - 1) > _AGREE for s in stated):
            code = "rate_overridden"
            text = f"Rate {given:g} Hz as given; the file says {_hz(stated)}."
        return Clock(float(given), columns.start_s, n, notes=[note(code, text)])
    if len(stated) == 1:
        words = next(iter(columns.stated_rates))
        return Clock(
            stated[0],
            columns.start_s,
            n,
            notes=[note("rate_from_file", f"Rate {stated[0]:g} Hz, from {words!r}.")],
        )
    if stated:
        raise ReadError(
            f"{columns.file}: the file writes several rates ({_hz(stated)}) and has no time column."
            f" Choose one and {give_rate(f'{stated[-1]:g}')}."
        )
    what = "it numbers its samples" if counter else "there is no time column"
    raise ReadError(
        f"{columns.file}: the sampling rate is not known: {what} and no rate is written in the"
        f" file. Please {give_rate()}."
    )


def _hz(rates: list[float]) -> str:
    return ", ".join(f"{r:g} Hz" for r in rates)


def _from_counter(
    columns: Columns, given: float | None, values: FloatArray, rows: NDArray[np.int64] | None
) -> Clock:
    """Return the clock of a file that numbers its samples."""
    clock = _from_rate(columns, given, columns.n_rows, counter=True)
    steps = np.diff(values)
    step = float(np.median(steps)) or 1.0
    index = np.rint((values - values[0]) / step).astype(np.int64)
    if np.any(np.diff(index) < 1):
        at = int(np.argmax(np.diff(index) < 1))
        line = columns.line(at + 1 if rows is None else int(rows[at + 1]))
        raise ReadError(
            f"{columns.file}: line {line}: the sample number {values[at + 1]:g} follows"
            f" {values[at]:g}. Correct the file, or"
            f" {write_in_layout('time_column=none')} and give the rate."
        )
    _place(columns, clock, index, rows, values / clock.rate_hz / step)
    if clock.index is None:
        clock.notes.append(
            note("counter_only", "The file numbers its samples; lost samples would not be seen.")
        )
    return clock


def _unwrapped(columns: Columns, values: FloatArray) -> FloatArray:
    """Return clock time as seconds since the first sample, over midnight too."""
    steps = np.diff(values)
    days = np.concatenate([[0.0], np.cumsum(steps < -43_200.0)])
    hours, rest = divmod(values[0], 3600.0)
    columns.notes.append(
        note(
            "clock_time",
            f"Time is clock time from {hours:02.0f}:{rest // 60:02.0f}:{rest % 60:06.3f}; seconds"
            " count from there.",
        )
    )
    return values - values[0] + 86_400.0 * days


def _refuse_restart(
    columns: Columns, roles: Roles, values: FloatArray, rows: NDArray[np.int64] | None
) -> None:
    steps = values[1:] - values[:-1]
    if float(steps.min()) >= 0.0:
        return
    at = int(np.argmin(steps))
    line = columns.line(at + 1 if rows is None else int(rows[at + 1]))
    assert roles.time is not None
    backs = int(np.count_nonzero(steps < 0))
    where = f"line {line}: time ({columns.label(roles.time)}) goes back from {values[at]:.6g} to {values[at + 1]:.6g}"
    if backs <= 20 and abs(values[at + 1] - values[0]) <= 0.05 * abs(values[at] - values[0]):
        raise ReadError(
            f"{columns.file}: {where}: the file holds {backs + 1} recordings. Save each recording"
            " as a file of its own."
        )
    raise ReadError(
        f"{columns.file}: {where} ({backs} times in all). Correct the file, or"
        f" {write_in_layout('time_column=none')} and give the rate."
    )


def _unit(
    columns: Columns, roles: Roles, layout: Layout, values: FloatArray, given: float | None
) -> str:
    """Return the unit of time: stated, written in the header, or the only possible one."""
    assert roles.time is not None
    if roles.time in columns.clock:
        return "s"
    if layout.time_unit:
        return layout.time_unit
    rate = _rough_rate(values, whole=True)
    written = roles.headings[roles.time].unit
    label = columns.label(roles.time)
    if written in TIME_UNITS:
        if not given and not any(
            _SLOWEST_HZ / 4
            <= _rough_rate(values, whole=w) / TIME_UNITS[written]
            <= 10 * _FASTEST_HZ
            for w in (True, False)
        ):
            raise ReadError(
                f"{columns.file}: time ({label}) is said to be in {written}, which makes"
                f" {rate / TIME_UNITS[written]:.4g} Hz. If that is right or wrong, state it:"
                f" {write_in_layout('time_unit=ms')} (or s, us)."
            )
        return written
    possible = _possible_units(rate) or _possible_units(_rough_rate(values, whole=False))
    if given:
        fitting = [u for u in ("s", "ms", "us") if abs(rate / TIME_UNITS[u] / given - 1) < 0.02]
        possible = fitting or possible
    if rate == 1.0 and np.all(values == np.rint(values)):
        if given:
            return "counter"
        raise ReadError(
            f"{columns.file}: {label} rises by exactly 1: milliseconds (1000 Hz) or sample numbers?"
            f" State it: {write_in_layout('time_unit=ms')}; or, for sample numbers,"
            f" {give_rate()}."
        )
    if len(possible) == 1:
        return possible[0]
    rates = ", ".join(f"{u}: {rate / TIME_UNITS[u]:.4g} Hz" for u in ("s", "ms", "us"))
    raise ReadError(
        f"{columns.file}: the unit of time ({label}) is not known ({rates}). State it:"
        f" {write_in_layout('time_unit=s')} (or ms, us)."
    )


def _rough_rate(values: FloatArray, *, whole: bool) -> float:
    """Return samples per unit of time: over the whole column, or from its usual step."""
    if whole:
        span = float(values[-1] - values[0])
        return (values.size - 1) / span if span else 0.0
    usual = float(np.median(np.diff(values)))
    return 1.0 / usual if usual > 0 else 0.0


def _possible_units(rate: float) -> list[str]:
    return [u for u in ("s", "ms", "us") if _SLOWEST_HZ <= rate / TIME_UNITS[u] <= _FASTEST_HZ]


def _note_unit(columns: Columns, roles: Roles, layout: Layout, clock: Clock) -> None:
    assert roles.time is not None
    written = roles.headings[roles.time].unit in TIME_UNITS or roles.time in columns.clock
    if not written and not layout.time_unit:
        clock.notes.append(
            note(
                "time_unit_assumed",
                f"Time has no unit; only {clock.unit} gives a possible rate ({clock.rate_hz:g} Hz).",
            )
        )


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


def _from_time(
    columns: Columns,
    roles: Roles,
    values: FloatArray,
    rows: NDArray[np.int64] | None,
    unit: float,
    given: float | None,
) -> Clock:
    seconds = values * unit if unit != 1.0 else values
    r = resolution(values) * unit
    n = seconds.size
    span = float(seconds[-1] - seconds[0])
    if span <= 0.0:
        raise ReadError(
            f"{columns.file}: time does not advance ({columns.label(roles.time or 0)})."
        )
    low = (n - 1) / (span + r)
    high = (n - 1) / (span - r) if span > r else math.inf
    found = (n - 1) / span
    grid = np.arange(n)
    rate = _round_rate(low, high, found, given)
    if rate is not None:
        off = seconds - seconds[0] - grid / rate
        # Rounding to r scatters the stamps over r at most; a lost sample shifts them by a step.
        most = 1.0001 * r if r * rate > 1.0001 else min(1.0001 * r, 0.9999 / rate)
        if float(off.max() - off.min()) <= max(most, 1e-6 / rate):
            clock = Clock(rate, float(seconds[0]), columns.n_rows)
            _note_rounding(clock, r, low, high)
            _contradicts(columns, given, found if not low <= (given or found) <= high else rate)
            _place(columns, clock, grid, rows, seconds)
            return clock
    return _uneven(columns, seconds, rows, r, given)


def _round_rate(low: float, high: float, found: float, given: float | None) -> float | None:
    """Return the roundest rate inside an interval; None when several are equally round."""
    if given and low * (1 - _AGREE) <= given <= high * (1 + _AGREE):
        return given
    if high - low < 1e-7 * found:
        slack = max(high - low, 1e-10 * found)
        return next((v for d in range(7) if abs((v := round(found, d)) - found) <= slack), found)
    for step in _ROUND_STEPS:
        first, last = math.ceil(low / step - 1e-9), math.floor(high / step + 1e-9)
        if last < first:
            continue
        if first == last:
            return first * step
        return None if high - low > 0.02 * found else found
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


def _contradicts(columns: Columns, given: float | None, found: float) -> None:
    if given and abs(given / found - 1) > _AGREE:
        raise ReadError(
            f"{columns.file}: rate_hz = {given:g} was given, but the time column says {found:.6g}"
            f" Hz. Leave the rate out, or, if the time column is wrong,"
            f" {write_in_layout('time_column=none', f'rate_hz={given:g}')}."
        )


def _uneven(
    columns: Columns,
    seconds: FloatArray,
    rows: NDArray[np.int64] | None,
    r: float,
    given: float | None,
) -> Clock:
    """Return the clock of a time column with holes, repeats or scatter."""
    steps = np.diff(seconds)
    seconds, rows, repeats = _without_repeats(columns, seconds, steps, rows)
    steps = np.diff(seconds)
    positive = steps[steps > 0]
    usual = float(np.median(positive)) if positive.size else 0.0
    zeros = steps.size - positive.size
    if usual <= 0.0 or zeros > 0 or r > 0.6 * usual and positive.min() < 0.75 * usual:
        raise ReadError(
            f"{columns.file}: time is rounded too coarsely (to {r:g} s) to find the rate and the"
            f" lost samples. State it: {write_in_layout('time_column=none', 'rate_hz=1000')}."
        )
    normal = steps < 1.5 * usual
    if float(normal.mean()) < _LEAST_NORMAL:
        raise ReadError(_not_even(columns, steps, usual, rows))
    step = float(steps[normal].mean())
    whole = np.where(normal, 1, np.rint(steps / step)).astype(np.int64)
    index = np.concatenate([[0], np.cumsum(whole)])
    if index[-1] > 4 * seconds.size + 1000:
        at = int(np.argmax(whole))
        line = columns.line(at + 1 if rows is None else int(rows[at + 1]))
        raise ReadError(
            f"{columns.file}: line {line}: time jumps from {seconds[at]:.6g} s to"
            f" {seconds[at + 1]:.6g} s, more than the whole recording. Correct the file, or save"
            " each part as a file of its own."
        )
    found = index[-1] / float(seconds[-1] - seconds[0])
    whole_rate = _round_rate(
        index[-1] / (seconds[-1] - seconds[0] + r),
        index[-1] / (seconds[-1] - seconds[0] - r),
        found,
        given,
    )
    rate = whole_rate or found
    off = np.abs(seconds - seconds[0] - index / rate)
    if float(off.max()) > max(_MOST_JITTER / rate, r):
        raise ReadError(_not_even(columns, steps, usual, rows))
    clock = Clock(rate, float(seconds[0]), columns.n_rows)
    _contradicts(columns, given, rate)
    if repeats:
        clock.notes.append(
            note("repeated_rows", f"{repeats} row(s) that repeat the row before were left out.")
        )
    if float(off.max()) > max(1.01 * r, 0.02 / rate):
        clock.notes.append(
            note(
                "time_jitter",
                f"Time stamps scatter by up to {off.max() * 1e3:.3g} ms around the even clock of"
                f" {rate:g} Hz.",
            )
        )
    _place(columns, clock, index, rows, seconds)
    return clock


def _not_even(
    columns: Columns, steps: FloatArray, usual: float, rows: NDArray[np.int64] | None
) -> str:
    """Return the sentence for time stamps that follow no even clock."""
    at = int(np.argmax(np.abs(steps / usual - np.rint(steps / usual))))
    line = columns.line(at + 1 if rows is None else int(rows[at + 1]))
    even = write_in_layout("time_column=none", f"rate_hz={1 / usual:g}")
    return (
        f"{columns.file}: time is not even: steps run from {steps.min() * 1e3:.4g} to"
        f" {steps.max() * 1e3:.4g} ms (usual {usual * 1e3:.4g} ms), the worst at line {line};"
        f" nothing is resampled. If the samples are even all the same, {even}."
    )


def _without_repeats(
    columns: Columns, seconds: FloatArray, steps: FloatArray, rows: NDArray[np.int64] | None
) -> tuple[FloatArray, NDArray[np.int64] | None, int]:
    """Leave out rows that repeat the row before in every column; stop when only time repeats."""
    same = np.flatnonzero(steps == 0) + 1
    if not same.size or same.size > 0.05 * seconds.size:
        return seconds, rows, 0
    kept = np.arange(seconds.size) if rows is None else rows
    for at in same:
        a, b = int(kept[at - 1]), int(kept[at])
        for values in columns.values:
            if values is not None and not (
                values[a] == values[b] or math.isnan(values[a]) and math.isnan(values[b])
            ):
                raise ReadError(
                    f"{columns.file}: line {columns.line(b)}: the time {seconds[at]:.6g} s stands"
                    f" twice with different values (first in line {columns.line(a)}). Correct the"
                    f" file, or {write_in_layout('time_column=none')} and give the rate."
                )
    return np.delete(seconds, same), np.delete(kept, same), int(same.size)


def _place(
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


def _hold_against_stated(columns: Columns, clock: Clock) -> None:
    """Compare the rate with one written above the data."""
    stated = sorted(set(columns.stated_rates.values()))
    if not stated:
        return
    if any(abs(s / clock.rate_hz - 1) <= _AGREE for s in stated):
        clock.notes.append(
            note("rate_agrees", f"The rate written in the file agrees: {clock.rate_hz:g} Hz.")
        )
    elif len(stated) == 1:
        raise ReadError(
            f"{columns.file}: the file says {stated[0]:g} Hz, its time column {clock.rate_hz:.6g} Hz."
            f" State which: {write_in_layout('time_column=none', f'rate_hz={stated[0]:g}')};"
            f" or, if time is right, correct or delete that line of the file."
        )
