"""Test day: who has jumped, who must jump again and why; to be run again and again."""

from __future__ import annotations

from dataclasses import dataclass

import pandas as pd

from cmjlab.checks import listed, suggestion
from cmjlab.errors import StudyError
from cmjlab.study.study import Study


@dataclass(frozen=True)
class TestDay:
    """The state of one session.

    Attributes
    ----------
    session : str
    athletes : pandas.DataFrame
        athlete, group, valid, wanted, recorded, status ("done", "jump again", "not yet",
        "absent"), reason (why jumps do not count, in words).
    jumps : pandas.DataFrame
        The jumps of the session: athlete, trial, file, jump, accepted, jump_height_m, reason.
    run_sheet : pandas.DataFrame
        To print before: place, athlete, group, jumps wanted, last body mass and empty columns.
    other_files : tuple of str
        Files that could not be placed or read, with the reason.
    """

    session: str
    athletes: pd.DataFrame
    jumps: pd.DataFrame
    run_sheet: pd.DataFrame
    other_files: tuple[str, ...]

    @property
    def repeats(self) -> pd.DataFrame:
        """Athletes who must jump again, with how many jumps are missing and why."""
        part = self.athletes[self.athletes["status"] == "jump again"]
        return part.assign(missing=part["wanted"] - part["valid"])[
            ["athlete", "group", "missing", "reason"]
        ].reset_index(drop=True)

    def lines(self) -> list[str]:
        """Return the state in plain sentences, the most urgent last."""
        status = self.athletes["status"]
        done, total = int((status == "done").sum()), int((status != "absent").sum())
        out = [f"{self.session}: {done} of {total} athletes have all their valid jumps."]
        absent = self.athletes.loc[status == "absent", "athlete"]
        if len(absent):
            out.append(f"Absent: {listed(absent, most=40)}.")
        out += [f"File not used: {text}" for text in self.other_files]
        waiting = self.athletes.loc[status == "not yet", "athlete"]
        if len(waiting):
            out.append(f"Not yet jumped: {listed(waiting, most=40)}.")
        for row in self.repeats.itertuples(index=False):
            jumps = "one more jump" if row.missing == 1 else f"{row.missing} more jumps"
            why = f" {row.reason}" if row.reason else ""
            out.append(f"Jump again: {row.athlete}, {jumps}.{why}")
        return out


def today(study: Study, session: str) -> TestDay:
    """Return the state of a session from the recordings that are there now.

    Parameters
    ----------
    study : Study
        Freshly opened study; only new files are measured.
    session : str
        Session of today.

    Raises
    ------
    StudyError
        When the study has no such session.
    """
    order = study.settings.session_order
    if session not in order:
        raise StudyError(
            f"session: there is no {session!r}; sessions are {', '.join(order)}."
            f"{suggestion(session, order)}"
        )
    table = study.jumps_at_load()
    part = table[table["session"] == session]
    flow = study.flow()
    why = _reasons(flow["excluded"], session)
    jumps = part[["athlete", "trial", "file", "jump", "accepted", "jump_height_m"]].copy()
    jumps["reason"] = [
        why.get((f, int(j)), "") for f, j in zip(part["file"], part["jump"], strict=True)
    ]
    return TestDay(
        session,
        _athletes(study, jumps, _excused(flow["missing"], session)),
        jumps.reset_index(drop=True),
        run_sheet(study, session),
        tuple(f"{r.file}: {r.reason}" for r in flow["files_not_used"].itertuples(index=False)),
    )


def _reasons(excluded: pd.DataFrame, session: str) -> dict[tuple[str, int], str]:
    """Return why jumps of this session do not count: (file, jump) -> reason."""
    part = excluded[excluded["session"] == session]
    return {(r.file, int(r.jump)): str(r.reason) for r in part.itertuples(index=False)}


def _athletes(study: Study, jumps: pd.DataFrame, excused: dict[str, str]) -> pd.DataFrame:
    """Return the state of each athlete from the jumps of this session."""
    wanted = int(study.plan.jumps_wanted)
    roster = study.athletes
    groups = dict(zip(roster["athlete"], roster["group"], strict=True))
    own: dict[str, list[tuple[bool, str]]] = {a: [] for a in groups}
    for row in jumps.itertuples(index=False):
        words = f"Jump {row.trial or row.jump}: {row.reason}"
        own.setdefault(row.athlete, []).append((bool(row.accepted), words))
    rows = []
    for athlete, tried in own.items():
        valid = sum(good for good, _ in tried)
        reason = " ".join(words for good, words in tried if not good)
        if valid >= wanted:
            status = "done"
        elif tried:
            status = "jump again"
        else:
            status = "absent" if athlete in excused else "not yet"
            reason = excused.get(athlete, "")
        rows.append((athlete, groups.get(athlete), valid, wanted, len(tried), status, reason))
    columns = ["athlete", "group", "valid", "wanted", "recorded", "status", "reason"]
    return pd.DataFrame(rows, columns=columns)


def _excused(missing: pd.DataFrame, session: str) -> dict[str, str]:
    """Return athletes whom participation.csv excuses from this session, with the reason."""
    part = missing[(missing["session"] == session) & (missing["status"] != "")]
    return {r.athlete: f"{r.status}: {r.reason}" for r in part.itertuples(index=False)}


def run_sheet(study: Study, session: str) -> pd.DataFrame:
    """Return the sheet to print before a session: one row per athlete, with room to write.

    The last body mass on the plate helps to notice a file saved under the wrong athlete.
    """
    wanted = int(study.plan.jumps_wanted)
    people = study.athletes[["athlete", "group"]].reset_index(drop=True)
    out = pd.DataFrame({"place": range(1, len(people) + 1), **people})
    table = study.measure()
    order = study.settings.session_order
    earlier = order[: order.index(session)]
    seen = table[table["session"].isin(earlier) & table["accepted"].astype(bool)]
    last = seen.groupby("athlete", sort=False)["body_mass_kg"].last()
    out["last_body_mass_kg"] = out["athlete"].map(last).astype("float64").round(1)
    out["jumps_wanted"] = wanted
    for number in range(1, wanted + 1):
        out[f"jump_{number}"] = ""
    out["remark"] = ""
    return out
