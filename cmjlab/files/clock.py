"""The uniform clock of a recording: rate, first time, and which samples are lost.

Nothing is resampled. A time column is held against an even grid: lost samples leave a hole
(nan), a rounded column gives the one whole rate that fits it, and anything else stops.
"""

from __future__ import annotations

import math
import re

import numpy as np
from numpy.typing import NDArray

from cmjlab.errors import ReadError
from cmjlab.files.columns import Columns, FloatArray
from cmjlab.files.counters import Counter, sample_numbers
from cmjlab.files.even_grid import AGREE, Clock, Stamps, clock_of, place, resolution
from cmjlab.files.notes import note
from cmjlab.files.remedies import give_rate, without_time, write_in_layout
from cmjlab.files.roles import Roles
from cmjlab.layout import Layout
from cmjlab.units import TIME_UNITS

#: Words that leave no doubt that a written rate is the one of the samples.
_SAMPLING = re.compile(r"sampl|abtast|acqui|scan|échant|echant|muestr|campion|amostr", re.I)
#: Rates a force plate is sampled with; outside, the unit of time is doubted (common practice).
_SLOWEST_HZ, _FASTEST_HZ = 40.0, 20_000.0


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
    values = sample_numbers(columns, Counter(roles.time, roles.part))
    assert values is not None
    rows = None
    if not math.isfinite(float(values.sum())):
        rows = np.flatnonzero(np.isfinite(values))
        values = values[rows]
    if values.size < 2:
        raise ReadError(f"{columns.file}: the time column holds {values.size} numbers.")
    if roles.time in columns.clock:
        values = _unwrapped(columns, values)
    _refuse_restart(columns, roles, layout, values, rows, given)
    if roles.is_counter:
        return _from_counter(columns, given, values, rows)
    unit = _unit(columns, roles, layout, values, given)
    if unit == "counter":
        return _from_counter(columns, given, values, rows)
    factor = TIME_UNITS[unit]
    seconds = values if factor == 1.0 else values * factor
    clock = clock_of(Stamps(columns, roles.time, seconds, rows, resolution(values) * factor, given))
    clock.unit = unit
    if roles.time in columns.clock:
        clock.start_s = 0.0
    _hold_against_stated(columns, clock)
    _note_unit(columns, roles, layout, clock)
    return clock


def _from_rate(columns: Columns, given: float | None, n: int, *, counter: bool = False) -> Clock:
    """Return the clock of a file without time."""
    stated = sorted(set(columns.stated_rates.values()) or {columns.rate_hz} - {0.0})
    if columns.rate_hz and (not given or abs(columns.rate_hz / given - 1) <= AGREE):
        return Clock(columns.rate_hz, columns.start_s, n)
    if given:
        code, text = "rate_given", f"Rate {given:g} Hz as given; the file holds no time."
        if stated and all(abs(s / given - 1) > AGREE for s in stated):
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
            f" Choose one and {give_rate(stated[-1])}."
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
            f" {values[at]:g}. Correct the file, or {without_time(clock.rate_hz)}."
        )
    place(columns, clock, index, rows, values / clock.rate_hz / step)
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
    columns: Columns,
    roles: Roles,
    layout: Layout,
    values: FloatArray,
    rows: NDArray[np.int64] | None,
    given: float | None,
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
        f"{columns.file}: {where} ({backs} times in all). Correct the file, or, if its rows are"
        f" even samples, {without_time(given or _likely_rate(columns, roles, layout, values))}."
    )


def _likely_rate(columns: Columns, roles: Roles, layout: Layout, values: FloatArray) -> float:
    """Return the rate to propose for a time column that cannot be used: from its usual step."""
    assert roles.time is not None
    stated = sorted(set(columns.stated_rates.values()))
    if stated or roles.is_counter:
        return stated[-1] if stated else 1000.0
    rate = _rough_rate(values, whole=False)
    unit = layout.time_unit or roles.headings[roles.time].unit
    units = [unit] if unit in TIME_UNITS else _possible_units(rate)
    return rate / TIME_UNITS[units[0]] if units and rate else 1000.0


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
            likely = next(iter(_possible_units(rate)), "ms")
            raise ReadError(
                f"{columns.file}: time ({label}) is said to be in {written}, which makes"
                f" {rate / TIME_UNITS[written]:.4g} Hz. If that is right or wrong, state it:"
                f" {write_in_layout({'time_unit': likely})} (s, ms, us or min)."
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
            f" State it: {write_in_layout({'time_unit': 'ms'})}; or, for sample numbers,"
            f" {give_rate()}."
        )
    if len(possible) == 1:
        return possible[0]
    rates = ", ".join(f"{u}: {rate / TIME_UNITS[u]:.4g} Hz" for u in ("s", "ms", "us"))
    raise ReadError(
        f"{columns.file}: the unit of time ({label}) is not known ({rates}). State it:"
        f" {write_in_layout({'time_unit': next(iter(possible), 's')})} (s, ms, us or min)."
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


def _hold_against_stated(columns: Columns, clock: Clock) -> None:
    """Compare the rate with one written above the data."""
    stated = sorted(set(columns.stated_rates.values()))
    if not stated:
        return
    if any(abs(s / clock.rate_hz - 1) <= AGREE for s in stated):
        clock.notes.append(
            note("rate_agrees", f"The rate written in the file agrees: {clock.rate_hz:g} Hz.")
        )
    elif len(stated) == 1 and _SAMPLING.search(next(iter(columns.stated_rates))):
        raise ReadError(
            f"{columns.file}: the file says {stated[0]:g} Hz, its time column {clock.rate_hz:.6g} Hz."
            f" State which: {without_time(stated[0])}; or, if time is right, correct or delete that"
            " line of the file."
        )
