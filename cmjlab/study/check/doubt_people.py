"""Doubts about people: one recording under two names, a group that is missing, strength, body mass.

Limits without a source are common practice: they lie outside what people can lift or weigh.
"""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np
import pandas as pd

from cmjlab.study.check.doubt import Doubt
from cmjlab.study.check.doubt_numbers import FEWEST, common_shift
from cmjlab.study.check.doubt_sessions import by_athlete
from cmjlab.study.decide.sessions_table import measures_wide
from cmjlab.words.phrases import Case

#: Numbers that two jumps never share to this precision unless one recording was saved again.
_FINGERPRINT = ("flight_time_s", "time_to_takeoff_s", "jump_height_m", "countermovement_depth_m",
                "peak_propulsion_force_n_per_kg", "minimum_force_n_per_kg")  # fmt: skip
_ALIKE = 5e-4
#: One-repetition maximum over body mass: below and above this nobody lifts (common practice).
_LIFTED = (0.2, 4.0)
#: Pounds in a kilogram; how near (in logarithms) to it two halves of a squad must lie to be told.
_POUNDS, _NEAR_POUNDS = 2.20462, 0.25
#: A heap of pounds lies above what half of any squad lifts: a single weak athlete makes no heap.
_STRONG, _GAP = 2.2, 0.15
#: Plate against roster, percent: one athlete, and everybody together.
_ONE_WARN, _ONE_FAIL, _ALL_FAIL = 10.0, 20.0, 8.0
#: An athlete's sessions that agree so well speak for an old roster, not for another person's file.
_OWN_AGREE = 8.0


def people_doubts(
    jumps: pd.DataFrame,
    roster: pd.DataFrame,
    measures: pd.DataFrame,
    used: Sequence[str],
) -> list[Doubt]:
    """Return doubts about people.

    Parameters
    ----------
    jumps : pandas.DataFrame
        The jumps table at one load.
    roster : pandas.DataFrame
        Athletes with group and body mass.
    measures : pandas.DataFrame
        Values that do not come from the plates.
    used : sequence of str
        Sessions that the change over the block is taken from.
    """
    return [
        *same_recording(jumps),
        *group_without_session(jumps, roster, used),
        *strength_units(measures),
        *strength_range(jumps, measures),
        *roster_mass(jumps, roster),
    ]


# ---- one recording under two names ------------------------------------------------------------


def same_recording(jumps: pd.DataFrame) -> list[Doubt]:
    """Return recordings that stand under two athletes or sessions, saved again or not."""
    usable = jumps[jumps["error"].fillna("") == ""]
    marks = usable[[m for m in _FINGERPRINT if m in usable]].to_numpy(float)
    pairs = {*_same_bytes(usable), *_same_numbers(marks)}
    who = list(zip(usable["athlete"].astype(str), usable["session"].astype(str), strict=True))
    trials = usable["trial"].fillna("").astype(str).tolist()
    seen: dict[tuple[tuple[str, str], tuple[str, str]], list[tuple[str, str]]] = {}
    for first, second in sorted(pairs):
        if who[first] != who[second]:
            both = (who[first], who[second])
            seen.setdefault(both, []).append((trials[first], trials[second]))
    out = []
    for both, found in seen.items():
        athletes = tuple(dict.fromkeys(a for a, _ in both))
        sessions = tuple(dict.fromkeys(s for _, s in both))
        tried = [" ".join(t for t in side if t) for side in zip(*found, strict=True)]
        places = [_place(*who, t) for who, t in zip(both, tried, strict=True)]
        values = {"places": places, "n": len(found)}
        out.append(Doubt("same_content", "fail", sessions, athletes, "plate", values))
    return out


def _place(athlete: str, session: str, trials: str) -> Case:
    """Return athlete, session and trials in words; never a file, whose name may hold a person's."""
    key = "place_trials" if trials else "place"
    return Case(key, {"athlete": athlete, "session": session, "trials": trials})


def _same_bytes(jumps: pd.DataFrame) -> list[tuple[int, int]]:
    """Return pairs of rows with the same jump of the same bytes."""
    seen: dict[tuple[str, int], int] = {}
    out = []
    for row, (sha256, jump) in enumerate(
        zip(jumps["sha256"].fillna(""), jumps["jump"], strict=True)
    ):
        first = seen.setdefault((str(sha256), int(jump)), row)
        if sha256 and first != row:
            out.append((first, row))
    return out


def _same_numbers(marks: np.ndarray) -> list[tuple[int, int]]:
    """Return pairs of rows whose numbers agree; rows without all numbers are left out."""
    rows = np.flatnonzero(np.isfinite(marks).all(axis=1)) if marks.size else np.array([], int)
    rows = rows[np.argsort(marks[rows, 0], kind="stable")] if len(rows) else rows
    out = []
    for place, row in enumerate(rows):
        for other in rows[place + 1 :]:
            if marks[other, 0] > marks[row, 0] * (1.0 + _ALIKE):
                break
            if np.allclose(marks[other], marks[row], rtol=_ALIKE, atol=0.0):
                out.append((min(int(row), int(other)), max(int(row), int(other))))
    return out


# ---- a group that is missing --------------------------------------------------------------------


def group_without_session(
    jumps: pd.DataFrame, roster: pd.DataFrame, used: Sequence[str]
) -> list[Doubt]:
    """Return groups of which nobody has a counted jump in a session that the change rests on."""
    counted = jumps[jumps["accepted"].astype(bool)]
    present = set(zip(counted["athlete"].astype(str), counted["session"].astype(str), strict=True))
    named = roster[roster["athlete"].notna() & (roster["group"].fillna("").astype(str) != "")]
    groups = named.groupby("group", sort=False)
    out = []
    for session in dict.fromkeys(s for s in used if s):
        if not any(s == session for _, s in present):
            continue  # not tested yet: nothing can be compared, and that is said elsewhere
        for group, members in groups["athlete"]:
            athletes = tuple(members.astype(str))
            if not any((a, session) in present for a in athletes):
                values = {"group": str(group), "session": session, "n": len(athletes)}
                out.append(Doubt("group_missing", "fail", (session,), athletes, "plate", values))
    return out


# ---- strength -----------------------------------------------------------------------------------


def _maxima(measures: pd.DataFrame) -> pd.DataFrame:
    names = measures["measure"].fillna("").astype(str).str.casefold()
    return measures[names.str.contains("1rm")].dropna(subset=["athlete", "value"])


def strength_units(measures: pd.DataFrame) -> list[Doubt]:
    """Return one-repetition maxima that are written down in more than one unit."""
    out = []
    for measure, part in _maxima(measures).groupby("measure", sort=False):
        units = part["unit"].fillna("").astype(str).str.strip().str.casefold()
        if units.nunique() > 1:
            usual = units.mode().iloc[0]
            athletes = tuple(dict.fromkeys(part.loc[units != usual, "athlete"].astype(str)))
            values = {"measure": str(measure), "units": sorted(units.unique()), "n": len(athletes)}
            out.append(Doubt("strength_units", "fail", (), athletes, "strength", values))
    return out


def strength_range(jumps: pd.DataFrame, measures: pd.DataFrame) -> list[Doubt]:
    """Return maxima that nobody can lift, and squads in which some values seem to be pounds."""
    wide = measures_wide(_maxima(measures))
    masses = by_athlete(jumps, "body_mass_kg", counted=True)
    if masses.empty or wide.empty:
        return []
    own = masses.median(axis=1)  # body mass of any session does: strength is off by a factor
    out = []
    for column in [c for c in wide.columns if str(c).endswith("_kg")]:
        ratios = (wide[column] / wide["athlete"].map(own)).to_numpy(float)
        usable = np.isfinite(ratios) & (ratios > 0.0)
        wrong = usable & ((ratios < _LIFTED[0]) | (ratios > _LIFTED[1]))
        pounds = _pounds(ratios, usable) & ~wrong
        for key, found in (("strength_range", wrong), ("strength_pounds", pounds)):
            if found.any():
                rows = wide[found]
                athletes = tuple(dict.fromkeys(rows["athlete"].astype(str)))
                sessions = tuple(dict.fromkeys(rows["session"].astype(str)))
                values = {
                    "measure": str(column), "n": len(athletes), "low": _LIFTED[0],
                    "high": _LIFTED[1], "ratio": float(np.median(ratios[found])),
                    "others": float(np.median(ratios[usable & ~found])) if (usable & ~found).any() else math.nan,
                }  # fmt: skip
                out.append(Doubt(key, "fail", sessions, athletes, "strength", values))
    return out


def _pounds(ratios: np.ndarray, usable: np.ndarray) -> np.ndarray:
    """Return which ratios seem to be in pounds: a heap of its own, 2.2 times above the other.

    The logarithms are cut at their widest gap. Two heaps are two units only when the gap is wider
    than either heap could make by chance, and when their middles lie a factor of 2.2 apart.
    """
    rows = np.flatnonzero(usable)
    none = np.zeros(len(ratios), dtype=bool)
    if len(rows) < FEWEST:
        return none
    rows = rows[np.argsort(ratios[rows], kind="stable")]
    logs = np.log(ratios[rows])
    cut = int(np.argmax(np.diff(logs))) + 1
    low, high = logs[:cut], logs[cut:]
    apart = float(np.median(high) - np.median(low))
    wider = logs[cut] - logs[cut - 1] > _GAP * math.log(_POUNDS)
    strong = float(np.median(high)) > math.log(_STRONG)
    spread = max(float(np.ptp(low)), float(np.ptp(high)))
    if (
        wider
        and strong
        and abs(apart - math.log(_POUNDS)) < _NEAR_POUNDS
        and spread < math.log(_POUNDS)
    ):
        none[rows[cut:]] = True
    return none


# ---- body mass ------------------------------------------------------------------------------------


def roster_mass(jumps: pd.DataFrame, roster: pd.DataFrame) -> list[Doubt]:
    """Return athletes, or whole squads, whose mass on the plate is not that of the roster."""
    if "body_mass_kg" not in roster:
        return []
    listed = roster.drop_duplicates("athlete").set_index("athlete")["body_mass_kg"].astype(float)
    wide = by_athlete(jumps, "body_mass_kg", counted=True)
    if wide.empty or listed.isna().all():
        return []
    percent = 100.0 * (wide.div(listed.reindex(wide.index), axis=0) - 1.0)
    usual = percent.median(axis=1).dropna()
    if len(usual) >= FEWEST:
        shift, low, high = common_shift(usual.to_numpy())
        if max(low, -high) > _ALL_FAIL:
            values = {"size": shift, "low": low, "high": high, "n": len(usual)}
            return [Doubt("roster_mass_all", "fail", (), (), "forces", values)]
    out = []
    for athlete, row in zip(percent.index, percent.to_numpy(), strict=True):
        for place, off in enumerate(row):
            if not abs(off) > _ONE_WARN:
                continue
            others = np.delete(row, place)
            others = others[np.isfinite(others)]
            agree = len(others) > 0 and abs(off - float(np.median(others))) < _OWN_AGREE
            level = "fail" if abs(off) > _ONE_FAIL and not agree else "warn"
            session, mass = str(percent.columns[place]), float(wide.loc[athlete].iloc[place])
            numbers = {"size": float(off), "listed": float(listed[athlete]), "mass": mass}
            whose = (str(athlete),)
            out.append(
                Doubt(
                    "mass_against_roster",
                    level,
                    (session,),
                    whose,
                    "plate",
                    {"session": session, **numbers},
                )
            )
    return out
