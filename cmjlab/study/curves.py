"""Time-normalised curves of the accepted jumps, in one tidy table."""

from __future__ import annotations

from collections.abc import Callable, Sequence

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from cmjlab import checks
from cmjlab.checks import number, one_of
from cmjlab.errors import ArgumentError, CmjlabError
from cmjlab.jump_types import Jump

#: From the name of a file to its jumps in full, each with the number of its stretch.
JumpsOfFile = Callable[[str], Sequence[tuple[int, Jump | CmjlabError]]]

#: Phases in order, with the events that bound them.
PHASES = {
    "unweighting": ("onset", "peak_downward_velocity"),
    "braking": ("peak_downward_velocity", "zero_velocity"),
    "propulsion": ("zero_velocity", "takeoff"),
}
#: Quantity -> unit.
QUANTITIES = {
    "force": "N",
    "force_per_kg": "N/kg",
    "velocity": "m/s",
    "displacement": "m",
    "acceleration": "m/s²",
    "power": "W",
    "power_per_kg": "W/kg",
}
_COLUMNS = ["athlete", "group", "session", "role", "file", "trial", "jump"]


def normalised_curves(
    table: pd.DataFrame,
    jumps_of_file: JumpsOfFile,
    quantity: str,
    *,
    phases: Sequence[str] = tuple(PHASES),
    points: int = 101,
) -> pd.DataFrame:
    """Return curves of the accepted jumps, each stretched to the same number of points.

    Parameters
    ----------
    table : pandas.DataFrame
        Jumps table of the study.
    jumps_of_file : callable
        Returns the jumps of a file in full, in the order of their numbers.
    quantity : str
        "force", "force_per_kg", "velocity", "displacement", "acceleration", "power" or
        "power_per_kg".
    phases : sequence of str
        Neighbouring phases of unweighting, braking, propulsion. Time runs in equal steps
        from the start of the first to the end of the last.
    points : int
        Points per curve, both ends included.

    Returns
    -------
    pandas.DataFrame
        athlete, group, session, role, file, trial, jump, point (0 to points − 1), percent,
        time_s (from the first point), value. Jumps without the events have no rows; the
        attribute ``attrs["left_out"]`` of the table lists them as (file, jump).
    """
    one_of("quantity", quantity, QUANTITIES)
    n = int(number("points", points, low=2, high=10001))
    start, end = _bounds(phases)
    used = table[table["accepted"].astype(bool)]
    parts, left_out = [], []
    for file, rows in used.groupby("file", sort=False):
        found = jumps_of_file(str(file))
        for row in rows[_COLUMNS].to_dict("records"):
            jump = found[int(row["jump"]) - 1][1]
            curve = None
            if not isinstance(jump, CmjlabError):
                curve = _curve(jump, quantity, (start, end), n)
            if curve is None:
                left_out.append((str(file), int(row["jump"])))
                continue
            part = pd.DataFrame({"point": np.arange(n), "percent": np.linspace(0.0, 100.0, n)})
            part["time_s"], part["value"] = curve
            for position, column in enumerate(_COLUMNS):
                part.insert(position, column, row[column])
            parts.append(part)
    columns = [*_COLUMNS, "point", "percent", "time_s", "value"]
    out = pd.concat(parts, ignore_index=True) if parts else pd.DataFrame(columns=columns)
    out["session"] = out["session"].astype(table["session"].dtype)
    out.attrs["left_out"] = left_out
    return out


def _bounds(phases: Sequence[str]) -> tuple[str, str]:
    names = checks.names("phases", phases)
    for name in names:
        one_of("phases", name, PHASES)
    order = list(PHASES)
    places = [order.index(n) for n in names]
    if not places or places != list(range(places[0], places[0] + len(places))):
        raise ArgumentError(
            f"phases: found {names}; neighbouring phases in this order are needed: {', '.join(order)}."
        )
    return PHASES[names[0]][0], PHASES[names[-1]][1]


def _curve(
    jump: Jump, quantity: str, bounds: tuple[str, str], n: int
) -> tuple[NDArray[np.float64], NDArray[np.float64]] | None:
    """Return time from the first point (s) and value, each of shape (n,)."""
    start, end = jump.events[bounds[0]], jump.events[bounds[1]]
    motion = jump.motion
    if not (np.isfinite(start) and np.isfinite(end) and start < end and motion.time_s.size > 1):
        return None
    values = {
        "force": motion.force_n,
        "velocity": motion.velocity_m_per_s,
        "displacement": motion.displacement_m,
        "acceleration": motion.acceleration_m_per_s2,
        "power": motion.force_n * motion.velocity_m_per_s,
    }
    array = values[quantity.removesuffix("_per_kg")]
    if quantity.endswith("_per_kg"):
        array = array / jump.metrics["body_mass_kg"]
    time = np.linspace(start, end, n)
    return time - start, np.interp(time, motion.time_s, array)
