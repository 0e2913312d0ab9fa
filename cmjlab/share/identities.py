"""New ids for athletes, other dates for their days, plain names for sessions; and the key back.

Ids are drawn at random from the system's own source; no seed exists from which they could be made
again. Dates move by whole weeks, so that weekdays and intervals stay: the calendar of the study by
one distance, the own days of each athlete by a distance of their own on top. All of it lies years
before the study, so that no day of the copy is a day of the study.
"""

from __future__ import annotations

import datetime as dt
import re
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from random import SystemRandom

import pandas as pd

from cmjlab.study.folder.ids import likeness
from cmjlab.study.folder.study_folder import StudyFolder

_LETTERS, _DIGITS = "BCDFGHJKLMNPQRSTVWXZ", "23456789"
#: The calendar of a study goes back by so many weeks (our own choice), and its own length on top.
_LEAST_WEEKS, _MOST_WEEKS = 200, 1000
#: The own days of an athlete lie at most so many weeks off the study's calendar (our own choice).
_OWN_WEEKS = 26
_DATED = re.compile(
    r"\d{4}|\d{1,2}[-._ ]\d{1,2}[-._ ]\d{2}|jan|feb|mar(?!k)|apr|may|jun|jul|aug|sep|oct|nov|dec",
    re.I,
)
#: The part of a text that is a date as tables have it.
_ISO = re.compile(r"\d{4}-\d{2}-\d{2}")


@dataclass(frozen=True)
class Identities:
    """Who and when in the study, and who and when in the copy.

    Attributes
    ----------
    athletes : dict of str to str
        Own id -> id in the copy.
    sessions : dict of str to str
        Own id -> id in the copy; equal unless the own id tells a day.
    persons : dict of str to str
        Testers and others who decided: own code -> code in the copy.
    study_days : int
        Days by which the calendar of the study moves.
    own_days : dict of str to int
        Days by which the own days of each athlete move.
    years : int
        Calendar years by which years of birth move, so that ages stay.
    """

    athletes: Mapping[str, str]
    sessions: Mapping[str, str]
    persons: Mapping[str, str]
    study_days: int
    own_days: Mapping[str, int]
    years: int = 0

    def day(self, date: object, athlete: str | None = None) -> str | None:
        """Return a date moved: by the study's distance, or by that of an athlete."""
        if date is None or pd.isna(date) or not _ISO.match(str(date)):  # type: ignore[call-overload]
            return None
        days = self.study_days if athlete is None else self.own_days[athlete]
        moved = dt.date.fromisoformat(str(date)[:10]) + dt.timedelta(days=days)
        return moved.isoformat()


def new_identities(study: StudyFolder) -> Identities:
    """Draw ids and distances for a study.

    Parameters
    ----------
    study : StudyFolder
        The study to be shared.
    """
    draw = SystemRandom()
    people = _people(study)
    ids = _new_ids(people, draw)
    days = _days(study)
    span = (max(days) - min(days)).days // 7 + 1 if days else 1
    weeks = -(draw.randint(_LEAST_WEEKS, _MOST_WEEKS) + span + _OWN_WEEKS)
    own = {a: 7 * (weeks + draw.randint(-_OWN_WEEKS, _OWN_WEEKS)) for a in people}
    anchor = reference_day(study)
    years = (anchor + dt.timedelta(days=7 * weeks)).year - anchor.year if anchor else 0
    return Identities(ids, _sessions(study), _persons(study), 7 * weeks, own, years)


def reference_day(study: StudyFolder) -> dt.date | None:
    """Return the day on which ages count: of the session that decided groups, else the first dated."""
    dates = dict(zip(study.sessions["session"], study.sessions["date"], strict=True))
    order = [study.plan.selected_in, study.before, *study.settings.session_order]
    for session in order:
        day = dates.get(session)
        if isinstance(day, str) and _ISO.match(day):
            return dt.date.fromisoformat(day[:10])
    return None


def _people(study: StudyFolder) -> list[str]:
    """Return everybody whom a table or a recording names, in the order of the roster."""
    found: dict[str, None] = {}
    for table in (
        study.athletes,
        study.files,
        study.measures,
        study.participation,
        study.subgroups,
    ):
        found |= dict.fromkeys(str(a) for a in table["athlete"].dropna())
    return list(found)


def _new_ids(people: list[str], draw: SystemRandom) -> dict[str, str]:
    """Return a random id for each: letter, digit, letter, digit, as often as a squad needs."""
    pairs = 2 if len(people) < 500 else 3
    taken = {likeness(a) for a in people}
    out: dict[str, str] = {}
    for athlete in people:
        new = ""
        while not new or likeness(new) in taken:
            new = "".join(draw.choice(_LETTERS) + draw.choice(_DIGITS) for _ in range(pairs))
        taken.add(likeness(new))
        out[athlete] = new
    return out


def _sessions(study: StudyFolder) -> dict[str, str]:
    """Return the ids of sessions; those that tell a day or a year become numbers in order."""
    order = study.settings.session_order
    taken = {likeness(s) for s in order}
    out: dict[str, str] = {}
    for place, session in enumerate(order, start=1):
        new = session
        if _DATED.search(session):
            new = f"session{place}"
            while likeness(new) in taken:
                new += "x"
        out[session] = new
    return out


def _persons(study: StudyFolder) -> dict[str, str]:
    """Return a code for each person who tested or decided, in order of appearance."""
    named = [*study.sessions["tester"].dropna(), *study.decisions["who"].dropna()]
    return {w: f"person{n}" for n, w in enumerate(dict.fromkeys(map(str, named)), start=1)}


def _days(study: StudyFolder) -> list[dt.date]:
    """Return every day that the study names."""
    columns = [
        study.sessions["date"], study.files["date"], study.measures["date"],
        study.participation["from"], study.participation["to"], study.decisions["when"],
    ]  # fmt: skip
    words = [str(d)[:10] for column in columns for d in column.dropna()]
    return [dt.date.fromisoformat(w) for w in words if _ISO.fullmatch(w)]


def key_rows(found: Identities, more: Iterable[tuple[str, str, str]]) -> pd.DataFrame:
    """Return the key: what each id, session and date of the study became.

    Parameters
    ----------
    found : Identities
    more : iterable of (kind, own, shared)
        Further rows.
    """
    rows: list[tuple[str, str, str, int | None]] = [
        ("athlete", own, new, found.own_days[own]) for own, new in found.athletes.items()
    ]
    rows += [("session", own, new, found.study_days) for own, new in found.sessions.items()]
    rows += [("person", own, new, None) for own, new in found.persons.items()]
    rows += [(kind, own, new, None) for kind, own, new in more]
    table = pd.DataFrame(rows, columns=["kind", "own", "shared", "days_moved"])
    return table.astype({"days_moved": "Int64"})
