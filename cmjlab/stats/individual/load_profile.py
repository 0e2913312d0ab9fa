"""One athlete's jumps with different loads: velocity and power against load."""

from __future__ import annotations

import math
from collections.abc import Mapping
from typing import Any

import numpy as np
import pandas as pd

from cmjlab import checks
from cmjlab.checks import one_of, suggestion
from cmjlab.errors import StatsError
from cmjlab.results import Note, Reason, Result, Sentence
from cmjlab.stats.common.loads import loads_of
from cmjlab.stats.common.rows import Place, Rows
from cmjlab.stats.individual.load_line import Line, fit_line, fit_peak, parabola

MEAN_VELOCITY = "mean_propulsion_velocity_m_per_s"
PEAK_VELOCITY = "peak_upward_velocity_m_per_s"
POWERS = ("mean_propulsion_power_w", "peak_propulsion_power_w")
_HEIGHT = "jump_height_m"
#: Velocities that a line can be drawn of.
VELOCITIES = (MEAN_VELOCITY, PEAK_VELOCITY, "takeoff_velocity_m_per_s")
#: Loads and jumps that are needed for a line; for a parabola one more of each.
_LOADS, _JUMPS = 2, 3


def load_profile(
    jumps: pd.DataFrame,
    athlete: str | None = None,
    *,
    session: str | None = None,
    velocity: str = MEAN_VELOCITY,
    level: float = 0.95,
) -> Result:
    """Return velocity and power of one athlete's jumps with different loads.

    Parameters
    ----------
    jumps : pandas.DataFrame
        One row per jump, e.g. from ``Study.measure``: ``load_kg`` and metrics; only accepted
        jumps are used. Mean propulsion velocity is push distance by duration of propulsion
        where the table does not hold it.
    athlete, session : str, optional
        Whose jumps, and of which session; not needed when there is only one.
    velocity : str
        Velocity of the line: mean propulsion velocity, peak upward velocity or take-off
        velocity.
    level : float

    Returns
    -------
    Result
        Rows ``velocity_at_zero_load`` (V0), ``velocity_per_load`` (slope), ``load_at_zero_velocity``
        (L0, beyond the loads tested) and ``line_r2`` of the velocity; ``load_at_peak_power`` of
        mean and peak power, where a parabola has its top within the loads tested.
        ``points["loads"]`` has one row per load: number of jumps and mean values;
        ``points["jumps"]`` the jumps.

    Raises
    ------
    StatsError
        When columns are missing, or it is not clear whose jumps of which session.

    Notes
    -----
    Loads are what the athlete carries, body mass not included. Lines are fitted to single
    jumps, so that each load counts by its jumps.

    Examples
    --------
    >>> import pandas as pd
    >>> import cmjlab as cj
    >>> jumps = pd.DataFrame({
    ...     "athlete": "A01", "session": "base1", "load_kg": [0.0, 20.0, 40.0, 60.0],
    ...     "mean_propulsion_velocity_m_per_s": [1.52, 1.29, 1.11, 0.88],
    ...     "peak_upward_velocity_m_per_s": [2.7, 2.35, 2.0, 1.7],
    ...     "mean_propulsion_power_w": [2300.0, 2400.0, 2380.0, 2250.0],
    ...     "peak_propulsion_power_w": [4200.0, 4300.0, 4250.0, 4100.0],
    ...     "jump_height_m": [0.35, 0.26, 0.19, 0.13],
    ... })
    >>> profile = cj.load_profile(jumps)
    >>> round(profile.value("velocity_at_zero_load"), 2)
    1.51
    """
    level = checks.level(level)
    one_of("velocity", velocity, VELOCITIES)
    used, dropped = _jumps_of(jumps, athlete, session)
    rows = Rows(level=level)
    who = str(used["athlete"].iloc[0])
    line = _add_line(rows.at(metric=velocity, athlete=who, n=1), used, velocity)
    for power in POWERS:
        _add_peak(rows.at(metric=power, athlete=who, n=1), used, power)
    return Result(
        "load_profile",
        rows.frame(),
        points={"loads": _by_load(used), "jumps": used, "curves": _curves(used, line, velocity)},
        settings={"athlete": who, "session": str(used["session"].iloc[0]), "velocity": velocity,
                  "level": level},
        notes=_notes(used, line, dropped),
        sentences=_sentences(rows, used, velocity),
    )  # fmt: skip


def _jumps_of(
    jumps: pd.DataFrame, athlete: str | None, session: str | None
) -> tuple[pd.DataFrame, int]:
    """Return the accepted jumps of one athlete and session, and how many are left out."""
    needed = ["athlete", "session", _HEIGHT, PEAK_VELOCITY, *POWERS]
    for name in needed:
        if name not in jumps:
            raise StatsError(f"load profile: no column {name!r}.{suggestion(name, list(jumps))}")
    part = jumps.assign(load_kg=loads_of(jumps), **{MEAN_VELOCITY: _mean_velocity(jumps)})
    for column, wanted in (("athlete", athlete), ("session", session)):
        part = _only(part, column, wanted)
    accepted = part["accepted"].fillna(False).astype(bool) if "accepted" in part else None
    used = part if accepted is None else part[accepted]
    used = used[used[MEAN_VELOCITY].notna()].sort_values("load_kg", kind="stable")
    if used.empty:
        raise StatsError("load profile: none of these jumps is accepted.")
    optional = [
        c for c in ("takeoff_velocity_m_per_s", "body_mass_kg", "file", "jump") if c in used
    ]
    columns = ["athlete", "session", "load_kg", MEAN_VELOCITY, *needed[2:], *optional]
    return used[columns].reset_index(drop=True), len(part) - len(used)


def _mean_velocity(jumps: pd.DataFrame) -> pd.Series:
    if MEAN_VELOCITY in jumps:
        return jumps[MEAN_VELOCITY]
    for name in ("push_distance_m", "propulsion_duration_s"):
        if name not in jumps:
            raise StatsError(f"load profile: neither {MEAN_VELOCITY!r} nor {name!r} is a column.")
    return jumps["push_distance_m"] / jumps["propulsion_duration_s"]


def _only(jumps: pd.DataFrame, column: str, wanted: str | None) -> pd.DataFrame:
    """Return the jumps of one athlete or session; refuse to guess which."""
    found = list(dict.fromkeys(jumps[column].astype(str)))
    if wanted is None and len(found) > 1:
        raise StatsError(f"load profile: say which {column}: {', '.join(found)}.")
    if wanted is not None and wanted not in found:
        raise StatsError(
            f"{column}: there are no jumps of {wanted!r}; there are {', '.join(found) or 'none'}."
            f"{suggestion(wanted, found)}"
        )
    return jumps if wanted is None else jumps[jumps[column].astype(str) == wanted]


def _add_line(place: Place, used: pd.DataFrame, velocity: str) -> Line | None:
    """Add the line of velocity and load; the reason where there is none."""
    part = used[[velocity, "load_kg"]].dropna() if velocity in used else used.iloc[:0]
    why = _too_few(part, _LOADS, _JUMPS)
    statistics = ("velocity_at_zero_load", "velocity_per_load", "load_at_zero_velocity", "line_r2")
    if why is not None:
        for statistic in statistics:
            place.none(statistic, why)
        return None
    line = fit_line(part["load_kg"].to_numpy(float), part[velocity].to_numpy(float), place.level)
    here = place.at(estimator="line_over_jumps")
    here.add_estimate("velocity_at_zero_load", line.start, interval_kind="t", unit="m/s")
    here.add_estimate("velocity_per_load", line.slope, interval_kind="t")
    end, low, high = line.end
    rises = Reason("velocity_rises") if not line.slope.estimate < 0 else None
    here.add(
        "load_at_zero_velocity", end, limits=(low, high), reason=Reason("load_slope_open"),
        void=rises, interval_kind="fieller",
    )  # fmt: skip
    here.add("line_r2", line.r2, reason=Reason("no_solution"))
    return line


def _too_few(part: pd.DataFrame, loads: int, jumps: int) -> Reason | None:
    there = int(part["load_kg"].nunique())
    if there < loads:
        return Reason("few_loads", {"least": loads, "loads": there})
    if len(part) < jumps:
        return Reason("few_jumps_for_line", {"least": jumps, "jumps": len(part)})
    return None


def _add_peak(place: Place, used: pd.DataFrame, power: str) -> None:
    """Add the load of the highest power where a parabola is warranted and tops out inside.

    It is warranted when its curvature is negative beyond doubt at the level of the intervals.
    """
    part = used[[power, "load_kg"]].dropna()
    here = place.at(estimator="parabola_over_jumps", interval_kind="fieller")
    why = _too_few(part, _LOADS + 1, _JUMPS + 1)
    if why is not None:
        here.none("load_at_peak_power", why)
        return
    load = part["load_kg"].to_numpy(float)
    curvature, turn = fit_peak(load, part[power].to_numpy(float), place.level)
    ends = {"lightest": float(load.min()), "heaviest": float(load.max())}
    bends = float(curvature.interval(place.level)[1]) < 0.0
    if not (bends and ends["lightest"] < turn.value < ends["heaviest"]):
        here.none("load_at_peak_power", Reason("peak_not_reached", ends))
        return
    here.add(
        "load_at_peak_power", turn.value, limits=(turn.low, turn.high),
        reason=Reason("peak_between_open"),
    )  # fmt: skip


def _by_load(used: pd.DataFrame) -> pd.DataFrame:
    """Return one row per load: number of jumps and means."""
    groups = used.groupby("load_kg", sort=True)
    values = [c for c in used.columns if c not in ("athlete", "session", "load_kg", "file", "jump")]
    out = groups[values].mean()
    out.insert(0, "n_jumps", groups.size())
    if "body_mass_kg" in out:
        out["system_mass_kg"] = out["body_mass_kg"] + out.index
    return out.reset_index()


def _curves(used: pd.DataFrame, line: Line | None, velocity: str) -> pd.DataFrame:
    """Return the fitted line and parabolas over the loads tested: metric, load_kg, value."""
    load = used["load_kg"].to_numpy(float)
    grid = np.linspace(load.min(), load.max(), 61)
    parts = []
    if line is not None:
        value = float(line.start.estimate) + float(line.slope.estimate) * grid
        parts.append(pd.DataFrame({"metric": velocity, "load_kg": grid, "value": value}))
    for power in POWERS:
        part = used[[power, "load_kg"]].dropna()
        if _too_few(part, _LOADS + 1, _JUMPS + 1) is None:
            a, b, c = parabola(part["load_kg"].to_numpy(float), part[power].to_numpy(float))
            value = a + b * grid + c * grid * grid
            parts.append(pd.DataFrame({"metric": power, "load_kg": grid, "value": value}))
    empty = pd.DataFrame({"metric": [], "load_kg": [], "value": []})
    return pd.concat(parts, ignore_index=True) if parts else empty


def _notes(used: pd.DataFrame, line: Line | None, dropped: int) -> tuple[Note, ...]:
    notes = [Note("load_one_athlete")]
    heaviest, loads = float(used["load_kg"].max()), int(used["load_kg"].nunique())
    if line is not None and line.end.value > heaviest:
        notes.append(Note("load_line_extended", {"heaviest": heaviest}))
    if line is not None and loads == _LOADS:
        notes.append(Note("load_two_points", {"loads": loads}))
    if dropped:
        notes.append(Note("load_not_accepted", {"n": dropped}))
    return tuple(notes)


def _sentences(rows: Rows, used: pd.DataFrame, velocity: str) -> tuple[Sentence, ...]:
    slope = rows.first("velocity_per_load")
    start = rows.first("velocity_at_zero_load")
    assert slope is not None
    assert start is not None
    who = {"athlete": str(used["athlete"].iloc[0])}
    loads = [f"{x:g}" for x in sorted(used["load_kg"].unique())]
    out = [_line_sentence(slope, start, {**who, "loads": loads, "jumps": len(used)}, velocity)]
    for row in rows.records("load_at_peak_power"):
        metric = str(row["metric"])
        if math.isfinite(row["estimate"]) and math.isfinite(row["ci_low"]):
            ends = {"load": row["estimate"], "low": row["ci_low"], "high": row["ci_high"]}
            out.append(Sentence("load_profile.peak", metric, values={**who, **ends}))
        else:
            values = {**who, "why": row["reason"]}
            out.append(Sentence("load_profile.no_peak", metric, values=values))
    return tuple(out)


def _line_sentence(
    slope: Mapping[str, Any], start: Mapping[str, Any], values: dict[str, Any], velocity: str
) -> Sentence:
    if not math.isfinite(slope["estimate"]):
        why = {"athlete": values["athlete"], "why": slope["reason"]}
        return Sentence("load_profile.no_line", velocity, values=why)
    if not slope["ci_high"] < 0.0:
        open_ = {k: values[k] for k in ("athlete", "loads")}
        return Sentence("load_profile.line_open", velocity, values=open_)
    known = {**values, "v0": start["estimate"], "lost": -slope["estimate"]}
    return Sentence("load_profile.line", velocity, values=known)
