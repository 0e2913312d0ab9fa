"""Calibration of the doubts: how often a clean squad is stopped, and how often a fault is found.

Squads are drawn as tables, not as signals: body mass, height, times, asymmetry and a maximum of
each athlete in two baselines and after a block. "usual" squads change little; "hard" ones gain
height and mass, are noisy, and have sides that hardly repeat. Run

    python tests/calibration/session_doubts.py

to write session_doubts.csv anew (about a CPU minute); ``test_session_doubts.py`` checks its bars
and makes a slice of it again.
"""

from __future__ import annotations

import sys
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd

from cmjlab.study.check.doubt import fails
from cmjlab.study.check.doubts import find_doubts

TABLE = Path(__file__).with_name("session_doubts.csv")
SEED = 20261
SESSIONS = ("base1", "base2", "post")
SIZES = (6, 12, 30)
TRIALS = 3
#: Squads drawn for a rate of false fails, and for a rate of detection.
CLEAN, FAULTY = 100, 8

#: SD between days of one athlete, and what the block does to everybody (mean, SD).
KINDS: dict[str, dict[str, Any]] = {
    "usual": {"mass": 0.007, "mass_gain": (0.002, 0.010), "height": 0.035, "height_gain": (0.03, 0.04),
              "time": 0.05, "time_gain": (-0.03, 0.05), "side": 2.0, "side_noise": 1.5, "rejected": 0.03},
    "hard": {"mass": 0.012, "mass_gain": (0.010, 0.020), "height": 0.06, "height_gain": (0.10, 0.08),
             "time": 0.09, "time_gain": (-0.12, 0.10), "side": 1.0, "side_noise": 3.0, "rejected": 0.15},
}  # fmt: skip


def squad(rng: np.random.Generator, n: int, kind: str) -> tuple[pd.DataFrame, ...]:
    """Return jumps, roster and measures of one invented squad."""
    k = KINDS[kind]
    mass, height = rng.normal(72, 9, n).clip(48, 110), rng.normal(0.31, 0.05, n).clip(0.16, 0.55)
    time, side = rng.normal(0.80, 0.09, n).clip(0.5, 1.2), rng.normal(0.5, k["side"], n)
    strength = rng.normal(1.5, 0.25, n).clip(0.8, 2.4)
    athletes = [f"A{i:02d}" for i in range(1, n + 1)]
    parts, maxima = [], []
    for session in SESSIONS:
        late = float(session == "post")
        gain = {
            m: np.exp(late * rng.normal(*k[f"{m}_gain"], n)) for m in ("mass", "height", "time")
        }
        day = {m: np.exp(rng.normal(0, k[m], n)) for m in ("mass", "height", "time")}
        asymmetry = side + rng.normal(0, k["side_noise"], n)
        lifted = (
            np.round(strength * mass * np.exp(0.05 * late + rng.normal(0, 0.03, n)) / 2.5) * 2.5
        )
        maxima.append(pd.DataFrame({"athlete": athletes, "session": session, "measure": "squat_1rm",
                                    "value": lifted, "unit": "kg"}))  # fmt: skip
        for trial in range(1, TRIALS + 1):
            h = height * gain["height"] * day["height"] * np.exp(rng.normal(0, 0.03, n))
            parts.append(pd.DataFrame({
                "athlete": athletes, "session": session, "trial": str(trial), "jump": 1, "error": "",
                "sha256": [f"{rng.integers(2**62):x}" for _ in range(n)], "rate_hz": 1000.0,
                "accepted": rng.random(n) >= k["rejected"], "jump_height_m": h,
                "flight_time_s": np.sqrt(8.0 * h / 9.81) * np.exp(rng.normal(0, 0.005, n)),
                "time_to_takeoff_s": time * gain["time"] * day["time"] * np.exp(rng.normal(0, 0.04, n)),
                "countermovement_depth_m": rng.normal(0.30, 0.05, n),
                "peak_propulsion_force_n_per_kg": rng.normal(23, 2.0, n),
                "minimum_force_n_per_kg": rng.normal(3, 1.0, n),
                "body_mass_kg": mass * gain["mass"] * day["mass"],
                "propulsion_impulse_asymmetry_percent": asymmetry + rng.normal(0, 1.0, n),
            }))  # fmt: skip
    jumps = pd.concat(parts, ignore_index=True)
    jumps["session"] = pd.Categorical(jumps["session"], SESSIONS, ordered=True)
    listed = mass * np.exp(rng.normal(0.0, 0.02, n))
    groups = np.where(np.arange(n) % 2 == 0, "one", "two")
    roster = pd.DataFrame({"athlete": athletes, "group": groups, "body_mass_kg": listed.round(1)})
    return jumps, roster, pd.concat(maxima, ignore_index=True)


def _rejected(jumps: pd.DataFrame, roster: pd.DataFrame, measures: pd.DataFrame) -> None:
    rows = jumps.index[jumps["session"] == "post"]
    jumps.loc[rows[: int(0.7 * len(rows))], "accepted"] = False


def _rate(jumps: pd.DataFrame, roster: pd.DataFrame, measures: pd.DataFrame) -> None:
    post = jumps["session"] == "post"
    jumps.loc[post, "rate_hz"] /= 2
    jumps.loc[post, ["flight_time_s", "time_to_takeoff_s"]] *= 2
    jumps.loc[post, "jump_height_m"] *= 4


def _scale(jumps: pd.DataFrame, roster: pd.DataFrame, measures: pd.DataFrame) -> None:
    jumps.loc[jumps["session"] == "base2", "body_mass_kg"] *= 1.03


def _sides(jumps: pd.DataFrame, roster: pd.DataFrame, measures: pd.DataFrame) -> None:
    jumps.loc[jumps["session"] == "post", "propulsion_impulse_asymmetry_percent"] *= -1


def _copy(jumps: pd.DataFrame, roster: pd.DataFrame, measures: pd.DataFrame) -> None:
    rows = jumps.index[jumps["session"] == "post"]
    own = jumps.columns.difference(["athlete", "session", "trial", "sha256", "body_mass_kg"])
    jumps.loc[rows[1], own] = jumps.loc[rows[0], own]
    jumps.loc[rows[1], "jump_height_m"] *= 1.00005  # saved again with fewer digits


def _group(jumps: pd.DataFrame, roster: pd.DataFrame, measures: pd.DataFrame) -> None:
    gone = roster.loc[roster["group"] == "two", "athlete"]
    jumps.loc[(jumps["session"] == "post") & jumps["athlete"].isin(gone), "accepted"] = False


def _pounds(jumps: pd.DataFrame, roster: pd.DataFrame, measures: pd.DataFrame) -> None:
    third = roster["athlete"].iloc[::3]
    measures.loc[measures["athlete"].isin(third), "value"] *= 2.205


def _person(jumps: pd.DataFrame, roster: pd.DataFrame, measures: pd.DataFrame) -> None:
    rows = (jumps["session"] == "post") & (jumps["athlete"] == "A01")
    jumps.loc[rows, ["accepted"]] = True
    jumps.loc[rows, "body_mass_kg"] *= 1.35


#: fault -> how it is put in, and the doubt that must find it.
FAULTS: dict[str, tuple[Callable[..., None], str]] = {
    "most jumps out": (_rejected, "most_jumps_out"),
    "rate halved": (_rate, "rate_stated_wrong"),
    "masses 3 % off": (_scale, "mass_shift"),
    "sides exchanged": (_sides, "sides_exchanged"),
    "one recording twice": (_copy, "same_content"),
    "group missing": (_group, "group_missing"),
    "a third in pounds": (_pounds, "strength_pounds"),
    "another person": (_person, "mass_against_roster"),
}


def cells() -> list[tuple[str, str, int]]:
    """Return fault ("" for a clean squad), kind and size of every row."""
    return [(f, k, n) for f in ("", *FAULTS) for k in KINDS for n in SIZES]


def rate(fault: str, kind: str, n: int, squads: int) -> float:
    """Return the share of squads with a fail: any in a clean squad, the right one with a fault."""
    seed = [SEED, ["", *FAULTS].index(fault), [*KINDS].index(kind), n]
    rng, hits = np.random.default_rng(seed), 0
    for _ in range(squads):
        tables = squad(rng, n, kind)
        if fault:
            FAULTS[fault][0](*tables)
        found = {d.key for d in fails(find_doubts(*tables, ("base2", "post")))}
        if fault == "a third in pounds":  # the strongest are beyond what anybody lifts
            found |= {"strength_pounds"} & {k.replace("range", "pounds") for k in found}
        hits += FAULTS[fault][1] in found if fault else bool(found)
    return hits / squads


def main() -> None:
    """Write the table anew."""
    rows = []
    for fault, kind, n in cells():
        squads = FAULTY if fault else CLEAN
        rows.append({"fault": fault or "none", "squad": kind, "athletes": n, "squads": squads,
                     "stopped": rate(fault, kind, n, squads)})  # fmt: skip
        sys.stdout.write(f"{rows[-1]}\n")
        sys.stdout.flush()
    table = pd.DataFrame(rows)
    table.to_csv(TABLE, index=False, float_format="%.4g", lineterminator="\n")


if __name__ == "__main__":
    main()
