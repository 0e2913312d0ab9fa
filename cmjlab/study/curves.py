"""Time-normalised curves of the accepted jumps, in one tidy table."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from typing import Any

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
    each_phase: bool = False,
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
    each_phase : bool
        Stretch every phase by itself to ``points`` points, so that a percent of a phase is the
        same place of the movement in every jump. A column ``phase`` is added; point, percent and
        time_s then count from the start of the phase.

    Returns
    -------
    pandas.DataFrame
        athlete, group, session, role, file, trial, jump, point (0 to points − 1), percent,
        time_s (from the first point), value. Jumps without the events have no rows; the
        attribute ``attrs["left_out"]`` of the table lists them as (file, jump).
    """
    one_of("quantity", quantity, QUANTITIES)
    n = int(number("points", points, low=2, high=10001))
    whole = _bounds(phases)
    bounds = [PHASES[p] for p in checks.names("phases", phases)] if each_phase else [whole]
    used = table[table["accepted"].astype(bool)]
    kept, curves, left_out = [], [], []
    for file, rows in used.groupby("file", sort=False):
        found = jumps_of_file(str(file))
        for row in rows[_COLUMNS].to_dict("records"):
            jump = found[int(row["jump"]) - 1][1]
            own = (
                []
                if isinstance(jump, CmjlabError)
                else [_curve(jump, quantity, b, n) for b in bounds]
            )
            there = [c for c in own if c is not None]
            if len(there) < len(bounds):
                left_out.append((str(file), int(row["jump"])))
                continue
            kept.append(row)
            curves.append(there)
    names = checks.names("phases", phases) if each_phase else []
    out = _tidy(kept, curves, n, names)
    out["session"] = out["session"].astype(table["session"].dtype)
    out.attrs["left_out"] = left_out
    return out


def _tidy(
    kept: Sequence[Mapping[Any, Any]], curves: Sequence[Any], n: int, phases: Sequence[str]
) -> pd.DataFrame:
    """Return one row per point of the curves, shape (n_jumps, n_phases, time and value, n)."""
    parts = max(len(phases), 1)
    stacked = np.reshape(np.array(curves, dtype=np.float64), (len(kept), parts, 2, n))
    labels = pd.DataFrame(kept, columns=_COLUMNS)
    out = labels.loc[labels.index.repeat(parts * n)].reset_index(drop=True)
    if phases:
        out["phase"] = np.tile(np.repeat(np.array(phases, dtype=object), n), len(kept))
    out["point"] = np.tile(np.arange(n), parts * len(kept))
    out["percent"] = np.tile(np.linspace(0.0, 100.0, n), parts * len(kept))
    out["time_s"], out["value"] = stacked[:, :, 0].ravel(), stacked[:, :, 1].ravel()
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
