"""Profiles that jump as a squad does: as high, as deep and as long, and as differently."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd

from cmjlab.errors import CmjlabError, StatsError
from cmjlab.results import Note
from cmjlab.simulate.exact import exact_metrics
from cmjlab.simulate.population import TRAITS, parameters_of
from cmjlab.simulate.profile import Profile
from cmjlab.simulate.study import profile_at

#: Shapes of the push (exponent, dip), taken in turn: those of the named profiles.
_PUSHES = ((6.0, 0.0), (12.0, 0.6), (8.0, -0.4), (8.0, 0.0))
#: Metrics that a profile takes from an athlete.
LIKE = ("jump_height_m", "countermovement_depth_m", "time_to_takeoff_s", "body_mass_kg")
_TOTAL = "jump_height_total_m"
#: Rise of the centre of mass at take-off where it was not measured, m (common practice, no source).
_RISE_M = 0.10
#: A squad is told to be met when the medians differ by less than this share.
_NEAR = 0.1


@dataclass(frozen=True)
class SquadProfiles:
    """Profiles, and how well they are the squad's.

    Attributes
    ----------
    profiles : tuple of Profile
    table : pandas.DataFrame
        metric; ``squad_25``, ``squad_50``, ``squad_75``: quartiles over the squad's athletes;
        ``profiles_25``, … those of the profiles, table units.
    notes : tuple of Note
    """

    profiles: tuple[Profile, ...]
    table: pd.DataFrame
    notes: tuple[Note, ...]


def profiles_like(jumps: pd.DataFrame, count: int, *, gravity: float) -> SquadProfiles:
    """Return profiles like ``count`` athletes, spread evenly over depth and time.

    Parameters
    ----------
    jumps : pandas.DataFrame
        Jumps table; accepted jumps with height, depth, time to take-off and body mass are used.
    count : int
        Profiles wanted; fewer where there are fewer athletes.
    gravity : float
        Acceleration of free fall that the method assumes, m/s².

    Raises
    ------
    StatsError
        No profile can be made.
    """
    athletes = _athletes(jumps)
    chosen = _spread(athletes, count)
    made = [_like(row, place, gravity) for place, row in enumerate(chosen.to_dict("records"))]
    profiles = tuple(p for p in made if p is not None)
    if not profiles:
        raise StatsError(
            "no simulated jump is like those of this squad: heights, depths or times are out of the"
            f" range of countermovement jumps (medians: {_medians(athletes)})."
        )
    table = _quartiles(athletes, profiles)
    notes = []
    if len(profiles) < len(made):
        notes.append(
            Note("lab_profiles_not_made", {"n": len(made) - len(profiles), "of": len(made)})
        )
    off = table[abs(table["profiles_50"] / table["squad_50"] - 1) > _NEAR]
    if len(off):
        notes.append(Note("lab_profiles_differ", {"metrics": tuple(off["metric"])}))
    return SquadProfiles(profiles, table, tuple(notes))


def _athletes(jumps: pd.DataFrame) -> pd.DataFrame:
    """Return the median jump of each athlete, with the rise at take-off."""
    wanted = [*LIKE, _TOTAL]
    missing = [c for c in LIKE if c not in jumps]
    if missing:
        raise StatsError(
            f"the jumps table has no column {missing[0]!r}; profiles are made from it."
        )
    used = jumps[jumps["accepted"].fillna(False).astype(bool)]
    table = used.groupby("athlete", observed=True)[[c for c in wanted if c in used]].median()
    table = table.astype(float).dropna(subset=list(LIKE)).reset_index()
    if table.empty:
        raise StatsError("no athlete has an accepted jump with height, depth, time and body mass.")
    rise = (
        table[_TOTAL] - table["jump_height_m"]
        if _TOTAL in table
        else pd.Series(_RISE_M, table.index)
    )
    return table.assign(rise=rise.fillna(_RISE_M).clip(lower=0.03))


def _spread(athletes: pd.DataFrame, count: int) -> pd.DataFrame:
    """Return athletes from thirds of depth, and within each evenly along the time."""
    bands = min(3, count, len(athletes))
    by_depth = athletes.sort_values("countermovement_depth_m", kind="stable")
    out = []
    for band, places in enumerate(np.array_split(np.arange(len(by_depth)), bands)):
        part = by_depth.iloc[places].sort_values("time_to_takeoff_s", kind="stable")
        wanted = min(len(part), count // bands + (band < count % bands))
        at = ((np.arange(wanted) + 0.5) / wanted * len(part)).astype(int)
        out.append(part.iloc[at])
    return pd.concat(out, ignore_index=True)


def _like(athlete: dict[str, float], place: int, gravity: float) -> Profile | None:
    """Return a profile with an athlete's height, depth, time, rise and mass; None where none is."""
    values = {"height": athlete["jump_height_m"], "depth": athlete["countermovement_depth_m"],
              "time": athlete["time_to_takeoff_s"], "rise": athlete["rise"],
              "mass": athlete["body_mass_kg"], "strength": 1.5}  # fmt: skip
    traits = np.array([[values[name] for name in TRAITS]])
    for turn in range(len(_PUSHES)):
        exponent, dip = _PUSHES[(place + turn) % len(_PUSHES)]
        try:
            with np.errstate(invalid="ignore"):
                found = parameters_of(
                    traits, push_exponent=np.array([exponent]), push_dip=np.array([dip])
                )
            return profile_at(found, (0,)).replace(gravity_m_per_s2=gravity)
        except CmjlabError:
            continue
    return None


def _quartiles(athletes: pd.DataFrame, profiles: tuple[Profile, ...]) -> pd.DataFrame:
    exact = [exact_metrics(p.parameters, LIKE) for p in profiles]
    rows = []
    for metric in LIKE:
        mine = [float(e[metric]) for e in exact]
        rows.append(
            {"metric": metric}
            | {f"squad_{q}": float(athletes[metric].quantile(q / 100)) for q in (25, 50, 75)}
            | {f"profiles_{q}": float(np.quantile(mine, q / 100)) for q in (25, 50, 75)}
        )
    return pd.DataFrame(rows)


def _medians(athletes: pd.DataFrame) -> str:
    return ", ".join(f"{m} {athletes[m].median():.3g}" for m in LIKE)
