"""Who and what was counted in and out, with reasons; and where the numbers come from."""

from __future__ import annotations

import platform
from importlib.metadata import PackageNotFoundError, version
from typing import TYPE_CHECKING, Any

import pandas as pd

from cmjlab.keys import ENGINE, file_sha256
from cmjlab.study.folder.cells import find_table
from cmjlab.tables import USER_TABLES

if TYPE_CHECKING:
    from cmjlab.study.study import Study

_PACKAGES = ("cmjlab", "numpy", "scipy", "pandas", "pyarrow", "pingouin", "statsmodels")
_NOT_SAID = "no reason given"


def flow(study: Study) -> dict[str, pd.DataFrame]:
    """Return the flow of participants and jumps as plain tables.

    Parameters
    ----------
    study : Study

    Returns
    -------
    dict of str to pandas.DataFrame
        ``sessions``: session, role, planned, tested, with_accepted_jumps, missing, explained;
        ``missing``: athlete, group, session, status, reason (one row per athlete and session
        without a recording; status "" when nobody said why);
        ``jumps``: session, group, recorded, accepted, excluded_by_rules, excluded_by_person,
        not_readable, accepted_against_rules;
        ``excluded``: file, jump, athlete, group, session, by, reason (one row per jump);
        ``reasons``: session, by, reason, n;
        ``files_not_used``: file, reason.
    """
    jumps = study.measure()
    excluded = excluded_jumps(study)
    missing = missing_athletes(study)
    reasons = excluded.groupby(["session", "by", "code"], observed=True, sort=False).size()
    return {
        "sessions": _sessions(study, jumps, missing),
        "missing": missing,
        "jumps": _jump_counts(jumps),
        "excluded": excluded,
        "reasons": reasons.rename("n").reset_index().rename(columns={"code": "reason"}),
        "files_not_used": files_not_used(study),
    }


def excluded_jumps(study: Study) -> pd.DataFrame:
    """Return every jump that is not used: file, jump, athlete, group, session, by, code, reason."""
    jumps = study.measure()
    out = jumps[~jumps["accepted"].astype(bool)]
    checks = study.checks
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
            decision = study.decided.verdicts[place]
            reason = str(decision.get("reason") or _NOT_SAID)
            by, code = "person", reason
        else:
            failed = by_jump.get(place, [("unknown", _NOT_SAID)])
            by, code, reason = "rules", failed[0][0], " ".join(r for _, r in failed)
        rows.append((*place, row.athlete, row.group, row.session, by, code, reason))
    columns = ["file", "jump", "athlete", "group", "session", "by", "code", "reason"]
    return pd.DataFrame(rows, columns=columns)


def missing_athletes(study: Study) -> pd.DataFrame:
    """Return athletes of the roster without a recording in a session, with what is known."""
    jumps = study.measure()
    tested = set(zip(jumps["athlete"], jumps["session"].astype(str), strict=True))
    days = dict(zip(study.sessions["session"], study.sessions["date"], strict=True))
    notes: dict[str, list[dict[str, Any]]] = {}
    for row in study.participation.to_dict("records"):
        notes.setdefault(str(row["athlete"]), []).append(row)
    roster, order = study.athletes, study.settings.session_order
    rows = [
        (athlete, group, session, *_explained(notes.get(athlete, []), session, days, order))
        for athlete, group in zip(roster["athlete"], roster["group"], strict=True)
        for session in order
        if (athlete, session) not in tested
    ]
    return pd.DataFrame(rows, columns=["athlete", "group", "session", "status", "reason"])


def _explained(
    notes: list[dict[str, Any]], session: str, days: dict[str, Any], order: list[str]
) -> tuple[str, str]:
    """Return status and reason of the first participation row that covers a session.

    Who left, was withdrawn or excluded is gone from that session on.
    """
    day = days.get(session)
    for row in notes:
        named = row["session"]
        if pd.notna(named):
            gone = row["status"] in ("left", "withdrawn", "excluded") and named in order
            covered = named == session or (gone and order.index(session) > order.index(named))
        elif pd.isna(day) or not day:
            covered = False
        else:
            start = row["from"] if pd.notna(row["from"]) else ""
            end = row["to"] if pd.notna(row["to"]) else "9999"
            covered = start <= str(day) <= end
        if covered:
            reason = row["reason"]
            return str(row["status"]), _NOT_SAID if pd.isna(reason) else str(reason)
    return "", ""


def _sessions(study: Study, jumps: pd.DataFrame, missing: pd.DataFrame) -> pd.DataFrame:
    rows = []
    planned = len(study.athletes) or jumps["athlete"].nunique()
    for session, role in zip(study.sessions["session"], study.sessions["role"], strict=True):
        part = jumps[jumps["session"] == session]
        gone = missing[missing["session"] == session]
        rows.append(
            {
                "session": session,
                "role": role,
                "planned": planned,
                "tested": part["athlete"].nunique(),
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


def files_not_used(study: Study) -> pd.DataFrame:
    """Return recordings that belong to no athlete or session: file, reason."""
    codes = {"name_not_understood", "session_not_in_study", "ambiguous_name"}
    found = study.problems
    part = found[found["code"].isin(codes)]
    reason = part["found"] + " (" + part["expected"] + " expected)"
    return pd.DataFrame({"file": part["file"], "reason": reason}).reset_index(drop=True)


def provenance(study: Study) -> dict[str, Any]:
    """Return what the numbers come from: files, tables, choices, versions; plain data.

    Names of persons are not part of it: names.csv is neither read nor hashed.
    """
    jumps = study.measure()
    files = jumps.drop_duplicates("file")[["file", "sha256"]].sort_values("file")
    tables = {}
    for stem in ("study", *USER_TABLES):
        paths = [study.folder / "study.toml"] if stem == "study" else find_table(study.folder, stem)
        if stem != "names" and paths and paths[0].exists():
            tables[paths[0].name] = file_sha256(paths[0])
    return {
        "title": study.title,
        "engine": ENGINE,
        "method": study.method.to_dict(),
        "method_key": study.method.key,
        "plan": study.plan.to_dict(),
        "layouts": [layout.to_dict() for layout in study.layouts],
        "sessions": study.settings.sessions.to_dict("records"),
        "tables": tables,
        "recordings": dict(zip(files["file"], files["sha256"], strict=True)),
        "decisions": len(study.decisions),
        "versions": {"python": platform.python_version(), **_versions()},
        "platform": platform.platform(),
    }


def _versions() -> dict[str, str]:
    found = {}
    for name in _PACKAGES:
        try:
            found[name] = version(name)
        except PackageNotFoundError:
            continue
    return found
