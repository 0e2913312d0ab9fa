"""Which columns hold vertical force."""

from __future__ import annotations

import numpy as np

from cmjlab.checks import listed
from cmjlab.errors import ReadError
from cmjlab.files.columns import Columns
from cmjlab.files.counters import counts
from cmjlab.files.notes import note
from cmjlab.files.plate_names import plate_names
from cmjlab.files.remedies import write_in_layout
from cmjlab.files.roles import Roles, column_of, name_or_number, standing_level
from cmjlab.layout import Layout


def assign_force(columns: Columns, layout: Layout, roles: Roles) -> None:
    """Find the columns of vertical force and their plates, and write them into ``roles``.

    Raises
    ------
    ReadError
        When no column is force, or several may be it, or their plates are not known.
    """
    if layout.force_columns:
        roles.force = [column_of(columns, c, "force_columns") for c in layout.force_columns]
    else:
        roles.force = _force_columns(columns, roles)
    if not layout.plates:
        roles.plates = plate_names(columns, roles)
    elif len(layout.plates) == len(roles.force):
        roles.plates = list(layout.plates)
    else:
        names = listed([columns.label(i) for i in roles.force])
        plates = [f"plate_{k + 1}" for k in range(len(roles.force))]
        raise ReadError(
            f"{columns.file}: plates: {len(layout.plates)} names for {len(roles.force)} force"
            f" column(s) ({names}). Name one plate for each, in this order:"
            f" {write_in_layout({'plates': plates})}; or left, right, total."
        )
    used = {*roles.force, roles.time, roles.part}
    unused = [i for i in range(len(columns.names)) if i not in used]
    shown = [i for i in unused if columns.names[i] or columns.values[i] is not None]
    if shown:
        names = listed([columns.label(i) for i in shown])
        roles.notes.append(note("columns_not_used", f"Columns not used: {names}."))


def _force_columns(columns: Columns, roles: Roles) -> list[int]:
    heads = roles.headings
    numeric = [i for i in columns.numeric() if i not in (roles.time, roles.part, *columns.clock)]
    numeric = [i for i in numeric if heads[i].quantity not in ("time", "sample", "other")]
    named = _named_force(roles, numeric)
    if not named:
        numeric = [i for i in numeric if not counts(columns.values[i])]  # type: ignore[arg-type]
        if not numeric:
            raise ReadError(
                f"{columns.file}: no column of force was found; the columns are:"
                f" {listed([columns.label(i) for i in range(len(columns.names))])}. Export the"
                " file with its vertical force; or, if one of these columns is the vertical force"
                " under an unusual name, state its name or number as force_columns under"
                " [[layout]] in study.toml."
            )
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


def _named_force(roles: Roles, numeric: list[int]) -> list[int]:
    """Return the columns that are called force, or by a side when the side has no force yet."""
    heads = roles.headings
    force = [i for i in numeric if heads[i].quantity == "force"]
    sides = {heads[i].side for i in force} - {""}
    return [i for i in numeric if i in force or (heads[i].side and heads[i].side not in sides)]


def _note_assumed(columns: Columns, roles: Roles, at: int) -> None:
    what = f"column {columns.names[at]!r}" if columns.names[at] else "the only column of numbers"
    if columns.names[at] or len(columns.names) > 1:
        roles.notes.append(
            note("force_column_assumed", f"Vertical force: {what}, the only one it can be.")
        )


def _which_column(columns: Columns, possible: list[int]) -> str:
    level = {i: standing_level(columns.values[i]) for i in possible}  # type: ignore[arg-type]
    seen = [f"{columns.label(i)} (standing level {level[i]:.4g})" for i in possible]
    likely = max(possible, key=lambda i: abs(level[i]))
    example = write_in_layout({"force_columns": [name_or_number(columns, likely)]})
    return (
        f"{columns.file}: which column is the vertical force? Possible are {listed(seen)}."
        f" State it: {example}; for two plates name both and add the line"
        ' plates = ["left", "right"].'
    )


def _vertical_component(columns: Columns, roles: Roles, components: list[int]) -> list[int]:
    """Choose the vertical among x, y and z: it alone carries a person standing still.

    On a plate that was zeroed with the athlete on it none does; then it alone swings far.
    """
    level, swing = _by_axis(columns, roles, components)
    present = [a for a in ("z", "y", "x") if a in level]
    best = max(present, key=lambda a: level[a])
    sure = _stands_out(level, best)
    if not sure:
        best = max(present, key=lambda a: swing[a])
        sure = _stands_out(swing, best) or level[best] == max(level.values()) == 0.0
        sure = sure or (best == "z" and level[best] == max(level.values()))
    chosen = [i for i in components if roles.headings[i].axis == best]
    if not sure:
        found = ", ".join(f"{a}: {level[a]:.4g}" for a in sorted(present))
        names = [name_or_number(columns, i) for i in chosen]
        raise ReadError(
            f"{columns.file}: which axis is vertical? Standing levels are {found}. State the"
            f" columns, one of each plate: {write_in_layout({'force_columns': names})}."
        )
    if best != "z":
        others = ", ".join(f"{a} {level[a]:.4g}" for a in sorted(present) if a != best)
        roles.notes.append(
            note(
                "vertical_axis",
                f"Axis {best} was taken as vertical: it carries {level[best]:.4g} in standing"
                + (f", {others}." if others else ", and it is the only one."),
            )
        )
    return chosen


def _by_axis(
    columns: Columns, roles: Roles, components: list[int]
) -> tuple[dict[str, float], dict[str, float]]:
    """Return per axis, plates summed, how much it carries in standing and how far it swings."""
    level: dict[str, float] = {}
    swing: dict[str, float] = {}
    for i in components:
        axis, values = roles.headings[i].axis, columns.values[i]
        assert values is not None
        known = values[np.isfinite(values)]
        level[axis] = level.get(axis, 0.0) + abs(standing_level(values))
        swing[axis] = swing.get(axis, 0.0) + (float(np.ptp(known)) if known.size else 0.0)
    return level, swing


def _stands_out(size: dict[str, float], axis: str) -> bool:
    """Return whether one axis has at least three times as much of something as every other."""
    return size[axis] > 0.0 and all(
        size[axis] >= 3.0 * other for a, other in size.items() if a != axis
    )


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
                f" plates? State one: {write_in_layout({'force_columns': [str(a + 1)]})}; or both."
            )
    changed = [i for i in named if heads[i].changed]
    if changed and len(changed) < len(named):
        raise ReadError(_which_column(columns, named))
    return named
