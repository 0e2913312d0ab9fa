"""Which column is time, which hold vertical force, and which plate each belongs to."""

from __future__ import annotations

import math
from dataclasses import dataclass, field

import numpy as np

from cmjlab.checks import listed
from cmjlab.errors import ReadError
from cmjlab.files.columns import Columns, FloatArray
from cmjlab.files.headings import Heading, is_time_unit, read_heading
from cmjlab.files.notes import note, write_in_layout
from cmjlab.layout import Layout
from cmjlab.recording import ReadingNote


@dataclass
class Roles:
    """Columns by role: time, force (with plate names), and those that are not used.

    ``time`` is None when the file has no time; ``is_counter``: it counts samples.
    """

    headings: list[Heading]
    time: int | None = None
    is_counter: bool = False
    force: list[int] = field(default_factory=list)
    plates: list[str] = field(default_factory=list)
    notes: list[ReadingNote] = field(default_factory=list)


def standing_level(values: FloatArray) -> float:
    """Return the typical loaded value of a signal, with its sign; 0 when there is none.

    The median of the samples above a tenth of the 95th percentile of the absolute value:
    empty-plate and flight samples do not count, landing peaks hardly do.
    """
    probe = values[:: max(1, len(values) // 600)]
    size = np.abs(probe)
    if not math.isfinite(float(size.sum())):
        probe = probe[np.isfinite(probe)]
        size = np.abs(probe)
    if not size.size:
        return 0.0
    at = (19 * size.size) // 20
    high = float(np.partition(size, at)[at])
    if high <= 0.0:
        return 0.0
    loaded = probe[size > 0.1 * high]
    return float(np.partition(loaded, loaded.size // 2)[loaded.size // 2])


def assign_time(columns: Columns, layout: Layout, roles: Roles) -> None:
    """Find the time column and write it into ``roles``."""
    stated = layout.time_column
    if stated == "none":
        return
    if stated:
        roles.time = column_of(columns, stated, "time_column")
        heading = roles.headings[roles.time]
        roles.is_counter = heading.quantity == "sample" and not layout.time_unit
        return
    forces = {column_of(columns, c, "force_columns") for c in layout.force_columns}
    numeric = [i for i in columns.numeric() if i not in forces]
    times = [i for i in numeric if roles.headings[i].quantity == "time" or i in columns.clock]
    if len(times) > 1:
        with_unit = [i for i in times if is_time_unit(roles.headings[i].unit)]
        rising = [i for i in with_unit or times if _rises(columns.values[i])]
        times = rising if len(rising) == 1 else times
    if len(times) > 1:
        names = listed([columns.label(i) for i in times])
        raise ReadError(
            f"{columns.file}: {len(times)} columns look like time: {names}. State which:"
            f" {write_in_layout(f'time_column={_written(columns, times[0])}')}."
        )
    if times:
        roles.time = times[0]
        return
    counters = [i for i in numeric if roles.headings[i].quantity == "sample"]
    counters = [i for i in counters if _rises(columns.values[i])]
    if counters:
        roles.time, roles.is_counter = counters[0], True
        return
    _unnamed_time(columns, roles, numeric)


def _unnamed_time(columns: Columns, roles: Roles, numeric: list[int]) -> None:
    """Take a first column without a name as time when it rises in even steps."""
    if len(numeric) < 2 or numeric[0] != 0 or roles.headings[0].quantity not in ("", "time"):
        return
    if columns.names[0] and any(columns.names):
        return
    values = columns.values[0]
    if values is None or not _rises(values):
        return
    steps = np.diff(values[np.isfinite(values)])
    middle = float(np.median(steps))
    if middle > 0 and np.mean(np.abs(steps - middle) < 0.5 * middle) > 0.9:
        roles.time = 0
        roles.is_counter = bool(np.all(steps == np.rint(steps)) and middle == 1.0)


def _rises(values: FloatArray | None) -> bool:
    if values is None:
        return False
    steps = np.diff(values[np.isfinite(values)])
    return steps.size > 0 and float(np.mean(steps >= 0)) > 0.99 and bool(values[-1] != values[0])


def column_of(columns: Columns, stated: str, setting: str) -> int:
    """Return the column a layout names, by name or by number from 1."""
    stated = str(stated)
    exact = [i for i, n in enumerate(columns.names) if n == stated]
    loose = exact or [
        i
        for i, n in enumerate(columns.names)
        if n.strip().casefold() == stated.strip().casefold()
        or f"{columns.groups[i]} {n}".strip().casefold() == stated.strip().casefold()
    ]
    if not loose and stated.strip().isdigit() and 0 < int(stated) <= len(columns.names):
        loose = [int(stated) - 1]
    if len(loose) == 1:
        if columns.values[loose[0]] is None:
            raise ReadError(f"{columns.file}: {setting}: column {stated!r} holds no numbers.")
        return loose[0]
    names = listed([n or str(i + 1) for i, n in enumerate(columns.names)], most=12)
    if len(loose) > 1:
        numbers = ", ".join(str(i + 1) for i in loose)
        raise ReadError(
            f"{columns.file}: {setting}: {stated!r} is the name of columns {numbers}."
            " State the number of the column instead of its name."
        )
    raise ReadError(
        f"{columns.file}: {setting}: there is no column {stated!r}; the columns are: {names}."
        " State a name or a number from 1."
    )


def assign_force(columns: Columns, layout: Layout, roles: Roles) -> None:
    """Find the columns of vertical force and their plates, and write them into ``roles``."""
    if layout.force_columns:
        roles.force = [column_of(columns, c, "force_columns") for c in layout.force_columns]
    else:
        roles.force = _force_columns(columns, roles)
    if layout.plates:
        if len(layout.plates) != len(roles.force):
            names = listed([columns.label(i) for i in roles.force])
            raise ReadError(
                f"{columns.file}: plates: {len(layout.plates)} names for {len(roles.force)} force"
                f" columns ({names}). Name one plate for each, in this order."
            )
        roles.plates = list(layout.plates)
    else:
        roles.plates = _plate_names(columns, roles)
    used = {*roles.force, roles.time}
    unused = [columns.label(i) for i in range(len(columns.names)) if i not in used]
    unused = [u for u, i in zip(unused, (i for i in range(len(columns.names)) if i not in used), strict=True)
              if columns.names[i] or columns.values[i] is not None]  # fmt: skip
    if unused:
        roles.notes.append(note("columns_not_used", f"Columns not used: {listed(unused)}."))


def _force_columns(columns: Columns, roles: Roles) -> list[int]:
    numeric = [i for i in columns.numeric() if i != roles.time and i not in columns.clock]
    heads = roles.headings
    numeric = [i for i in numeric if heads[i].quantity not in ("time", "sample", "other")]
    if not numeric:
        raise ReadError(
            f"{columns.file}: no column of force was found; the columns are:"
            f" {listed([columns.label(i) for i in range(len(columns.names))])}. State it:"
            f" {write_in_layout('force_columns=[2]')} (names or numbers from 1)."
        )
    named = [i for i in numeric if heads[i].quantity == "force" or heads[i].side]
    if not named:
        if len(numeric) == 1:
            _note_assumed(columns, roles, numeric[0])
            return numeric
        raise ReadError(_which_column(columns, numeric))
    components = [i for i in named if heads[i].axis in ("x", "y", "z")]
    if any(heads[i].axis in ("x", "y") for i in components):
        chosen = _vertical_component(columns, roles, components)
        rest = [i for i in named if heads[i].axis in ("", "v")]
        named = sorted(
            chosen + [i for i in rest if heads[i].side == "total" or heads[i].axis == "v"]
        )
    return _without_doubles(columns, roles, named)


def _note_assumed(columns: Columns, roles: Roles, at: int) -> None:
    what = f"column {columns.names[at]!r}" if columns.names[at] else "the only column of numbers"
    if columns.names[at] or len(columns.names) > 1:
        roles.notes.append(
            note("force_column_assumed", f"Vertical force: {what}, the only one it can be.")
        )


def _which_column(columns: Columns, numeric: list[int]) -> str:
    seen = [
        f"{columns.label(i)} (standing level {standing_level(columns.values[i]):.4g})"  # type: ignore[arg-type]
        for i in numeric
    ]
    example = _written(columns, numeric[0])
    return (
        f"{columns.file}: which column is the vertical force? Possible are {listed(seen)}."
        f" State it: {write_in_layout(f'force_columns=[{example}]')}; for two plates name"
        ' both and add plates = ["left", "right"].'
    )


def _written(columns: Columns, at: int) -> str:
    name = columns.names[at]
    usable = name and columns.names.count(name) == 1 and not set(name) & set(',"\\[]')
    return name if usable else str(at + 1)


def _vertical_component(columns: Columns, roles: Roles, components: list[int]) -> list[int]:
    """Choose the vertical among x, y and z: it alone carries a person standing still."""
    level = {"x": 0.0, "y": 0.0, "z": 0.0}
    for i in components:
        values = columns.values[i]
        if values is not None:
            level[roles.headings[i].axis] += abs(standing_level(values))
    order = sorted(level, key=lambda a: -level[a])
    best, second = order[0], order[1]
    present = {roles.headings[i].axis for i in components}
    if level[best] < 3.0 * level[second] and not (best == "z" or level[best] == 0.0):
        found = ", ".join(f"{a}: {level[a]:.4g}" for a in sorted(present))
        raise ReadError(
            f"{columns.file}: which axis is vertical? Standing levels are {found}. State the"
            f" columns: {write_in_layout('force_columns=[Fz]')}."
        )
    best = "z" if level[best] == 0.0 and "z" in present else best
    chosen = [i for i in components if roles.headings[i].axis == best]
    if best != "z":
        roles.notes.append(
            note(
                "vertical_axis",
                f"Axis {best} was taken as vertical: it carries {level[best]:.4g} in standing,"
                f" z only {level['z']:.4g}.",
            )
        )
    return chosen


def _without_doubles(columns: Columns, roles: Roles, named: list[int]) -> list[int]:
    """Stop when a column is a copy or a filtered version of another, and nothing tells plates."""
    heads = roles.headings
    for k, a in enumerate(named):
        for b in named[k + 1 :]:
            first, second = columns.values[a], columns.values[b]
            if first is None or second is None or first[0] != second[0] or not np.any(first):
                continue
            if not np.array_equal(first, second, equal_nan=True):
                continue
            if (heads[a].side, heads[a].plate) != (heads[b].side, heads[b].plate):
                text = f"{columns.label(a)} and {columns.label(b)} hold exactly the same values."
                roles.notes.append(note("identical_plates", text))
                continue
            raise ReadError(
                f"{columns.file}: columns {columns.label(a)} and {columns.label(b)} (numbers"
                f" {a + 1} and {b + 1}) hold the same values: one plate written twice, or two"
                f" plates? State one: {write_in_layout(f'force_columns=[{a + 1}]')}; or both."
            )
    changed = [i for i in named if heads[i].changed]
    if changed and len(changed) < len(named):
        raise ReadError(_which_column(columns, named))
    return named


def _plate_names(columns: Columns, roles: Roles) -> list[str]:
    heads = [roles.headings[i] for i in roles.force]
    if len(heads) == 1:
        return [heads[0].side or "total"]
    names = [h.side or (f"plate_{h.plate}" if h.plate else "") for h in heads]
    if len(set(names)) == len(names) and all(names):
        return names
    numbers = [h.plate for h in heads]
    sided = all(h.side in ("left", "right") for h in heads)
    if sided and all(numbers) and len(set(numbers)) == len(numbers):
        return [f"plate_{n}" for n in numbers]
    missing = [i for i, n in enumerate(names) if not n]
    one_left = len(missing) == 1 and len(names) >= 3 and len(set(names)) == len(names)
    if one_left and _is_sum(columns, roles, missing[0]):
        names[missing[0]] = "total"
        roles.notes.append(
            note(
                "total_column",
                f"Column {columns.label(roles.force[missing[0]])} equals the sum of the others and"
                " was taken as the total.",
            )
        )
        return names
    if not any(h.side for h in heads):
        bases = {_base(columns, i) for i in roles.force}
        if len(bases) == 1:
            return _numbered(columns, roles)
    raise ReadError(
        f"{columns.file}: which plate does each column belong to? Found"
        f" {listed([columns.label(i) for i in roles.force])}. State it: "
        + write_in_layout(
            "force_columns=[" + ",".join(str(i + 1) for i in roles.force) + "]",
            "plates=[" + ",".join(n or "?" for n in names) + "]",
        )
        + " with names total, left, right, plate_1, plate_2, …"
    )


def _base(columns: Columns, at: int) -> str:
    """Return the name of a column without its numbers: alike for plates of one kind."""
    name = f"{columns.groups[at]} {columns.names[at]}".casefold()
    return " ".join("".join(" " if c.isdigit() else c for c in name).split())


def _numbered(columns: Columns, roles: Roles) -> list[str]:
    names = [f"plate_{k + 1}" for k in range(len(roles.force))]
    roles.notes.append(
        note(
            "plates_by_order",
            "Plates were numbered in the order of their columns: "
            + ", ".join(
                f"{columns.label(i)} → {n}" for i, n in zip(roles.force, names, strict=True)
            )
            + ".",
        )
    )
    return names


def _is_sum(columns: Columns, roles: Roles, at: int) -> bool:
    total = columns.values[roles.force[at]]
    parts = [columns.values[i] for k, i in enumerate(roles.force) if k != at]
    if total is None or any(p is None for p in parts):
        return False
    gap = np.abs(total - np.sum(np.vstack(parts), axis=0))  # type: ignore[arg-type]
    return float(np.nanquantile(gap, 0.99)) < 0.02 * max(abs(standing_level(total)), 1e-9)


def read_headings(columns: Columns) -> Roles:
    """Return roles with the headings read and nothing assigned yet."""
    return Roles(
        [
            read_heading(n, g, u)
            for n, g, u in zip(columns.names, columns.groups, columns.units, strict=True)
        ]
    )
