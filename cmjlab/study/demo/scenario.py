"""The invented scenario of the demo study: who, when, what was trained, what went wrong.

Merrowfold, its coast and its handball academy do not exist; no person stands behind any row.
"""

from __future__ import annotations

from typing import Any

import pandas as pd

from cmjlab.simulate.design import StudySettings
from cmjlab.tables import BLOCK, SESSION_NOTES, SUBGROUPS, TARGETS

NAME = "merrowfold_block"
MINI_NAME = "merrowfold_mini"
TITLE = "Merrowfold handball academy, autumn block (invented)"
MINI_TITLE = "Merrowfold handball academy, two baselines (invented)"
SEED = 2026

DATES = {
    "base1": "2026-08-24",
    "base2": "2026-08-31",
    "mon1": "2026-09-14",
    "mon2": "2026-09-21",
    "mon3": "2026-09-28",
    "post": "2026-10-26",
}
#: Athletes of the small teaching subset: two of each group, all present.
MINI_PER_GROUP = 2
MINI_SESSIONS = ("base1", "base2")

#: What went wrong. Athlete, session, trial (as text).
EARLY_MOVEMENT = ("A12", "base2", "2")
DOUBLE_DIP = ("A08", "base1", "2")  # taken again as trial 4
ARMS_USED = ("A14", "post", "3")  # a person rejects it
DECIMAL_COMMA = ("A05", "post", "1")
PLAIN_FILES = (("A01", "base1"),)
ABSENT = {"A19": "base2"}
LEFT = {"A27": "post"}
REASONS = {"A19": "illness", "A27": "moved away"}

#: Weeks of monitoring, with the share of the block's effect that they show.
WEEKS = {"mon1": 0.25, "mon2": 0.375, "mon3": 0.5}
#: Who is tested weekly: the twelve of the first team, four of each group.
MONITORED = (
    "A01", "A04", "A06", "A07", "A02", "A03", "A09", "A10", "A11", "A16", "A18", "A20",
)  # fmt: skip
#: Who returns from an injury, the days of it, and what it took from the own jump, by week.
RETURNING = ("A09", "2026-09-02", "2026-09-12")
TROUBLES = {
    ("A09", "mon1"): {"height": -0.20, "depth": -0.08},
    ("A09", "mon2"): {"height": -0.14, "depth": -0.05},
    ("A09", "mon3"): {"height": -0.07},
    ("A20", "mon2"): {"height": -0.17, "time": 0.04},  # a poor week, and no more than that
}
#: Percent by which the returning athlete spares the right leg.
SPARED_SIDE = {("A09", "mon1"): -14.0, ("A09", "mon2"): -9.0, ("A09", "mon3"): -4.0}
#: A monitored athlete who was not there, with the week.
NOT_THAT_WEEK = {"A04": "mon3"}
WEEK_QUIET_S = 1.3

#: The change that matters, stated before the block.
CHANGE_THAT_MATTERS = {
    "jump_height_m": 0.015,
    "time_to_takeoff_s": 0.040,
    "rsi_modified_m_per_s": 0.030,
}


def settings() -> StudySettings:
    """Return the design of the demo study."""
    return StudySettings(absent=dict(ABSENT), left=dict(LEFT))


def plan(*, mini: bool) -> dict[str, Any]:
    """Return section [plan] of study.toml."""
    common: dict[str, Any] = {
        "summary": "mean",
        "jumps_wanted": 3,
        "minimum_jumps": 2,
        "primary_metric": "jump_height_m",
        "level": 0.95,
    }
    if not mini:
        common |= {
            "before": "base2",
            "after": "post",
            "groups_formed": "selected",
            "selected_on": [
                "relative_strength",
                "countermovement_depth_m",
                "time_to_takeoff_s",
            ],
            "selected_in": "base1",
            "control_group": "usual",
            "block_weeks": 8.0,
        }
    return {**common, "change_that_matters": CHANGE_THAT_MATTERS}


def session_notes(sessions: list[str]) -> pd.DataFrame:
    """Return sessions.csv: how each session was held."""
    deviations = {"post": "rain; the warm-up was done indoors"}
    return SESSION_NOTES.frame(
        [
            {
                "session": s,
                "date": DATES[s],
                "tester": "T1",
                "surface": "plates on a levelled concrete floor",
                "footwear": "own indoor shoes, the same pair in all sessions",
                "wording": "jump as high and as fast as you can, hands on the hips",
                "warm_up": "8 min easy running and mobility, 3 submaximal and 2 maximal jumps",
                "deviations": deviations.get(s, ""),
            }
            for s in sessions
        ]
    )


def subgroups(limits: dict[str, float], moved: dict[str, str]) -> pd.DataFrame:
    """Return subgroups.csv: the rules by which the groups were formed after base1.

    Parameters
    ----------
    limits : dict of metric to limit
    moved : dict of athlete to group
        Athletes near a limit whom the coach put into another group than the rules do.
    """
    strength, time, depth = (
        f"{limits[k]:.2f}"
        for k in ("relative_strength", "time_to_takeoff_s", "countermovement_depth_m")
    )
    rows = [
        {
            "subgroup": "strength",
            "rule": f"relative_strength < {strength}",
            "reason": "weakest third of the squad in base1: strength first",
        },
        {
            "subgroup": "fast_braking",
            "rule": f"time_to_takeoff_s > {time} and countermovement_depth_m > {depth}",
            "reason": "strong enough, and dips deep and slowly in base1",
        },
        {"subgroup": "usual", "rule": "else", "reason": "training as before"},
    ]
    rows += [
        {"subgroup": group, "athlete": athlete, "reason": "close to a limit; coach's choice"}
        for athlete, group in sorted(moved.items())
    ]
    return SUBGROUPS.frame(rows)


_BLOCK_ROWS = (
    # exercise, start position, range, then intent, load, sets, reps of each group
    ("back squat", "standing, bar on the back", "thighs level",
     ("push hard all the way", "80-90 % 1RM", "4", "3-5"),
     ("lower fast, stop hard, stand up", "60-70 % 1RM", "3", "4"),
     ("steady", "70-75 % 1RM", "3", "6")),
    ("split squat", "front foot on the floor", "rear knee just above the floor",
     ("push hard", "as heavy as 6 repetitions allow", "3", "6 each side"),
     ("drop and stop within half a second", "light dumbbells", "3", "5 each side"),
     ("steady", "light dumbbells", "2", "8 each side")),
    ("jump squat", "standing, bar on the back", "to the depth of the own jump",
     ("as high as possible", "30 % 1RM", "3", "4"),
     ("short dip, off the floor quickly", "body weight", "4", "4"),
     ("as high as possible", "body weight", "2", "5")),
    ("drop from a low box", "standing on a 30 cm box", "stop with knees slightly bent",
     ("land and hold still", "body weight", "2", "5"),
     ("stop within a quarter of a second, then jump", "body weight", "4", "5"),
     ("land and hold still", "body weight", "2", "5")),
    ("mid-thigh pull", "bar at mid-thigh, on blocks", "to full hip extension",
     ("push the floor away", "90 % of the own best", "4", "3"),
     ("as fast as possible", "60 % of the own best", "3", "3"),
     ("steady", "70 % of the own best", "2", "4")),
    ("side shuffle and stop", "handball defence stance", "4 m to each side",
     ("stop on the line", "body weight", "3", "4"),
     ("stop on the line at full speed", "body weight", "5", "4"),
     ("stop on the line", "body weight", "3", "4")),
)  # fmt: skip


def block() -> pd.DataFrame:
    """Return block.csv: the same exercises, done in another way by each group."""
    rows = []
    for exercise, start, span, *by_group in _BLOCK_ROWS:
        for group, (intent, load, sets, reps) in zip(
            ("strength", "fast_braking", "usual"), by_group, strict=True
        ):
            rows.append(
                {"exercise": exercise, "subgroup": group, "start_position": start, "range": span,
                 "intent": intent, "load": load, "sets": sets, "reps": reps,
                 "percent_of": "squat_1rm" if "1RM" in load else None}
            )  # fmt: skip
    return BLOCK.frame(rows)


#: Subgroup, metric, wanted, amount in the metric's unit (none: the declared one), why.
_TARGET_ROWS = (
    ("strength", "jump_height_m", "more", None, "strength holds their jump back"),
    ("strength", "peak_propulsion_power_w_per_kg", "more", 1.5,
     "a higher jump is to come from a harder push"),
    ("fast_braking", "time_to_takeoff_s", "less", 0.04, "quicker off the floor at the goal line"),
    ("fast_braking", "countermovement_depth_m", "unchanged", 0.03,
     "quicker by braking harder, with the dip they have"),
)  # fmt: skip


def targets() -> pd.DataFrame:
    """Return targets.csv: what each emphasis is for, stated before the block."""
    return TARGETS.frame([dict(zip(TARGETS.names, row, strict=True)) for row in _TARGET_ROWS])


README = """\
# {title}

**Everything in this folder is invented.** Merrowfold and its handball academy do not exist,
no person stands behind any row, and the numbers are simulated (`cmjlab demo`, seed {seed}).
They are no norms.

Thirty women of an academy squad were tested twice in a week (base1, base2), trained for eight
weeks in three groups, and were tested again (post): three countermovement jumps each, hands
on the hips, two force plates, 1000 Hz. The groups were formed on what base1 showed
(subgroups.csv): `strength` are the athletes with the lowest squat maximum for their body
mass, `fast_braking` those who dip deep and slowly, `usual` trained as before. What each
emphasis was for stands in targets.csv. Twelve of them, the first team, were also tested in three
weeks of the block (mon1 to mon3, role monitoring): these weeks are followed by themselves and
are no part of the comparison.

As in real life, one athlete missed a session and one left (participation.csv), one jump began
with a wobble, one was a double dip and was taken again, one file was saved by a spreadsheet
with decimal commas, and in one jump the arms left the hips (decisions.csv). One athlete was hurt
in training and came back to jumping when a clinician had cleared it: her first weeks are lower,
and she spares one leg. Another had one poor week, and one was travelling.

truth.csv holds what was put in: exact values of each jump, each athlete's true value in each
session, true changes of the groups, and the typical error of the population.
"""

MINI_README = """\
# {title}

**Everything in this folder is invented**: six athletes and two sessions out of the demo study
`merrowfold_block`, with the force rounded to 1 N, for teaching (seed {seed}). truth.csv
holds what was put in.
"""
