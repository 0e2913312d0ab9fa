"""What athletes carried: stated for a recording, else for its session, else nothing."""

from __future__ import annotations

import pandas as pd

from cmjlab.study.folder.problems import Problems
from cmjlab.study.folder.user_tables import ROW

#: More than anybody jumps with, kg (our own); it catches grams and newtons.
MOST_KG = 400.0


def with_loads(
    files: pd.DataFrame, recordings: pd.DataFrame, sessions: pd.DataFrame, problems: Problems
) -> pd.DataFrame:
    """Return recordings with the load of each, kg.

    Parameters
    ----------
    files : pandas.DataFrame
        List of recordings; ``load_kg`` is nan where recordings.csv states none.
    recordings, sessions : pandas.DataFrame
        recordings.csv and sessions.csv as read; impossible loads in them are told.
    problems : Problems
        Receives them.
    """
    for table, name in ((recordings, "recordings.csv"), (sessions, "sessions.csv")):
        _check(table, name, problems)
    usual = sessions.dropna(subset=["session", "load_kg"]).drop_duplicates("session")
    of_session = dict(zip(usual["session"].astype(str), usual["load_kg"], strict=True))
    default = files["session"].map(of_session).astype("float64").fillna(0.0)
    return files.assign(load_kg=files["load_kg"].fillna(default))


def _check(table: pd.DataFrame, name: str, problems: Problems) -> None:
    for row, load in zip(table[ROW], table["load_kg"], strict=True):
        if pd.notna(load) and not 0.0 <= load <= MOST_KG:
            problems.add(
                "fail", "impossible_load", where=(name, row, "load_kg"), found=f"{load:g} kg",
                expected=f"0 to {MOST_KG:g} kg",
                remedy="Write what the athlete carries, without body mass, in kilograms.",
            )  # fmt: skip
