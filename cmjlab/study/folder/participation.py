"""Who was missing and what is known of it: words of status, the days they cover, what may be shown.

Why somebody was not there is often a matter of health. On pages that are passed on, whoever
comes back is only "not available"; who left the study for good keeps the noted reason, because
a flow of participants needs it.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

import pandas as pd

from cmjlab.study.folder.problems import Problems
from cmjlab.study.folder.user_tables import ROW

#: Gone from the named session on.
GONE = ("left", "withdrawn", "excluded")
#: Not to be asked for a test: a body that has to recover decides by itself when.
RESTING = ("injured", "ill", "pain")
#: What is shown of everybody who is not gone.
NOT_AVAILABLE = "not_available"
_NOT_SAID = "no reason given"

Notes = Sequence[Mapping[Any, Any]]


def notes_by_athlete(participation: pd.DataFrame) -> dict[str, list[Mapping[Any, Any]]]:
    """Return the rows of participation.csv of each athlete, in their order."""
    out: dict[str, list[Mapping[Any, Any]]] = {}
    for row in participation.to_dict("records"):
        out.setdefault(str(row["athlete"]), []).append(row)
    return out


def explained(
    notes: Notes, session: str, days: Mapping[str, Any], order: Sequence[str]
) -> tuple[str, str]:
    """Return status and reason of the first row that covers a session, ("", "") when none does.

    Parameters
    ----------
    notes : sequence of mapping
        The athlete's rows of participation.csv.
    session : str
    days : mapping of session to ISO date
    order : sequence of str
        The sessions of the study. Who left, was withdrawn or excluded is gone from the named
        session, or day, on.
    """
    day = days.get(session)
    for row in notes:
        named, gone = row["session"], row["status"] in GONE
        if pd.notna(named):
            later = gone and named in order and order.index(session) > order.index(named)
            covered = named == session or later
        elif not _dated(row) or day is None or pd.isna(day) or not day:
            covered = False
        else:
            start = row["from"] if pd.notna(row["from"]) else ""
            end = row["to"] if pd.notna(row["to"]) else "9999"
            covered = start <= str(day) <= end
        if covered:
            reason = row["reason"]
            return str(row["status"]), _NOT_SAID if pd.isna(reason) else str(reason)
    return "", ""


def _dated(row: Mapping[Any, Any]) -> bool:
    return bool(pd.notna(row["from"]) or pd.notna(row["to"]))


def as_shared(missing: pd.DataFrame) -> pd.DataFrame:
    """Return who was missing as it may be passed on: no reason of those who come back.

    Parameters
    ----------
    missing : pandas.DataFrame
        Columns status and reason, as ``study.flow()["missing"]``.
    """
    hidden = (missing["status"] != "") & ~missing["status"].isin(GONE)
    return missing.assign(
        status=missing["status"].where(~hidden, NOT_AVAILABLE),
        reason=missing["reason"].where(~hidden, ""),
    )


def check_participation(
    tables: Mapping[str, pd.DataFrame], sessions: pd.DataFrame, problems: Problems
) -> None:
    """Add rows that cover nothing, and every athlete who misses a session that was held.

    Parameters
    ----------
    tables : mapping of str to DataFrame
        Tables of the folder by file stem: participation, athletes, files.
    sessions : pandas.DataFrame
        session, role, date of the study. In weeks of monitoring part of a squad may be tested.
    problems : Problems
        Receives whatever is wrong.
    """
    participation, files = tables["participation"], tables["files"]
    for row in participation.to_dict("records"):
        if pd.isna(row["session"]) and not _dated(row):
            problems.add(
                "warn", "covers_nothing", where=("participation", row[ROW], "session"),
                found="no session and no dates", expected="a session, or the first and last day",
                remedy="Fill in session, or from and to; without them the row says nothing.",
            )  # fmt: skip
    roster = tables["athletes"].dropna(subset=["athlete"]).drop_duplicates("athlete")
    notes = notes_by_athlete(participation.dropna(subset=["athlete"]))
    days = dict(zip(sessions["session"], sessions["date"], strict=True))
    order = list(sessions["session"])
    held = set(files["session"])
    expected = [
        s
        for s, r in zip(sessions["session"], sessions["role"], strict=True)
        if s in held and r != "monitoring"
    ]
    tested = set(zip(files["athlete"], files["session"], strict=True))
    seen = set(files["athlete"])
    for athlete, number in zip(roster["athlete"], roster[ROW], strict=True):
        if athlete not in seen and athlete not in notes:
            continue  # told as an athlete without any file
        for session in expected:
            known = explained(notes.get(athlete, []), session, days, order)[0]
            if (athlete, session) not in tested and not known:
                problems.add(
                    "warn", "not_tested", where=("athletes", number, "athlete"),
                    found=f"{athlete} in {session}: no recording", expected="a recording, or why not",
                    remedy="Add the files, or a row in participation.csv (athlete, session, status).",
                )  # fmt: skip
