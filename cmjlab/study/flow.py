"""Who and what was counted in and out, with reasons."""

from __future__ import annotations

from collections.abc import Mapping

import pandas as pd

from cmjlab.study.folder.participation import explained, notes_by_athlete
from cmjlab.study.folder.study_folder import StudyFolder

_NOT_SAID = "no reason given"


def participant_flow(
    study: StudyFolder,
    jumps: pd.DataFrame,
    checks: pd.DataFrame,
    verdicts: Mapping[tuple[str, int], Mapping[str, object]],
) -> dict[str, pd.DataFrame]:
    """Return the flow of participants and jumps as plain tables.

    Parameters
    ----------
    study : StudyFolder
        Roster, sessions and participation.
    jumps, checks : pandas.DataFrame
        The jumps table, and every quality rule of every jump.
    verdicts : mapping of (file, jump) to row of the log
        What persons decided.

    Returns
    -------
    dict of str to pandas.DataFrame
        ``sessions``: session, role, planned, tested, with_accepted_jumps, missing, explained
        (a week of monitoring is planned for those who came or are noted as missing);
        ``missing``: athlete, group, session, status, reason (one row per athlete and session
        without a recording; status "" when nobody said why);
        ``jumps``: session, group, recorded, accepted, excluded_by_rules, excluded_by_person,
        not_readable, accepted_against_rules;
        ``excluded``: file, jump, athlete, group, session, by, reason (one row per jump);
        ``reasons``: session, by, reason, n;
        ``files_not_used``: file, reason.
    """
    excluded = excluded_jumps(jumps, checks, verdicts)
    missing = missing_athletes(study, jumps)
    reasons = excluded.groupby(["session", "by", "code"], observed=True, sort=False).size()
    return {
        "sessions": _sessions(study, jumps, missing),
        "missing": missing,
        "jumps": _jump_counts(jumps),
        "excluded": excluded,
        "reasons": reasons.rename("n").reset_index().rename(columns={"code": "reason"}),
        "files_not_used": files_not_used(study.problems),
    }


def excluded_jumps(
    jumps: pd.DataFrame,
    checks: pd.DataFrame,
    verdicts: Mapping[tuple[str, int], Mapping[str, object]],
) -> pd.DataFrame:
    """Return every jump that is not used: file, jump, athlete, group, session, by, code, reason."""
    out = jumps[~jumps["accepted"].astype(bool)]
    fails = checks[(checks["status"] == "fail") & (checks["scope"] == "jump")]
    by_jump: dict[tuple[str, int], list[tuple[str, str]]] = {}
    for row in fails.itertuples(index=False):
        by_jump.setdefault((row.file, int(row.jump)), []).append((row.code, row.reason))
    rows = []
    for row in out.itertuples(index=False):
        place = (row.file, int(row.jump))
        if row.error:
            by, code, reason = "file", "not_readable", row.error
        elif row.verdict == "reject":
            reason = str(verdicts[place].get("reason") or _NOT_SAID)
            by, code = "person", reason
        else:
            failed = by_jump.get(place, [("unknown", _NOT_SAID)])
            by, code, reason = "rules", failed[0][0], " ".join(r for _, r in failed)
        rows.append((*place, row.athlete, row.group, row.session, by, code, reason))
    columns = ["file", "jump", "athlete", "group", "session", "by", "code", "reason"]
    return pd.DataFrame(rows, columns=columns)


def missing_athletes(study: StudyFolder, jumps: pd.DataFrame) -> pd.DataFrame:
    """Return athletes of the roster without a recording in a session, with what is known."""
    tested = set(zip(jumps["athlete"], jumps["session"].astype(str), strict=True))
    days = dict(zip(study.sessions["session"], study.sessions["date"], strict=True))
    notes = notes_by_athlete(study.participation)
    roster, order = study.athletes, study.settings.session_order
    weekly = study.settings.monitoring
    rows = [
        (athlete, group, session, *explained(notes.get(athlete, []), session, days, order))
        for athlete, group in zip(roster["athlete"], roster["group"], strict=True)
        for session in order
        if (athlete, session) not in tested
    ]
    # Part of a squad may be tested weekly: only who is noted as missing was expected.
    rows = [row for row in rows if row[2] not in weekly or row[3]]
    return pd.DataFrame(rows, columns=["athlete", "group", "session", "status", "reason"])


def _sessions(study: StudyFolder, jumps: pd.DataFrame, missing: pd.DataFrame) -> pd.DataFrame:
    rows = []
    squad = len(study.athletes) or jumps["athlete"].nunique()
    for session, role in zip(study.sessions["session"], study.sessions["role"], strict=True):
        part = jumps[jumps["session"] == session]
        gone = missing[missing["session"] == session]
        tested = part["athlete"].nunique()
        rows.append(
            {
                "session": session,
                "role": role,
                "planned": tested + len(gone) if role == "monitoring" else squad,
                "tested": tested,
                "with_accepted_jumps": part.loc[part["accepted"].astype(bool), "athlete"].nunique(),
                "missing": len(gone),
                "explained": int((gone["status"] != "").sum()),
            }
        )
    return pd.DataFrame(rows)


def _jump_counts(jumps: pd.DataFrame) -> pd.DataFrame:
    accepted = jumps["accepted"].astype(bool)
    rules = jumps["accepted_by_rules"].astype(bool)
    readable = jumps["error"] == ""
    person = ~accepted & (jumps["verdict"] == "reject") & readable
    counts = pd.DataFrame(
        {
            "session": jumps["session"],
            "group": jumps["group"].fillna(""),
            "recorded": 1,
            "accepted": accepted.astype(int),
            "excluded_by_rules": (~accepted & ~person & readable).astype(int),
            "excluded_by_person": person.astype(int),
            "not_readable": (~readable).astype(int),
            "accepted_against_rules": (accepted & ~rules).astype(int),
        }
    )
    return counts.groupby(["session", "group"], observed=True).sum().reset_index()


def files_not_used(problems: pd.DataFrame) -> pd.DataFrame:
    """Return recordings that belong to no athlete or session: file, reason."""
    codes = {"name_not_understood", "session_not_in_study", "ambiguous_name"}
    part = problems[problems["code"].isin(codes)]
    reason = part["found"] + " (" + part["expected"] + " expected)"
    return pd.DataFrame({"file": part["file"], "reason": reason}).reset_index(drop=True)
