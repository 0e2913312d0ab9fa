"""Names of recordings that may be passed on: athlete, session and trial, never a file's own name.

Labs name files and folders after people. Whatever leaves the computer (tables, report, workbook)
calls a recording by ids only. A file whose own name holds nothing but these ids keeps it. Messages
to the person at the keyboard may name files: they own them.
"""

from __future__ import annotations

import re
from collections.abc import Collection, Iterable
from pathlib import PurePosixPath

import pandas as pd

#: Columns of tables in which a file may be named among other words.
_TEXTS = ("file", "error", "found", "expected", "remedy", "reason", "code")
#: Shorter names of files and folders are not looked for in texts: they are words of any sentence.
_SHORTEST = 4
_OWN = re.compile(r"sub-([^_/]+)_ses-([^_/]+)_run-\d+(_date-[\d-]+)?(\.[a-z0-9]+){1,2}", re.I)


class SharedNames:
    """From the names of files to names that may be passed on, and back.

    Parameters
    ----------
    files : pandas.DataFrame
        Recordings of a study: file, athlete, session, trial; a row for every part of a file.
    others : iterable of str
        Files of the recordings folder that belong to nobody.
    ids : collection of str
        Athletes, sessions and groups: folders of these names stay in texts.
    """

    def __init__(
        self, files: pd.DataFrame, others: Iterable[str] = (), ids: Collection[str] = ()
    ) -> None:
        self._shared = _named(files)
        unplaced = (f for f in others if f not in self._shared)
        self._shared |= {f: f"unplaced-{n:03d}" for n, f in enumerate(unplaced, start=1)}
        self._own = {s: f for f, s in self._shared.items()}
        self._words = _words(self._shared, {i.casefold() for i in ids})
        longest = sorted(self._words, key=len, reverse=True)
        either = "|".join(re.escape(w) for w in longest)
        self._pattern = re.compile(rf"(?<!\w)(?:{either})(?!\w)") if either else None

    @property
    def changed(self) -> dict[str, str]:
        """Files whose own name is not passed on, with the name that is."""
        return {f: s for f, s in self._shared.items() if f != s}

    def name(self, file: str) -> str:
        """Return the name of a recording that may be passed on."""
        return self._shared.get(file, self.text(file))

    def own(self, name: str) -> str:
        """Return the file's own name from either name; another text unchanged."""
        return name if name in self._shared else self._own.get(name, name)

    def text(self, text: str) -> str:
        """Return a text in which files and their folders are named so that it may be passed on."""
        if self._pattern is None:
            return text
        return self._pattern.sub(lambda m: self._words[m[0]], text)

    def frame(self, frame: pd.DataFrame) -> pd.DataFrame:
        """Return a table in which files are named so that it may be passed on."""
        if not self.changed:
            return frame
        out = frame.copy()
        for column in [c for c in _TEXTS if c in out]:
            kind = out[column].dtype
            said = [self.name(v) if isinstance(v, str) else v for v in out[column]]
            out[column] = pd.Series(said, index=out.index, dtype=kind)
        return out


def _named(files: pd.DataFrame) -> dict[str, str]:
    """Return file -> name: its own when it holds ids only, else one made of ids."""
    rows: dict[str, list[tuple[str, str, str]]] = {}
    for file, athlete, session, trial in zip(
        files["file"], files["athlete"], files["session"], files["trial"], strict=True
    ):
        rows.setdefault(str(file), []).append((str(athlete), str(session), _trial(trial)))
    out = {f: f for f, parts in rows.items() if _holds_ids_only(f, parts[0])}
    taken = set(out.values())
    for file, parts in rows.items():
        if file in out:
            continue
        athlete, session, trial = parts[0]
        several = len({p[:2] for p in parts}) > 1
        stem = "several-people" if several else f"sub-{athlete}_ses-{session}"
        number = int(trial) if trial and not several else 1
        while f"{stem}_run-{number:02d}" in taken:
            number += 1
        out[file] = f"{stem}_run-{number:02d}"
        taken.add(out[file])
    return {f: out[f] for f in rows}


def _trial(trial: object) -> str:
    text = "" if trial is None or pd.isna(trial) else str(trial)  # type: ignore[call-overload]
    return text if text.isdecimal() else ""


def _holds_ids_only(file: str, ids: tuple[str, str, str]) -> bool:
    match = _OWN.fullmatch(file)
    return match is not None and (match[1].casefold(), match[2].casefold()) == (
        ids[0].casefold(), ids[1].casefold())  # fmt: skip


def _words(shared: dict[str, str], ids: set[str]) -> dict[str, str]:
    """Return what may stand in a text for a file, or a folder of it, and what replaces it."""
    out: dict[str, str] = {}
    for file, name in shared.items():
        if file == name:
            continue
        path = PurePosixPath(file)
        ways = [file, file.replace("/", "\\"), path.name, path.name.split(".")[0]]
        out |= {w: name for w in ways if len(w) >= _SHORTEST and w.casefold() not in ids}
        for folder in path.parts[:-1]:
            if len(folder) >= _SHORTEST and folder.casefold() not in ids:
                out.setdefault(folder, "(folder)")
    return out
