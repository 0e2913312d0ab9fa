"""What a heap of files leaves open, as questions that say what to write."""

from __future__ import annotations

import datetime as dt
import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from cmjlab.study.folder.file_names import stem_and_suffix
from cmjlab.study.folder.heap_people import People, label_of
from cmjlab.study.folder.ids import likeness, natural_order

#: More labels than this at one level are no sessions (our own).
_MOST_SESSIONS = 20
#: Days no further apart than this may be one session (our own; only a suggestion).
_NEAR = dt.timedelta(days=3)


@dataclass(frozen=True)
class Question:
    """One thing that only a person can say.

    Attributes
    ----------
    code : str
        Key of its words below ``gather``: "century", "order", "sessions", "days_open", "no_session",
        "one_person".
    values : mapping
        Values of the gaps; ``write`` holds the options to add to the command.
    """

    code: str
    values: Mapping[str, Any]


@dataclass(frozen=True)
class Open:
    """A file whose session is not known: its name, its athlete's labels, its day."""

    file: str
    day: str
    dated: bool


def about_people(people: People, stated: Mapping[str, str]) -> list[Question]:
    """Return a question for each pair of names that may be one person."""
    out = []
    for first, second in people.doubts:
        if likeness(first) in stated or likeness(second) in stated:
            continue
        same = _option("athlete", second, people.labels[first])
        free = next(
            i for i in (f"A{n:02d}" for n in range(1, 1000)) if i not in set(people.labels.values())
        )
        out.append(
            Question(
                "one_person",
                {"first": first, "second": second, "same": same,
                 "other": _option("athlete", second, free)},
            )
        )  # fmt: skip
    return out


def about_sessions(
    left: Sequence[Open], known: Sequence[str], labels: Mapping[str, str]
) -> list[Question]:
    """Return which words or days of a heap have to be told apart as sessions.

    Parameters
    ----------
    left : sequence of Open
        Files without a session.
    known : sequence of str
        The study's sessions, in order.
    labels : mapping of str to id
        What stands for athletes in names.
    """
    if not left:
        return []
    by_word = _session_words([f.file for f in left], labels)
    if by_word:
        days = {
            word: min((f.day for f in left if f.dated and f.file in set(files)), default="")
            for word, files in by_word.items()
        }
        words = sorted(by_word, key=lambda w: (days[w], natural_order(w)))
        found = [f"{w} ({len(by_word[w])})" for w in words]
        return [Question("sessions", {"found": found, "known": list(known),
                                      "write": _pairs(words, known)})]  # fmt: skip
    days_left: dict[str, int] = {}
    for file in left:
        if file.dated:
            days_left[file.day] = days_left.get(file.day, 0) + 1
    if not days_left:
        return [Question("no_session", {"n": len(left), "example": left[0].file})]
    order = sorted(days_left)
    found = [f"{d} ({days_left[d]})" for d in order]
    runs = _runs(order)
    write = " ".join(
        _option("session", day, known[i] if len(runs) == len(known) else "SESSION")
        for i, run in enumerate(runs)
        for day in run
    )
    return [Question("days_open", {"found": found, "known": list(known), "write": write})]


def _runs(days: Sequence[str]) -> list[list[str]]:
    """Return days in runs that may be one session each: a few days apart at most."""
    out: list[list[str]] = []
    for day in days:
        if out and dt.date.fromisoformat(day) - dt.date.fromisoformat(out[-1][-1]) <= _NEAR:
            out[-1].append(day)
        else:
            out.append([day])
    return out


def _pairs(words: Sequence[str], known: Sequence[str]) -> str:
    """Return the options; filled in order where there are as many words as sessions."""
    fit = len(words) == len(known)
    return " ".join(
        _option("session", word, known[i] if fit else "SESSION") for i, word in enumerate(words)
    )


def _option(name: str, label: str, value: str) -> str:
    """Return an option as every shell understands it: double quotes where there is a blank."""
    text = f"{label}={value}"
    return f'--{name} "{text}"' if re.search(r"[^\w.:/+=-]", text) else f"--{name} {text}"


def _session_words(files: Sequence[str], labels: Mapping[str, str]) -> dict[str, list[str]]:
    """Return the words at the level that may be sessions -> files; empty when no level fits."""
    people = {w.casefold() for label in labels for w in label.split()}
    paths = {f: list(reversed(stem_and_suffix(f)[0].split("/"))) for f in files}
    for level in range(max(map(len, paths.values()))):
        found: dict[str, list[str]] = {}
        for file, parts in paths.items():
            word = _rest(parts[level], people, level > 0) if level < len(parts) else ""
            if word:
                found.setdefault(word, []).append(file)
        counted = sum(map(len, found.values()))
        if found and counted == len(files) and len(found) <= min(_MOST_SESSIONS, len(files) // 2):
            return found
    return {}


def _rest(part: str, people: set[str], folder: bool) -> str:
    """Return the words of a name that stand neither for a person nor for a trial."""
    words = label_of(part, (), keep_sessions=True, keep_numbers=folder).split()
    kept = [w for w in words if w.casefold() not in people]
    return "" if all(w.isdecimal() for w in kept) else " ".join(kept)
