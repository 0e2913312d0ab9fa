"""The role of every column, how a layout names a column, and how loaded a column is."""

from __future__ import annotations

import math
from dataclasses import dataclass, field

import numpy as np

from cmjlab.checks import listed
from cmjlab.errors import ReadError
from cmjlab.files.columns import Columns, FloatArray
from cmjlab.files.headings import Heading, read_heading
from cmjlab.files.remedies import toml_value
from cmjlab.recording import ReadingNote


@dataclass
class Roles:
    """Columns by role: time, force (with plate names), and those that are not used.

    ``time`` is None when the file has no time; ``is_counter``: it counts samples, together with
    the sub-frames of column ``part`` when there is one.
    """

    headings: list[Heading]
    time: int | None = None
    part: int | None = None
    is_counter: bool = False
    force: list[int] = field(default_factory=list)
    plates: list[str] = field(default_factory=list)
    notes: list[ReadingNote] = field(default_factory=list)


def read_headings(columns: Columns) -> Roles:
    """Return roles with the headings read and nothing assigned yet."""
    return Roles(
        [
            read_heading(n, g, u)
            for n, g, u in zip(columns.names, columns.groups, columns.units, strict=True)
        ]
    )


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
    ranked = size.copy()
    ranked.partition(at)
    high = float(ranked[at])
    if high <= 0.0:
        return 0.0
    loaded = probe[size > 0.1 * high]
    middle = loaded.size // 2
    loaded.partition(middle)
    return float(loaded[middle])


def column_of(columns: Columns, stated: str, setting: str) -> int:
    """Return the column a layout names, by name or by number from 1."""
    stated = str(stated)
    exact = [i for i, n in enumerate(columns.names) if n == stated]
    loose = exact or _called(columns, stated)
    if not loose and stated.strip().isdigit() and 0 < int(stated) <= len(columns.names):
        loose = [int(stated) - 1]
    if len(loose) == 1:
        if columns.values[loose[0]] is None:
            raise ReadError(f"{columns.file}: {setting}: column {stated!r} holds no numbers.")
        return loose[0]
    if len(loose) > 1:
        places = ", ".join(str(i + 1) for i in loose)
        raise ReadError(
            f"{columns.file}: {setting}: {stated!r} is the name of columns {places}."
            f" State the number of the column instead of its name, for instance"
            f" {toml_value(str(loose[0] + 1))}."
        )
    names = listed([columns.label(i) for i in range(len(columns.names))], most=12)
    raise ReadError(
        f"{columns.file}: {setting}: there is no column {stated!r}; the columns are: {names}."
        " State a name or a number from 1."
    )


def _called(columns: Columns, stated: str) -> list[int]:
    """Return the columns of a name, alone or behind the header above it; case does not matter."""
    wanted = stated.strip().casefold()
    pairs = zip(columns.names, columns.groups, strict=True)
    return [
        i
        for i, (name, group) in enumerate(pairs)
        if wanted in (name.strip().casefold(), f"{group} {name}".strip().casefold())
    ]


def name_or_number(columns: Columns, at: int) -> str:
    """Return how a layout names a column: by the name that only it has, else by its number."""
    own, above = columns.names[at].strip(), columns.groups[at]
    for name in (own, f"{above} {own}".strip()):
        usable = name and not name.isdigit() and name.casefold() != "none"
        if usable and len(_called(columns, name)) == 1:
            return name
    return str(at + 1)
