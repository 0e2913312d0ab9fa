"""Which column is time, or numbers the samples."""

from __future__ import annotations

import numpy as np

from cmjlab.checks import listed
from cmjlab.errors import ReadError
from cmjlab.files.columns import Columns
from cmjlab.files.counters import find_counter, rises
from cmjlab.files.headings import is_time_unit
from cmjlab.files.remedies import write_in_layout
from cmjlab.files.roles import Roles, column_of, name_or_number
from cmjlab.layout import Layout


def assign_time(columns: Columns, layout: Layout, roles: Roles) -> None:
    """Find the column of time, or else of sample numbers, and write it into ``roles``.

    Raises
    ------
    ReadError
        When several columns may be time, or the layout names none of the file.
    """
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
    roles.time = _named_time(columns, roles, numeric)
    if roles.time is not None:
        return
    counters = [i for i in numeric if roles.headings[i].quantity == "sample"]
    found = find_counter(columns, counters)
    if found is not None:
        roles.time, roles.part, roles.is_counter = found.column, found.part, True
        return
    _unnamed_time(columns, roles, numeric)


def _named_time(columns: Columns, roles: Roles, numeric: list[int]) -> int | None:
    """Return the column that is called time, None without one; stop when several may be it."""
    times = [i for i in numeric if roles.headings[i].quantity == "time" or i in columns.clock]
    if len(times) > 1:
        with_unit = [i for i in times if is_time_unit(roles.headings[i].unit)]
        rising = [i for i in with_unit or times if rises(columns.values[i])]
        times = rising if len(rising) == 1 else times
    if len(times) > 1:
        names = listed([columns.label(i) for i in times])
        example = next((i for i in times if rises(columns.values[i])), times[0])
        raise ReadError(
            f"{columns.file}: {len(times)} columns look like time: {names}. State which:"
            f" {write_in_layout({'time_column': name_or_number(columns, example)})}."
        )
    return times[0] if times else None


def _unnamed_time(columns: Columns, roles: Roles, numeric: list[int]) -> None:
    """Take a first column without a name as time when it rises in even steps."""
    if len(numeric) < 2 or numeric[0] != 0 or roles.headings[0].quantity not in ("", "time"):
        return
    if columns.names[0] and any(columns.names):
        return
    values = columns.values[0]
    if values is None or not rises(values):
        return
    steps = np.diff(values[np.isfinite(values)])
    middle = float(np.median(steps))
    if middle > 0 and np.mean(np.abs(steps - middle) < 0.5 * middle) > 0.9:
        roles.time = 0
        roles.is_counter = bool(np.all(steps == np.rint(steps)) and middle == 1.0)
