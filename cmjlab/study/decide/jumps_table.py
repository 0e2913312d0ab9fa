"""The jumps table: kept rows of files with recordings, verdicts, context and roster joined.

The order is fixed: rows of the files -> a person's decisions -> checks against the other
jumps -> accepted -> roster. Roster columns come last and are validated many to one.
"""

from __future__ import annotations

import json

import numpy as np
import pandas as pd

from cmjlab.catalog import METRICS
from cmjlab.study.decide.decisions import Decided
from cmjlab.study.decide.other_jumps import checks_against_other_jumps
from cmjlab.study.folder.ids import natural_order
from cmjlab.study.folder.user_tables import ROW
from cmjlab.tables import CHECK_ROWS, JUMPS

#: Roster columns that are not joined: a plate measures body mass better than a list.
_NOT_JOINED = ("body_mass_kg", ROW)


def join_recordings(rows: pd.DataFrame, files: pd.DataFrame) -> pd.DataFrame:
    """Give rows of files their athlete, session, trial, date and load (by file and stretch).

    Rows of stretches that the study does not use are left out; the problems name them.
    """
    keys = zip(files["file"].tolist(), files["stretch"].tolist(), strict=True)
    place = {key: i for i, key in enumerate(keys)}
    wanted = zip(rows["file"].tolist(), rows["stretch"].tolist(), strict=True)
    found = np.array([place.get(key, -1) for key in wanted], dtype=np.int64)
    if (found < 0).any():
        rows, found = rows[found >= 0], found[found >= 0]
    columns = ["athlete", "session", "trial", "date", "load_kg"]
    of_files = files[columns].iloc[found].set_axis(pd.RangeIndex(len(found)))
    # In one piece: what comes in pieces makes pandas 3.0 warn when a column is added.
    out = pd.concat([rows.reset_index(drop=True), of_files], axis=1).copy()
    both = out["body_mass_kg"] + out["load_kg"]
    return out.assign(system_mass_kg=both.where(out["load_kg"] > 0.0))


def days_of(rows: pd.DataFrame, sessions: pd.DataFrame) -> pd.Series:
    """Return the day of each row: its file's own, else that of its session, else none."""
    days = dict(zip(sessions["session"], sessions["date"], strict=True))
    said = [
        own if isinstance(own, str) and own else days.get(session)
        for own, session in zip(rows["date"].tolist(), rows["session"].tolist(), strict=True)
    ]
    texts = [day if isinstance(day, str) and day else None for day in said]
    return pd.Series(texts, index=rows.index, dtype="str")


def apply_decisions(jumps: pd.DataFrame, decided: Decided) -> tuple[pd.DataFrame, pd.DataFrame]:
    """Return jumps with verdict and acceptance, and their checks against other jumps.

    Parameters
    ----------
    jumps : pandas.DataFrame
        Rows of the files with athlete and session.
    decided : Decided
        What persons decided.
    """
    jumps = jumps.copy()
    verdict = [
        str(decided.verdicts.get((f, int(j)), {}).get("action", ""))
        for f, j in zip(jumps["file"], jumps["jump"], strict=True)
    ]
    jumps["verdict"] = pd.Series(verdict, index=jumps.index, dtype="str")
    readable = jumps["error"] == ""
    own = jumps["accepted_by_rules"].astype(bool)
    context = checks_against_other_jumps(
        jumps[readable], _with_verdict(own, jumps["verdict"], readable)[readable]
    )
    failed = context.loc[context["status"] == "fail", ["file", "jump"]]
    pairs = set(failed.itertuples(index=False, name=None))
    against = [(f, j) in pairs for f, j in zip(jumps["file"], jumps["jump"], strict=True)]
    jumps["accepted_by_rules"] = own & ~np.array(against, dtype=bool)
    jumps["accepted"] = _with_verdict(jumps["accepted_by_rules"], jumps["verdict"], readable)
    jumps["flags"] = _flags(jumps, context)
    return jumps, context


def all_checks(checks: pd.DataFrame, context: pd.DataFrame, jumps: pd.DataFrame) -> pd.DataFrame:
    """Return the checks of the files and those against other jumps, in the order of the jumps."""
    both = pd.concat([checks.drop(columns="key"), context], ignore_index=True)
    return _in_order(both, jumps)


def _with_verdict(rules: pd.Series, verdict: pd.Series, readable: pd.Series) -> pd.Series:
    """A person's verdict counts before the rules; a file that cannot be read is never used."""
    return ((rules | (verdict == "accept")) & (verdict != "reject") & readable).astype(bool)


def _flags(jumps: pd.DataFrame, context: pd.DataFrame) -> pd.Series:
    extra: dict[tuple[str, int], list[str]] = {}
    seen = context[context["status"].isin(["note", "warn", "fail"])]
    for file, jump, code, status in seen[["file", "jump", "code", "status"]].itertuples(
        index=False
    ):
        extra.setdefault((file, jump), []).append(f"{code}:{status}")
    flags = [
        ";".join(sorted([*(f for f in own.split(";") if f), *extra.get((file, jump), [])]))
        for own, file, jump in zip(jumps["flags"], jumps["file"], jumps["jump"], strict=True)
    ]
    return pd.Series(flags, index=jumps.index, dtype="str")


def _in_order(checks: pd.DataFrame, jumps: pd.DataFrame) -> pd.DataFrame:
    """Return checks in the order of the jumps, each jump's in the order of the rules."""
    place = {k: i for i, k in enumerate(zip(jumps["file"], jumps["jump"], strict=True))}
    keys = zip(checks["file"].tolist(), checks["jump"].tolist(), strict=True)
    rank = np.array([place.get(k, -1) for k in keys], dtype=int)
    order = np.argsort(rank, kind="stable")[np.count_nonzero(rank < 0) :]
    return CHECK_ROWS.cast(checks.iloc[order].reset_index(drop=True))


def unpack_column(rows: pd.DataFrame, column: str, names: tuple[str, str]) -> pd.DataFrame:
    """Return a packed column of kept rows as a table: file, jump and two named columns."""
    out = []
    for file, jump, text in rows[["file", "jump", column]].itertuples(index=False):
        value = json.loads(text)
        pairs = value.items() if isinstance(value, dict) else value
        out += [(file, jump, first, second) for first, second in pairs]
    return pd.DataFrame(out, columns=["file", "jump", *names])


def sort_jumps(
    jumps: pd.DataFrame, session_order: list[str], athletes: pd.DataFrame
) -> pd.DataFrame:
    """Return jumps by session, roster order, trial, file and jump.

    The roster's order is used, not the ids: shared copies with other ids keep their order.
    """
    sessions = {s: i for i, s in enumerate(session_order)}
    roster = {a: i for i, a in enumerate(athletes["athlete"])}
    columns = [jumps[c].tolist() for c in ("session", "athlete", "trial", "file", "jump")]
    keys = [
        (
            sessions.get(s, 999),
            roster.get(a, 10**6),
            natural_order(a),
            natural_order(t),
            natural_order(f),
            j,
        )
        for s, a, t, f, j in zip(*columns, strict=True)
    ]
    order = sorted(range(len(jumps)), key=keys.__getitem__)
    return jumps.iloc[order].reset_index(drop=True)


def jumps_with_roster(
    jumps: pd.DataFrame, sessions: pd.DataFrame, athletes: pd.DataFrame
) -> pd.DataFrame:
    """Return the jumps table: declared columns and dtypes, roster joined, session ordered."""
    keep = [c for c in JUMPS.names if c in jumps]
    table = JUMPS.cast(jumps[keep])
    table = table.merge(
        athletes.drop(columns=[c for c in _NOT_JOINED if c in athletes]).drop_duplicates("athlete"),
        on="athlete", how="left", validate="m:1",
    )  # fmt: skip
    roles = dict(zip(sessions["session"], sessions["role"], strict=True))
    table["role"] = table["session"].map(roles).astype("str")
    table["session"] = ordered_sessions(table["session"], sessions)
    of_roster = [c for c in table.columns if c not in JUMPS.names]
    of_roster.sort(key=lambda c: (c != "group", c != "role"))
    head = [c for c in JUMPS.names if c not in METRICS]
    metrics = [c for c in JUMPS.names if c in METRICS]
    place = head.index("accepted")
    return table[[*head[:place], *of_roster, *head[place:], *metrics]]


def ordered_sessions(column: pd.Series, sessions: pd.DataFrame) -> pd.Series:
    """Return session ids as an ordered category in the order of the study."""
    kind = pd.CategoricalDtype(list(sessions["session"]), ordered=True)
    return column.astype("str").astype(kind)
