"""Test day: look at a study folder again and again, and tell what is new.

A look costs little as long as nothing changes: file names, sizes and time stamps are compared.
A file counts when it has stopped growing. Only new files are measured.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

import pandas as pd

from cmjlab.errors import CmjlabError
from cmjlab.study.folder.recordings import files_below
from cmjlab.study.own_noise import OwnNoise
from cmjlab.study.study import Study
from cmjlab.study.today import TestDay, today
from cmjlab.units import show
from cmjlab.words.catalog import Words, read_words

#: Seconds between two looks.
EVERY_S = 0.2
_TABLES = (".csv", ".xlsx", ".toml")
_Seen = dict[str, tuple[int, int]]


@dataclass(frozen=True)
class News:
    """What a look found.

    Attributes
    ----------
    state : TestDay
    jumps : pandas.DataFrame
        Jumps that are new or judged anew since the look before.
    files : tuple of str
        Files that could not be placed and were not told before, with the reason.
    problem : str
        Why the folder cannot be read at the moment ("" when it can); the state is an older one.
    """

    state: TestDay
    jumps: pd.DataFrame
    files: tuple[str, ...]
    problem: str = ""

    def lines(self, names: dict[str, str], words: Words | None = None) -> list[str]:
        """Return one sentence for each new jump and file.

        Parameters
        ----------
        names : dict of athlete to name
            Empty: ids.
        words : Words, optional
        """
        words = words or read_words()
        out = [words.say("today.broken", why=self.problem)] if self.problem else []
        out += [words.say("today.file", what=text) for text in self.files]
        people = self.state.athletes.set_index("athlete")
        return out + [
            _line(row, people.loc[row["athlete"]], names, words) for row in _rows(self.jumps)
        ]


def _rows(frame: pd.DataFrame) -> list[dict[str, object]]:
    return [{str(k): v for k, v in row.items()} for row in frame.to_dict("records")]


def _line(row: dict[str, object], person: pd.Series, names: dict[str, str], words: Words) -> str:
    """Return the line of a jump: height, valid jumps, and the change where this is the last one."""
    who = names.get(str(row["athlete"]), str(row["athlete"]))
    trial = row["trial"] or row["jump"]
    if not row["accepted"]:
        return words.say("today.bad", who=who, trial=trial, reason=row["reason"])
    height = float(row["jump_height_m"])  # type: ignore[arg-type]
    parts = [
        words.say(
            "today.good", who=who, trial=trial, height=show(height, "m"),
            valid=person["valid"], wanted=person["wanted"],
        )
    ]  # fmt: skip
    if person["valid"] > 1 and height >= person["best_m"]:
        parts.append(words.say("today.best"))
    if person["beyond"] in ("no", "more", "less"):
        key = "change" if person["beyond"] == "no" else f"change_{person['beyond']}"
        change = f"{100 * person['change_m']:+.1f} cm".replace("-", "−")
        noise = show(person["noise_m"], "m")
        parts.append(words.say(f"today.{key}", change=change, noise=noise))
    return " ".join(parts)


class Watch:
    """Looks at a study folder; :meth:`look` returns what is new, None when nothing is.

    Parameters
    ----------
    folder : Path
    session : str
        Session of today.
    results : Path, optional
        Where results go.
    """

    def __init__(self, folder: Path, session: str, results: Path | None = None) -> None:
        self.folder, self.session, self.results = folder, session, results
        self._noise: OwnNoise | None = None
        self._state: TestDay | None = None
        self._told: dict[tuple[str, int], tuple[bool, str]] = {}
        self._files: set[str] = set()
        self._used: _Seen = {}
        self._before: _Seen = {}
        self._recordings = folder / "recordings"

    def look(self) -> News | None:
        """Return what is new since the last look.

        Raises
        ------
        StudyError
            At the first look: the folder is no study that can be used, or has no such session.
        """
        seen = self._seen()
        growing = {p for p, stamp in seen.items() if self._before.get(p) != stamp}
        self._before = seen
        if self._state is not None and (growing or seen == self._used):
            return None
        changed = {p for p in {*seen, *self._used} if seen.get(p) != self._used.get(p)}
        if any(Path(p).parent == self.folder for p in changed):  # a table: baselines may move
            self._noise = None
        self._used = seen
        try:
            study = Study.open(self.folder, self.results)
            self._recordings = study.settings.recordings
            state = today(study, self.session, noise=self._noise)
        except CmjlabError as problem:
            if self._state is None:
                raise
            return News(self._state, self._state.jumps.iloc[:0], (), " ".join(str(problem).split()))
        self._noise = self._noise or state.noise
        return self._news(state)

    def _news(self, state: TestDay) -> News:
        """Return the rows of a state that were not told before."""
        judged = {
            (str(r["file"]), int(str(r["jump"]))): (bool(r["accepted"]), str(r["reason"]))
            for r in _rows(state.jumps)
        }
        new = [self._told.get(key) != value for key, value in judged.items()]
        files = tuple(f for f in state.other_files if f not in self._files)
        self._told, self._files = judged, set(state.other_files)
        self._state = state
        return News(state, state.jumps[new], files)

    def _seen(self) -> _Seen:
        """Return size and time stamp of every table and recording."""
        paths = list(files_below(self._recordings).values()) if self._recordings.is_dir() else []
        if self.folder.is_dir():
            paths += [p for p in self.folder.iterdir() if p.suffix.lower() in _TABLES]
        out: _Seen = {}
        for path in paths:
            try:
                stat = path.stat()
            except OSError:  # it has just gone
                continue
            out[str(path)] = (stat.st_size, stat.st_mtime_ns)
        return out

    def __iter__(self) -> Iterator[News]:
        """Look until the end of the day, with a short rest after each look."""
        import time

        while True:
            news = self.look()
            if news is not None:
                yield news
            time.sleep(EVERY_S)
