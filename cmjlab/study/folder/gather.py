"""Draft recordings.csv from any heap of files: whose file it is, and from which session.

Evidence is taken from file and folder names (ids of the roster, names of names.csv, session
ids, dates) and, last, from the files' time stamps. What cannot be placed is named with the
reason. Files are never renamed; files outside the study are copied when the draft is written.
"""

from __future__ import annotations

import datetime as dt
import re
import unicodedata
from dataclasses import dataclass
from pathlib import Path

import pandas as pd

from cmjlab.errors import ReadError, StudyError
from cmjlab.files.atomic_write import atomic_copy
from cmjlab.study.folder.file_names import SUFFIXES, from_entities, stem_and_suffix
from cmjlab.study.folder.ids import likeness, natural_order
from cmjlab.study.folder.problems import Problems
from cmjlab.study.folder.recordings import files_below
from cmjlab.study.folder.study_folder import StudyFolder
from cmjlab.study.folder.user_tables import read_user_table
from cmjlab.tables import NAMES, RECORDINGS


@dataclass(frozen=True)
class Draft:
    """A draft of recordings.csv.

    Attributes
    ----------
    table : pandas.DataFrame
        Columns of recordings.csv, and ``how``: what each row rests on.
    unplaced : tuple of str
        Files that could not be placed, each with the reason.
    understood : int
        Files of the recordings folder whose own name says everything; they need no row.
    """

    table: pd.DataFrame
    unplaced: tuple[str, ...]
    understood: int = 0


@dataclass(frozen=True)
class _Clues:
    """What is known before looking at a file: ids, names and days."""

    athletes: dict[str, list[str]]
    sessions: dict[str, str]
    days: dict[str, list[str]]


def gather(folder: str | Path, study: str | Path, dry_run: bool = True) -> Draft:
    """Draft recordings.csv for a folder of files with any names.

    Parameters
    ----------
    folder : str or Path
        Heap of files; it may be the study's own recordings folder.
    study : str or Path
        Study folder with roster and sessions.
    dry_run : bool
        True: only return the draft. False: also write it into recordings.csv (rows that
        stand there are kept) and copy files that lie outside the study.

    Returns
    -------
    Draft

    Raises
    ------
    StudyError
        When the heap is no folder, or a file of the same path stands in the study.
    """
    folder = Path(folder)
    if not folder.is_dir():
        raise StudyError(
            f"{folder}: {'is a file; name the folder with it' if folder.exists() else 'there is no such folder'}."
            " First comes the folder with recordings, then the study folder."
        )
    owner = StudyFolder.read(study)
    home = owner.settings.recordings
    inside = folder.resolve().is_relative_to(home.resolve())
    clues = _clues(owner)
    known = set(owner.recordings["file"].dropna())
    rows, unplaced, understood = [], [], 0
    for name, path in files_below(folder).items():
        if not stem_and_suffix(name)[1].lower().startswith(SUFFIXES):
            continue
        if inside:
            place = (folder.resolve() / name).relative_to(home.resolve())
            target = unicodedata.normalize("NFC", place.as_posix())
            if target not in known and _says_all(target, owner):
                understood += 1
                continue
        else:
            target = f"{folder.name}/{name}"
        if target in known:
            continue
        found = _place(name, path, clues)
        if isinstance(found, str):
            unplaced.append(f"{name}: {found}")
        else:
            rows.append({"file": target, "path": path, **found})
    table = _number_trials(pd.DataFrame(rows, columns=["file", "path", *_FOUND]))
    if not dry_run and len(table):
        _write(owner, table, inside)
    return Draft(table.drop(columns=["path", "number", "time"]), tuple(unplaced), understood)


_FOUND = ["athlete", "session", "number", "date", "time", "how"]


def _says_all(file: str, study: StudyFolder) -> bool:
    fields = from_entities(file)
    return fields.get("session") in study.settings.session_order and bool(fields.get("athlete"))


def _clues(study: StudyFolder) -> _Clues:
    athletes: dict[str, list[str]] = {}
    for athlete in study.athletes["athlete"].dropna():
        athletes.setdefault(likeness(athlete), []).append(athlete)
    names = read_user_table(study.folder, "names", NAMES, Problems())
    for athlete, name in zip(names["athlete"], names["name"], strict=True):
        if pd.notna(athlete) and pd.notna(name):
            athletes.setdefault(likeness(name), []).append(athlete)
            turned = " ".join(reversed(str(name).split()))
            athletes.setdefault(likeness(turned), []).append(athlete)
    sessions = {likeness(s): s for s in study.settings.session_order}
    days: dict[str, list[str]] = {}
    for session, date in zip(study.sessions["session"], study.sessions["date"], strict=True):
        if pd.notna(date) and date:
            days.setdefault(str(date), []).append(session)
    return _Clues(athletes, sessions, days)


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


def _place(name: str, path: Path, clues: _Clues) -> dict[str, object] | str:
    """Return the fields of a file, or the reason why it cannot be placed."""
    stem = stem_and_suffix(name)[0]
    parts = list(reversed(stem.split("/")))  # the file's own name first, then its folders
    how: list[str] = []
    athletes = _first(parts, clues.athletes)
    if not athletes:
        if not clues.athletes:
            return "athletes.csv has no rows yet; fill in the athletes first"
        return "no athlete of the roster in its name or folders"
    if len(set(athletes)) > 1:
        return f"may belong to {' or '.join(dict.fromkeys(athletes))}"
    how.append("athlete by name")
    day, day_how = _day(parts, path, clues)
    sessions = _first(parts, {k: [v] for k, v in clues.sessions.items()})
    if len(set(sessions)) > 1:
        return f"may belong to session {' or '.join(dict.fromkeys(sessions))}"
    if sessions:
        how.append("session by name")
    elif len(clues.days.get(day, [])) == 1:
        sessions = clues.days[day]
        how.append(f"session by {day_how}")
    elif len(clues.days.get(day, [])) > 1:
        return f"{day} is the day of sessions {' and '.join(clues.days[day])}"
    else:
        return f"no session in its name, and {day} ({day_how}) is no day of a session"
    return {
        "athlete": athletes[0],
        "session": sessions[0],
        "number": _number(parts[0], athletes[0], sessions[0]),
        "date": day if day_how != "time stamp" or day in clues.days else "",
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


def _day(parts: list[str], path: Path, clues: _Clues) -> tuple[str, str]:
    """Return the day of a file (ISO) and where it comes from."""
    for part in parts:
        found = re.search(r"(?<!\d)(20\d{2})[-_.]?(\d{2})[-_.]?(\d{2})(?!\d)", part)
        if found:
            try:
                return dt.date(*(int(g) for g in found.groups())).isoformat(), "date in its name"
            except ValueError:
                continue
        found = re.search(r"(?<!\d)(\d{1,2})[-_.](\d{1,2})[-_.](20\d{2})(?!\d)", part)
        if found:  # day and month cannot be told apart: only a day of a session decides
            first, second, year = (int(g) for g in found.groups())
            options = {f"{year}-{m:02d}-{d:02d}" for d, m in ((first, second), (second, first))}
            fitting = sorted(options & clues.days.keys())
            if len(fitting) == 1:
                return fitting[0], "date in its name"
    stamp = dt.datetime.fromtimestamp(path.stat().st_mtime)
    return stamp.date().isoformat(), "time stamp"


def _number(stem: str, athlete: str, session: str) -> int:
    """Return the last small number of a name that is not part of an id, or 0."""
    text = re.sub(r"(?<!\d)20\d{2}[-_.]?\d{2}[-_.]?\d{2}(?!\d)", " ", stem)
    text = re.sub(r"(?<!\d)\d{1,2}[-_.]\d{1,2}[-_.]20\d{2}(?!\d)", " ", text)
    for word in (athlete, session):
        text = re.sub(re.escape(word), " ", text, flags=re.IGNORECASE)
    numbers = re.findall(r"(?<!\d)\d{1,2}(?!\d)", text)
    return int(numbers[-1]) if numbers else 0


def _number_trials(table: pd.DataFrame) -> pd.DataFrame:
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


def _write(study: StudyFolder, table: pd.DataFrame, inside: bool) -> None:
    """Copy files from outside and add the rows to recordings.csv."""
    from cmjlab.files.table import write_table

    target = study.folder / "recordings.csv"
    if (study.folder / "recordings.xlsx").exists():
        raise StudyError("recordings.xlsx: save it as recordings.csv; rows cannot be added to it.")
    if not inside:
        for file, path in zip(table["file"], table["path"], strict=True):
            copy = study.settings.recordings / file
            if copy.exists() and copy.read_bytes() != path.read_bytes():
                raise StudyError(f"{file}: another file of this path stands in the study.")
        for file, path in zip(table["file"], table["path"], strict=True):
            copy = study.settings.recordings / file
            try:
                atomic_copy(path, copy)
            except OSError as problem:
                raise ReadError(f"{file}: cannot be copied ({problem.strerror}).") from problem
    new = RECORDINGS.cast(table)[RECORDINGS.names]
    old = study.recordings
    write_table(
        RECORDINGS.cast(pd.concat([old, new], ignore_index=True) if len(old) else new), target
    )
