"""The tables of a copy: the columns that go along, with new ids and dates."""

from __future__ import annotations

from dataclasses import dataclass

import pandas as pd

from cmjlab.errors import StatsError, StudyError
from cmjlab.share.columns import REASON, STATUS, Choice
from cmjlab.share.forces import Forces, jump_numbers
from cmjlab.share.identities import Identities, reference_day
from cmjlab.stats.subgroups.rules import read_rules
from cmjlab.study.folder.participation import GONE
from cmjlab.study.study import Study
from cmjlab.tables import RECORDINGS

#: Ages of a band, from and to (our own choice; 18 is a border because consent changes there).
BANDS = ((0, 14), (15, 17), (18, 20), (21, 24), (25, 29), (30, 34), (35, 39), (40, 200))
#: Column of the roster in place of years of birth.
AGE_BAND = "age_band"
#: What stands in a copy for a reason that a decision cannot be without.
NOT_PASSED_ON = "not passed on"
#: What stands in a copy for why somebody was not there who came back.
_AWAY = "absent"


@dataclass(frozen=True)
class Rewriting:
    """What is needed to write a study's tables anew."""

    study: Study
    found: Identities
    choice: Choice
    forces: Forces
    age_bands: bool = False


def own_tables(study: Study) -> dict[str, pd.DataFrame]:
    """Return the tables of a study that may go along, by file stem; those with rows only."""
    tables = {
        "athletes": study.athletes,
        "sessions": study.sessions.drop(columns="role"),
        "measures": study.measures,
        "participation": study.participation,
        "decisions": study.decisions,
        "subgroups": study.subgroups,
        "block": study.block,
        "targets": study.targets,
        "reference": study.reference,
    }
    return {stem: table for stem, table in tables.items() if len(table)}


def shared_tables(work: Rewriting) -> dict[str, pd.DataFrame]:
    """Return the tables of the copy by file stem.

    Rows stand in the order of the new ids: the order of the own ids, often that of names, is not
    passed on.

    Raises
    ------
    StudyError
        A rule of subgroups needs a column that does not go along.
    """
    _refuse_blind_rules(work)
    out: dict[str, pd.DataFrame] = {}
    for stem, table in own_tables(work.study).items():
        part = table[work.choice.columns(stem, [str(c) for c in table.columns])]
        part = _with_new_ids(part, work.found)
        own = _OWN_WAYS.get(stem)
        out[stem] = own(part, work) if own else part
    listed = RECORDINGS.frame(work.forces.rows).drop(columns=["start", "stop"])
    out["recordings"] = listed.sort_values("file").reset_index(drop=True)
    return {stem: t.dropna(axis=1, how="all") for stem, t in out.items() if len(t)}


def _with_new_ids(part: pd.DataFrame, found: Identities) -> pd.DataFrame:
    """Return a table with the ids, sessions and dates of the copy, its rows by the new ids."""
    out = part.copy()
    own = part["athlete"] if "athlete" in part else pd.Series(None, index=part.index, dtype="str")
    if "date" in out:
        pairs = zip(part["date"], own, strict=True)
        out["date"] = [found.day(d, None if pd.isna(a) else a) for d, a in pairs]
    for column in ("from", "to"):  # held against the calendar of the study
        if column in out:
            out[column] = [found.day(d) for d in part[column]]
    if "session" in out:
        out["session"] = part["session"].map(found.sessions)
    if "athlete" in out:
        out["athlete"] = own.map(found.athletes)
        order = out["athlete"].fillna("").sort_values(kind="stable").index
        out = out.loc[order]
    return out.reset_index(drop=True)


def _athletes(part: pd.DataFrame, work: Rewriting) -> pd.DataFrame:
    """Return the roster: years of birth moved with the calendar, or as bands; groups in order."""
    out = part.copy()
    if "birth_year" in out and out["birth_year"].notna().any():
        if work.age_bands:
            out.insert(out.columns.get_loc("birth_year"), AGE_BAND, _bands(part, work))
            out = out.drop(columns="birth_year")
        else:
            out["birth_year"] = out["birth_year"] + work.found.years
    groups = list(dict.fromkeys(work.study.athletes["group"].dropna()))
    rank = out["group"].map({g: i for i, g in enumerate(groups)}).fillna(len(groups))
    return out.loc[rank.sort_values(kind="stable").index].reset_index(drop=True)


def _bands(part: pd.DataFrame, work: Rewriting) -> list[str | None]:
    day = reference_day(work.study)
    if day is None:
        raise StudyError(
            "age bands: no session of the study has a date, so ages are not known. Write the dates"
            " into study.toml."
        )
    ages = [None if pd.isna(y) else day.year - int(y) for y in part["birth_year"]]
    return [None if a is None else _band(a) for a in ages]


def _band(age: int) -> str:
    low, high = next(((lo, hi) for lo, hi in BANDS if lo <= age <= hi), BANDS[-1])
    if low == 0:
        return f"under {high + 1}"
    return f"{low} and over" if high == BANDS[-1][1] else f"{low} to {high}"


def _sessions(part: pd.DataFrame, work: Rewriting) -> pd.DataFrame:
    out = part.copy()
    if "tester" in out:
        out["tester"] = out["tester"].map(work.found.persons)
    return out


def _participation(part: pd.DataFrame, work: Rewriting) -> pd.DataFrame:
    """Return who was missing; why somebody was away who came back may be a matter of health."""
    if work.choice.keeps(STATUS):
        return part
    return part.assign(status=part["status"].where(part["status"].isin(GONE), _AWAY))


def _decisions(part: pd.DataFrame, work: Rewriting) -> pd.DataFrame:
    """Return the log; rows on files that are not in the copy stay at home."""
    rows = []
    numbers: dict[str, dict[int, tuple[int, int]]] = {}
    athletes = dict(zip(work.study.files["file"], work.study.files["athlete"], strict=True))
    for row in part.to_dict("records"):
        file, jump = str(row["file"]).replace("\\", "/"), row["jump"]
        if file not in athletes or pd.isna(jump):
            continue
        known = numbers.setdefault(file, {}) or jump_numbers(work.study, file)
        numbers[file] = known
        stretch, number = known.get(int(jump), (0, int(jump)))
        name = work.forces.names.get((file, stretch))
        if name is None:
            continue
        day = work.found.day(row["when"], athletes[file])
        row |= {"file": name, "jump": number, "when": day or NOT_PASSED_ON}
        row["time_s"] -= work.forces.clocks.get(file, 0.0)
        row["who"] = work.found.persons.get(str(row["who"]), NOT_PASSED_ON)
        if not work.choice.keeps(REASON):
            row["reason"] = NOT_PASSED_ON
        rows.append(row)
    log = pd.DataFrame(rows, columns=part.columns)
    return log.sort_values("file", kind="stable").reset_index(drop=True)


_OWN_WAYS = {
    "athletes": _athletes,
    "sessions": _sessions,
    "participation": _participation,
    "decisions": _decisions,
}


def _refuse_blind_rules(work: Rewriting) -> None:
    """Stop when a rule looks at a column of the roster that would not be there."""
    rules = work.study.subgroups
    if rules.empty:
        return
    try:
        words = {c.metric for c in read_rules(rules).conditions if c.is_word}
    except StatsError:  # rules that cannot be read place nobody, here or there
        return
    there = [str(c) for c in work.study.athletes.columns]
    missing = [c for c in there if c in words and c not in work.choice.columns("athletes", there)]
    if missing:
        raise StudyError(
            f"subgroups.csv: a rule needs the column {missing[0]!r} of athletes.csv, which does not go"
            f" along by itself. Name it: --keep {missing[0]}."
        )
