"""Where each file of a heap belongs: athlete, session, trial and day from names and clues."""

from __future__ import annotations

import datetime as dt
import re
import unicodedata
from dataclasses import dataclass
from pathlib import Path

import pandas as pd

from cmjlab.study.folder.file_names import stem_and_suffix
from cmjlab.study.folder.heap_dates import day_in, without_dates
from cmjlab.study.folder.ids import likeness, natural_order

FOUND = ["athlete", "session", "number", "date", "time", "how"]
_UNREAD = {
    "order": "no session in its name, and day and month of its date could be exchanged",
    "century": "no session in its name, and the year of its date has two digits",
}
NOTHING = {"athlete": "", "session": "", "date": "", "dated": False, "unclear": "", "reason": ""}


@dataclass(frozen=True)
class Clues:
    """What is known before looking at a file: ids, names and days."""

    athletes: dict[str, list[str]]
    sessions: dict[str, str]
    days: dict[str, list[str]]
    order: str = ""


def _words(text: str) -> list[str]:
    """Return the words and runs of words of a name, longest first, as they may spell an id."""
    plain = unicodedata.normalize("NFKC", text)
    plain = re.sub(r"(?<=[a-z])(?=[A-Z])", " ", plain)
    pieces = [p for p in re.split(r"[\W_]+", plain) if p]
    runs = [
        "".join(pieces[i : i + n]) for n in range(min(4, len(pieces)), 0, -1)
        for i in range(len(pieces) - n + 1)
    ]  # fmt: skip
    return [likeness(r) for r in runs]


def place(name: str, path: Path, clues: Clues) -> dict[str, object]:
    """Return the fields of a file; ``reason`` says why it cannot be placed, "" when it can."""
    stem = stem_and_suffix(name)[0]
    parts = list(reversed(stem.split("/")))  # the file's own name first, then its folders
    how: list[str] = []
    athletes = _first(parts, clues.athletes)
    day, day_how = _day(parts, path, clues)
    unclear = day_how if day_how in ("order", "century") else ""
    out: dict[str, object] = {**NOTHING, "unclear": unclear}
    if not athletes:
        if not clues.athletes:
            reason = (
                "athletes.csv has no rows yet, and names tell nobody; fill in the athletes first"
            )
        else:
            reason = "no athlete of the roster in its name or folders"
        return out | {"reason": reason}
    if len(set(athletes)) > 1:
        return out | {"reason": f"may belong to {' or '.join(dict.fromkeys(athletes))}"}
    how.append("athlete by name")
    sessions = _first(parts, {k: [v] for k, v in clues.sessions.items()})
    by_day = clues.days.get(day, [])
    out |= {"athlete": athletes[0], "date": day, "dated": day_how == "date in its name"}
    if len(set(sessions)) > 1:
        return out | {"session": sessions[0],
                      "reason": f"may belong to session {' or '.join(dict.fromkeys(sessions))}"}  # fmt: skip
    if sessions:
        how.append("session by name")
    elif len(by_day) == 1:
        sessions = by_day
        how.append(f"session by {day_how}")
    elif len(by_day) > 1:
        return out | {"reason": f"{day} is the day of sessions {' and '.join(by_day)}"}
    elif unclear:
        return out | {"reason": _UNREAD[unclear]}
    else:
        return out | {
            "reason": f"no session in its name, and {day} ({day_how}) is no day of a session"
        }
    kept = day if day_how != "time stamp" or day in clues.days else ""
    return out | {
        "session": sessions[0],
        "number": _number(parts[0], athletes[0], sessions[0]),
        "date": kept,
        "time": path.stat().st_mtime_ns,
        "how": ", ".join(how),
    }


def _first(parts: list[str], known: dict[str, list[str]]) -> list[str]:
    """Return all hits of the longest matching run, in the first part that has any."""
    for part in parts:
        hits: list[str] = []
        longest = 0
        for word in _words(part):
            if word in known and len(word) >= longest:
                longest = len(word)
                hits += known[word]
        if hits:
            return hits
    return []


def _day(parts: list[str], path: Path, clues: Clues) -> tuple[str, str]:
    """Return the day of a file (ISO) and where it comes from, or why it is unclear."""
    for part in parts:
        day, unclear = day_in(part, clues.order, clues.days)
        if day:
            return day, "date in its name"
        if unclear:
            return "", unclear
    stamp = dt.datetime.fromtimestamp(path.stat().st_mtime)
    return stamp.date().isoformat(), "time stamp"


def _number(stem: str, athlete: str, session: str) -> int:
    """Return the last small number of a name that is not part of an id, or 0."""
    text = without_dates(stem)
    for word in (athlete, session):
        text = re.sub(re.escape(word), " ", text, flags=re.IGNORECASE)
    numbers = re.findall(r"(?<!\d)\d{1,2}(?!\d)", text)
    return int(numbers[-1]) if numbers else 0


def number_trials(table: pd.DataFrame) -> pd.DataFrame:
    """Give each athlete's session its trial numbers: those of the names, else by time."""
    table = table.assign(trial="")
    for _, rows in table.groupby(["athlete", "session"], sort=False):
        numbers = rows["number"]
        if (numbers > 0).all() and numbers.is_unique:
            table.loc[rows.index, "trial"] = numbers.astype(str)
            continue
        order = sorted(rows.index, key=lambda i: (rows["time"][i], natural_order(rows["file"][i])))
        for number, i in enumerate(order, start=1):
            table.loc[i, "trial"] = str(number)
            table.loc[i, "how"] = f"{table.loc[i, 'how']}, trial by time stamp"
    table["start"], table["stop"] = float("nan"), float("nan")
    order = ["file", "path", "athlete", "session", "trial", "date", "start", "stop", "how"]
    return table[[*order, "number", "time"]].reset_index(drop=True)
