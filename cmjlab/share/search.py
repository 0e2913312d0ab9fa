"""A last look at a copy before it gets its name: nothing private may stand in it.

Every text of the copy is searched for what must not be there: names of people, their own ids, names
of files, days of the study, places of the computer. A word that is found stops the copy, with the
file in which it stands.
"""

from __future__ import annotations

import datetime as dt
import getpass
import platform
import re
from collections.abc import Iterable
from pathlib import Path

import pandas as pd

from cmjlab.errors import StudyError
from cmjlab.safe_open import read_file
from cmjlab.share.columns import TITLE, Choice
from cmjlab.study.folder.file_names import stem_and_suffix
from cmjlab.study.folder.problems import Problems
from cmjlab.study.folder.user_tables import read_user_table
from cmjlab.study.study import Study
from cmjlab.tables import NAMES

#: Shorter words are not looked for: they stand in every text by chance.
_SHORTEST = 3
#: Files of numbers: what stands in them was written by cmjlab from arrays only.
_NUMBERS = (".parquet",)


def private_words(study: Study, choice: Choice) -> dict[str, str]:
    """Return what must not stand in a copy: word -> what it is.

    Ids of digits only cannot be told from numbers and are not looked for; they are replaced where
    they stand.
    """
    out: dict[str, str] = {}

    def add(words: Iterable[object], kind: str) -> None:
        for word in words:
            text = "" if word is None or pd.isna(word) else str(word).strip()  # type: ignore[call-overload]
            if len(text) >= _SHORTEST and not re.fullmatch(r"[\d.,]+", text):
                out.setdefault(text, kind)

    people = read_user_table(study.folder, "names", NAMES, Problems())["name"].dropna().astype(str)
    add(people, "name")
    add((part for name in people for part in re.split(r"[\s,]+", name)), "name")
    add([*study.athletes["athlete"].dropna(), *study.files["athlete"].dropna()], "athlete")
    add((stem_and_suffix(Path(f).name)[0] for f in study.files["file"]), "file")
    add((p for f in study.files["file"] for p in Path(f).parts[:-1]), "file")
    add([] if choice.keeps(TITLE) else [study.title], "title")
    add([study.folder.resolve(), study.folder.resolve().name], "place")
    add([platform.node(), _user(), Path.home()], "computer")
    for day in _days(study):
        add(
            (day.isoformat(), *(day.strftime(f) for f in ("%d.%m.%Y", "%d/%m/%Y", "%m/%d/%Y"))),
            "date",
        )
    for word in _agreed(study):
        out.pop(word, None)
    return out


def _user() -> str:
    try:
        return getpass.getuser()
    except (OSError, KeyError, ImportError):
        return ""


def _days(study: Study) -> list[dt.date]:
    words = [*study.sessions["date"], *study.files["date"], *study.measures["date"]]
    words += [*study.participation["from"], *study.participation["to"], *study.decisions["when"]]
    found = {str(w)[:10] for w in words if not pd.isna(w)}
    return [dt.date.fromisoformat(w) for w in found if re.fullmatch(r"\d{4}-\d{2}-\d{2}", w)]


def _agreed(study: Study) -> set[str]:
    """Return words that the copy needs: groups and sessions, and the words of this format."""
    own = {*study.groups, *study.settings.session_order}
    return {
        *map(str, own),
        "recordings",
        "tables",
        "results",
        "study",
        "sessions",
        "jump",
        "root",
        "user",
    }


def refuse_private(folder: Path, words: dict[str, str]) -> None:
    """Stop when a text of a copy holds a private word.

    Raises
    ------
    StudyError
        It names the file and what to do; the word itself is named, because the person who shares
        owns it.
    """
    if not words:
        return
    either = "|".join(re.escape(w) for w in sorted(words, key=len, reverse=True))
    pattern = re.compile(rf"(?<!\w)(?:{either})(?!\w)")
    for path in sorted(p for p in folder.rglob("*") if p.is_file()):
        place = path.relative_to(folder).as_posix()
        texts = [place]
        if path.suffix not in _NUMBERS:
            texts.append(read_file(path).decode("utf-8", errors="replace"))
        for text in texts:
            if hit := pattern.search(text):
                raise StudyError(
                    f"{place}: {hit[0]!r} would be passed on ({words[hit[0]]} of the study). Nothing was"
                    " written. Change that cell or name in the study, or do not keep its column."
                )
