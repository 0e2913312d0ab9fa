"""Which plate each column of vertical force belongs to."""

from __future__ import annotations

import numpy as np

from cmjlab.checks import listed
from cmjlab.errors import ReadError
from cmjlab.files.columns import Columns
from cmjlab.files.notes import note
from cmjlab.files.remedies import write_in_layout
from cmjlab.files.roles import Roles, name_or_number, standing_level


def plate_names(columns: Columns, roles: Roles) -> list[str]:
    """Return a name per force column: its side, its number, or the order of the columns.

    Raises
    ------
    ReadError
        When the names of the columns leave open which plate each belongs to.
    """
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
    places = {
        "force_columns": [name_or_number(columns, i) for i in roles.force],
        "plates": [f"plate_{k + 1}" for k in range(len(names))],
    }
    raise ReadError(
        f"{columns.file}: which plate does each column belong to? Found"
        f" {listed([columns.label(i) for i in roles.force])}. Name those that add up to the force"
        f" of both feet, and their plates: {write_in_layout(places)}; plates are called left,"
        " right, total, plate_1, plate_2, …"
    )


def _base(columns: Columns, at: int) -> tuple[str, ...]:
    """Return the words of a column's name without numbers: alike for plates of one kind."""
    name = f"{columns.groups[at]} {columns.names[at]}".casefold()
    return tuple("".join(c if c.isalpha() else " " for c in name).split())


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
