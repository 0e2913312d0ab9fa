"""Draft recordings.csv from any heap of files: whose file it is, and from which session.

Evidence is taken from file and folder names (ids of the roster, names of names.csv, session
ids, dates) and, last, from the files' time stamps. A roster that is still empty is drafted from
the names, too. What cannot be placed is named with the reason; what has two readings is asked. Files are never renamed; files outside the study are copied when the draft is written.
"""

from __future__ import annotations

import re
import unicodedata
from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path

import pandas as pd

from cmjlab.checks import suggestion
from cmjlab.errors import ReadError, StudyError
from cmjlab.files.atomic_write import atomic_copy
from cmjlab.keys import file_sha256
from cmjlab.study.folder.file_names import SUFFIXES, from_entities, stem_and_suffix
from cmjlab.study.folder.heap_dates import order_of
from cmjlab.study.folder.heap_people import NOBODY, People, find_people, write_people
from cmjlab.study.folder.heap_places import FOUND, Clues, number_trials, place
from cmjlab.study.folder.heap_questions import Open, Question, about_people, about_sessions
from cmjlab.study.folder.ids import likeness
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
    people : People
        Athletes found in the names, where the roster was empty.
    questions : tuple of Question
        What only a person can say, with what to write.
    """

    table: pd.DataFrame
    unplaced: tuple[str, ...]
    understood: int = 0
    people: People = NOBODY
    questions: tuple[Question, ...] = ()

    @property
    def blocked(self) -> bool:
        """Whether nothing is written before a question is answered: who is one person."""
        return any(q.code == "one_person" for q in self.questions)


@dataclass(frozen=True)
class Stated:
    """What a person says about a heap.

    Attributes
    ----------
    sessions : mapping of str to str
        A word of the names, or a day, -> session of the study.
    athletes : mapping of str to str
        A word of the names -> athlete id.
    dates : str
        "dmy", "mdy" or "ymd"; years of two digits are then 20yy.
    """

    sessions: Mapping[str, str] = field(default_factory=dict)
    athletes: Mapping[str, str] = field(default_factory=dict)
    dates: str = ""


def gather(
    folder: str | Path, study: str | Path, dry_run: bool = True, *, stated: Stated | None = None
) -> Draft:
    """Draft recordings.csv, and an empty roster, for a folder of files with any names.

    Parameters
    ----------
    folder : str or Path
        Heap of files; it may be the study's own recordings folder.
    study : str or Path
        Study folder with its sessions.
    dry_run : bool
        True: only return the draft. False: also write it into recordings.csv (rows that
        stand there are kept), write a roster that was empty, and copy files that lie outside
        the study. While it is open whether two names are one person nothing is written.
    stated : Stated, optional
        Answers to the questions of an earlier draft.

    Returns
    -------
    Draft

    Raises
    ------
    StudyError
        When the heap is no folder, an answer does not fit the study, or a file of the same path
        stands in the study.
    """
    folder = Path(folder)
    if not folder.is_dir():
        raise StudyError(
            f"{folder}: {'is a file; name the folder with it' if folder.exists() else 'there is no such folder'}."
            " First comes the folder with recordings, then the study folder."
        )
    owner = StudyFolder.read(study)
    stated = stated or Stated()
    inside = folder.resolve().is_relative_to(owner.settings.recordings.resolve())
    heap = _heap(folder, owner, inside)
    clues = _clues(owner, stated, [h.name for h in heap.files])
    people = NOBODY
    if owner.athletes["athlete"].dropna().empty:
        people = find_people((h.name for h in heap.files), clues.sessions)
        people = _with_known(people, clues)
    rows: list[dict[str, object]] = []
    unplaced: list[str] = []
    left: list[Open] = []
    unclear: Counter[str] = Counter()
    for file in heap.files:
        found = place(file.name, file.path, clues)
        unclear[str(found["unclear"])] += 1
        if found["reason"]:
            unplaced.append(f"{file.name}: {found['reason']}")
        if found["reason"] and found["athlete"] and not found["session"] and not found["unclear"]:
            left.append(Open(file.name, str(found["date"]), found["dated"] is True))
        elif not found["reason"]:
            rows.append({"file": file.target, "path": file.path, **found})
    table = number_trials(pd.DataFrame(rows, columns=["file", "path", *FOUND]))
    told = {likeness(word) for word in stated.athletes}
    questions = [
        *(Question(c, {"n": unclear[c]}) for c in ("century", "order") if unclear[c]),
        *about_people(people, dict.fromkeys(told, "")),
        *about_sessions(left, _open_sessions(owner, table), _labels(owner, people, stated)),
    ]
    draft = Draft(table.drop(columns=["path", "number", "time"]), tuple(unplaced), heap.understood,
                  people, tuple(questions))  # fmt: skip
    if not dry_run and len(table) and not draft.blocked:
        _write(owner, table, inside)
        if people.labels:
            write_people(owner, people, set(table["athlete"]))
    return draft


@dataclass(frozen=True)
class _File:
    name: str
    path: Path
    target: str


@dataclass(frozen=True)
class _Heap:
    """Files that need a row, and how many need none."""

    files: tuple[_File, ...]
    understood: int


def _heap(folder: Path, owner: StudyFolder, inside: bool) -> _Heap:
    known = set(owner.recordings["file"].dropna())
    files, understood = [], 0
    for name, path in files_below(folder).items():
        if not stem_and_suffix(name)[1].lower().startswith(SUFFIXES):
            continue
        target = f"{folder.resolve().name}/{name}"
        if inside:
            place = (folder.resolve() / name).relative_to(owner.settings.recordings.resolve())
            target = unicodedata.normalize("NFC", place.as_posix())
            if target not in known and _says_all(target, owner):
                understood += 1
                continue
        if target not in known:
            files.append(_File(name, path, target))
    return _Heap(tuple(files), understood)


def _open_sessions(owner: StudyFolder, table: pd.DataFrame) -> list[str]:
    """Return the sessions that no file was placed in; all when each has some."""
    placed = set(table["session"]) | set(owner.files["session"])
    order = owner.settings.session_order
    return [s for s in order if s not in placed] or order


def _with_known(people: People, clues: Clues) -> People:
    """Return people with ids that are known already, and add the others to the clues."""
    labels = {}
    for label, own in people.labels.items():
        known = clues.athletes.get(likeness(label), [])
        labels[label] = known[0] if known else own
        clues.athletes.setdefault(likeness(label), []).append(labels[label])
    names: dict[str, str] = {}
    for label, own in people.labels.items():  # a stated label keeps the name of the id it is given
        if own in people.names and (labels[label] == own or labels[label] not in people.names):
            names[labels[label]] = people.names[own]
    return People(labels, names, people.doubts)


def _labels(owner: StudyFolder, people: People, stated: Stated) -> dict[str, str]:
    names = read_user_table(owner.folder, "names", NAMES, Problems()).dropna()
    known = {str(a): str(a) for a in owner.athletes["athlete"].dropna()}
    known |= {str(n): str(a) for a, n in zip(names["athlete"], names["name"], strict=True)}
    return {**known, **people.labels, **stated.athletes}


def _says_all(file: str, study: StudyFolder) -> bool:
    fields = from_entities(file)
    return fields.get("session") in study.settings.session_order and bool(fields.get("athlete"))


def _clues(study: StudyFolder, stated: Stated, files: Sequence[str]) -> Clues:
    athletes: dict[str, list[str]] = {}
    roster = list(study.athletes["athlete"].dropna())
    for athlete in roster:
        athletes.setdefault(likeness(athlete), []).append(athlete)
    names = read_user_table(study.folder, "names", NAMES, Problems())
    for athlete, name in zip(names["athlete"], names["name"], strict=True):
        if pd.notna(athlete) and pd.notna(name):
            for spelled in (str(name), " ".join(reversed(str(name).split()))):
                athletes.setdefault(likeness(spelled), []).append(athlete)
    for word, athlete in stated.athletes.items():
        if roster and athlete not in roster:
            raise StudyError(
                f"--athlete {word}={athlete}: there is no athlete {athlete!r} in athletes.csv."
                f"{suggestion(athlete, roster)} Correct it, or add a row there."
            )
        athletes[likeness(word)] = [athlete]
    sessions = {likeness(s): s for s in study.settings.session_order}
    days: dict[str, list[str]] = {}
    for session, date in zip(study.sessions["session"], study.sessions["date"], strict=True):
        if pd.notna(date) and date:
            days.setdefault(str(date), []).append(session)
    order = study.settings.session_order
    for word, session in stated.sessions.items():
        if session not in order:
            raise StudyError(
                f"--session {word}={session}: there is no session {session!r}; sessions are"
                f" {', '.join(order)}.{suggestion(session, order)} Add it to study.toml, or correct it."
            )
        if re.fullmatch(r"\d{4}-\d{2}-\d{2}", word):
            days[word] = [session]
        else:
            sessions[likeness(word)] = session
    return Clues(athletes, sessions, days, stated.dates or order_of(files))


def _write(study: StudyFolder, table: pd.DataFrame, inside: bool) -> None:
    """Copy files from outside and add the rows to recordings.csv."""
    from cmjlab.files.table import write_table

    target = study.folder / "recordings.csv"
    if (study.folder / "recordings.xlsx").exists():
        raise StudyError("recordings.xlsx: save it as recordings.csv; rows cannot be added to it.")
    if not inside:
        for file, path in zip(table["file"], table["path"], strict=True):
            copy = study.settings.recordings / file
            if copy.exists() and file_sha256(copy) != file_sha256(path):
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
