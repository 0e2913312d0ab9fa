"""Force in newtons, push positive: units, sign, plates."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from cmjlab.checks import listed
from cmjlab.errors import ReadError
from cmjlab.files.columns import BadCell, Columns, FloatArray
from cmjlab.files.notes import note
from cmjlab.files.remedies import write_in_layout
from cmjlab.files.roles import Roles, standing_level
from cmjlab.files.zeroed import Zeroed, note_zeroed, zeroed_with_athlete
from cmjlab.layout import Layout
from cmjlab.recording import ReadingNote
from cmjlab.units import FORCE_UNITS, STANDARD_GRAVITY

#: Standing force of a person that needs no question, newtons (31 to 255 kg).
_USUAL_N = (300.0, 2500.0)
#: A person of 75 kg: of several possible units the one nearest to this is proposed.
_MIDDLE_N = 735.0
#: Outside this range a unit written in a text file is not believed without a person's word.
_BELIEVED_N = (50.0, 5000.0)
#: A column with more cells without a number than this share is not used.
_MOST_BAD = 0.2


def force_matrix(
    columns: Columns, roles: Roles, layout: Layout
) -> tuple[FloatArray, list[ReadingNote]]:
    """Return force in newtons, shape (rows, plates), and notes.

    Raises
    ------
    ReadError
        When the unit is not known, or values and unit contradict each other.
    """
    notes: list[ReadingNote] = []
    _note_bad_cells(columns, roles, notes)
    raw = np.empty((columns.n_rows, len(roles.force)), order="F")
    for k, i in enumerate(roles.force):
        raw[:, k] = columns.values[i]
    if not math.isfinite(float(raw.sum())):
        raw[~np.isfinite(raw)] = np.nan
    zeroed = _zeroed_plates(columns, roles)
    levels = _levels(roles, raw, zeroed)
    factors = _factors(columns, roles, layout, levels.total, notes)
    if any(f != 1.0 for f in factors):
        raw *= np.array(factors)
        zeroed = {k: z.times(factors[k]) for k, z in zeroed.items()}
        levels = _levels(roles, raw, zeroed)
    _apply_sign(columns, roles, layout, raw, levels.plates, notes)
    _note_zeroed(columns, roles, raw, zeroed, notes)
    _question_level(columns, layout, levels.total, factors[0], notes)
    _compare_total(roles, raw, notes)
    return raw, notes


def _note_bad_cells(columns: Columns, roles: Roles, notes: list[ReadingNote]) -> None:
    used = [*roles.force] + ([] if roles.time is None else [roles.time])
    for i in used:
        bad: list[BadCell] = columns.bad.get(i, [])
        if len(bad) > _MOST_BAD * columns.n_rows:
            raise ReadError(
                f"{columns.file}: column {columns.label(i)}: {len(bad)} of {columns.n_rows} cells hold"
                f" no number, the first in line {bad[0].line}: {bad[0].text!r}. Export it again."
            )
        if bad:
            cells = [
                f"line {b.line} {b.text.strip()!r}" if b.text.strip() else f"line {b.line} empty"
                for b in bad
            ]
            notes.append(
                note(
                    "bad_cells",
                    f"Column {columns.label(i)}: {len(bad)} cell(s) without a number are nan:"
                    f" {listed(cells, most=10)}.",
                )
            )


@dataclass(frozen=True)
class _Levels:
    """What standing adds: on every plate with its sign, and on all together without sign."""

    plates: list[float]
    total: float


def _zeroed_plates(columns: Columns, roles: Roles) -> dict[int, Zeroed]:
    """Return the levels of the plates that were zeroed with the athlete on them."""
    found = {k: zeroed_with_athlete(columns.values[i]) for k, i in enumerate(roles.force)}  # type: ignore[arg-type]
    return {k: levels for k, levels in found.items() if levels is not None}


def _levels(roles: Roles, raw: FloatArray, zeroed: dict[int, Zeroed]) -> _Levels:
    probe = np.ascontiguousarray(raw[:: max(1, raw.shape[0] // 600)].T)
    plates = [zeroed[k].weight if k in zeroed else standing_level(p) for k, p in enumerate(probe)]
    if "total" in roles.plates:
        return _Levels(plates, abs(plates[roles.plates.index("total")]))
    if len(plates) == 1 or zeroed:
        return _Levels(plates, sum(map(abs, plates)))
    return _Levels(plates, abs(standing_level(np.abs(probe).sum(axis=0))))


def _factors(
    columns: Columns, roles: Roles, layout: Layout, level: float, notes: list[ReadingNote]
) -> list[float]:
    """Return newtons per unit for each column."""
    written = [roles.headings[i].unit for i in roles.force]
    if layout.newton_per_unit:
        unit = layout.force_unit or written[0] or "unit"
        notes.append(note("scale_given", f"1 {unit} = {layout.newton_per_unit:g} N, as given."))
        return [layout.newton_per_unit] * len(written)
    units = [layout.force_unit] * len(written) if layout.force_unit else written
    if any(units) and not all(units):
        known = sorted({u for u in units if u})
        units = [u or (known[0] if len(known) == 1 else "") for u in units]
    if not all(units):
        _assume_newton(columns, roles, level, notes)
        return [1.0] * len(units)
    for i, unit in zip(roles.force, units, strict=True):
        if unit not in FORCE_UNITS:
            what = f"in {unit}" if unit != "other" else "in a unit that is none of force"
            raise ReadError(
                f"{columns.file}: column {columns.label(i)} is {what}; the newtons of one unit are"
                f" not known. State them: {write_in_layout({'newton_per_unit': 500})} (500: your"
                " plate's calibration)."
            )
    changed = sorted({u for u in units if u != "N"})
    if changed:
        parts = [f"1 {u} = {FORCE_UNITS[u]:g} N" for u in changed]
        source = "as the layout says" if layout.force_unit else "as the header says"
        notes.append(note("unit_converted", f"Converted to newtons, {source}: {', '.join(parts)}."))
    return [FORCE_UNITS[u] for u in units]


def _assume_newton(columns: Columns, roles: Roles, level: float, notes: list[ReadingNote]) -> None:
    if _is_usual(level):
        notes.append(
            note(
                "unit_assumed",
                f"The unit of force is not written; newtons taken, since standing is {level:.0f}"
                f" ({level / STANDARD_GRAVITY:.1f} kg).",
            )
        )
        return
    names = listed([columns.label(i) for i in roles.force])
    if level == 0.0:
        raise ReadError(f"{columns.file}: {names} is zero throughout; nobody stood on the plate.")
    masses = ", ".join(
        f"{u} ({level * f / STANDARD_GRAVITY:.3g} kg)" for u, f in FORCE_UNITS.items()
    )
    raise ReadError(
        f"{columns.file}: the unit of force is not written. Standing is {level:.4g}; the person would"
        f" weigh, by unit: {masses}. State it: {_likely_scale(level)}."
    )


def _likely_scale(level: float) -> str:
    """Return what to write about the unit of a standing level: the unit that makes it a person."""
    likely = {u: level * f for u, f in FORCE_UNITS.items() if _is_usual(level * f)}
    volts = write_in_layout({"force_unit": "V", "newton_per_unit": 500})
    if not likely:
        return f"for volts {volts} (500: your plate's calibration); for counts likewise"
    usual = min(likely, key=lambda u: abs(math.log(likely[u] / _MIDDLE_N)))
    return (
        f"{write_in_layout({'force_unit': usual})} (N, kN, kgf, lbf); for volts {volts}"
        " (500: your plate's calibration)"
    )


def _is_usual(newtons: float) -> bool:
    return _USUAL_N[0] <= newtons <= _USUAL_N[1]


def _apply_sign(
    columns: Columns,
    roles: Roles,
    layout: Layout,
    raw: FloatArray,
    levels: list[float],
    notes: list[ReadingNote],
) -> None:
    if layout.sign == 1:
        return
    if layout.sign == -1:
        np.negative(raw, out=raw)
        return
    largest = max(map(abs, levels), default=0.0)
    loaded = [k for k, level in enumerate(levels) if abs(level) > 0.05 * largest]
    flipped = [k for k in loaded if levels[k] < 0]
    if not flipped:
        return
    if len(flipped) == len(loaded):
        flipped = list(range(raw.shape[1]))
    raw[:, flipped] *= -1.0
    raw += 0.0
    names = listed([columns.label(roles.force[k]) for k in flipped])
    notes.append(
        note(
            "sign_reversed",
            f"Standing is negative in {names}; the sign was reversed, so that pushing down on the"
            " plate is positive.",
        )
    )


def _note_zeroed(
    columns: Columns,
    roles: Roles,
    raw: FloatArray,
    zeroed: dict[int, Zeroed],
    notes: list[ReadingNote],
) -> None:
    """Note plates that were zeroed under load, with their levels as they are read."""
    if not zeroed:
        return
    places = list(zeroed)
    total = roles.plates.index("total") if "total" in roles.plates else -1
    if total in places:
        places = [total]
    found = [z for k in places if (z := zeroed_with_athlete(raw[:, k])) is not None]
    every = total in places or len(places) == raw.shape[1]
    what = "" if every else f" {listed([columns.label(roles.force[k]) for k in places])}"
    notes.append(note_zeroed(what, sum(z.standing for z in found), sum(z.flight for z in found)))


def _question_level(
    columns: Columns, layout: Layout, level: float, factor: float, notes: list[ReadingNote]
) -> None:
    if _is_usual(level):
        return
    kg = level / STANDARD_GRAVITY
    unit = next((u for u, f in FORCE_UNITS.items() if f == factor), "N")
    confirmed = bool(layout.force_unit or layout.newton_per_unit or columns.trust_units)
    if not confirmed and not _BELIEVED_N[0] <= level <= _BELIEVED_N[1]:
        raise ReadError(
            f"{columns.file}: standing would be {level:.4g} N ({kg:.3g} kg), which is no person."
            " The unit in the header or the decimal mark is wrong. State the right unit:"
            f" {_likely_scale(level / factor)}. If the unit in the header is right,"
            f" {write_in_layout({'force_unit': unit})}."
        )
    notes.append(
        note(
            "force_level",
            f"The loaded force is {level:.0f} N ({kg:.1f} kg), unusual for a person standing: check"
            " unit, scale and columns.",
        )
    )


def _compare_total(roles: Roles, raw: FloatArray, notes: list[ReadingNote]) -> None:
    if "total" not in roles.plates or raw.shape[1] < 2:
        return
    at = roles.plates.index("total")
    parts = [k for k in range(raw.shape[1]) if k != at]
    gap = raw[:, at] - raw[:, parts].sum(axis=1)
    if not np.isfinite(gap).any():
        return
    worst = float(np.nanmax(np.abs(gap)))
    if worst > 2.0:
        notes.append(
            note(
                "total_minus_sum",
                f"The total differs from the sum of the plates by up to {worst:.1f} N (on average"
                f" {np.nanmean(gap):.1f} N); the total of the file is used.",
            )
        )


def join_plates(
    name: str, force: FloatArray, plates: list[str], layout: Layout, notes: list[ReadingNote]
) -> tuple[FloatArray, list[str]]:
    """Add plates up as left and right, when the layout says which stands under which foot."""
    if not layout.left and not layout.right:
        return force, plates
    joined: dict[str, FloatArray] = {}
    used: list[int] = []
    for side, numbers in (("left", layout.left), ("right", layout.right)):
        columns = []
        for number in numbers:
            wanted = f"plate_{number}"
            if wanted not in plates:
                raise ReadError(
                    f"{name}: {side}: there is no plate {number}; the plates are {', '.join(plates)}."
                )
            columns.append(plates.index(wanted))
        if columns:
            joined[side] = force[:, columns].sum(axis=1)
            used += columns
    if len(set(used)) != len(used):
        raise ReadError(f"{name}: left and right: one plate is named twice; name each plate once.")
    for k, plate in enumerate(plates):
        if k not in used:
            joined[plate] = force[:, k]
    notes.append(
        note(
            "plates_joined",
            f"Left is plate {_numbers(layout.left)}, right is plate {_numbers(layout.right)}.",
        )
    )
    return np.column_stack(list(joined.values())), list(joined)


def _numbers(numbers: tuple[int, ...]) -> str:
    return " + ".join(map(str, numbers)) or "none"
