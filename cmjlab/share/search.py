"""A last look at a copy before it gets its name: nothing private may stand in it.

What people typed and what goes along is searched for what must not be there: names of people, their own
ids, names of files and of the computer, places; and every text of the copy for days of the study. A
word that is found stops the copy, with the file in which it stands.
"""

from __future__ import annotations

import datetime as dt
import getpass
import json
import platform
import re
import tomllib
from collections.abc import Iterable, Iterator, Mapping
from functools import cache
from pathlib import Path
from typing import Any

import pandas as pd

from cmjlab.catalog import METRICS
from cmjlab.errors import StudyError
from cmjlab.safe_open import read_file
from cmjlab.share.columns import TITLE, Choice
from cmjlab.share.settings import OTHER_TITLE
from cmjlab.study.folder.file_names import stem_and_suffix
from cmjlab.study.folder.problems import Problems
from cmjlab.study.folder.user_tables import read_user_table
from cmjlab.study.study import Study
from cmjlab.tables import NAMES, RESULT_TABLES, USER_TABLES
from cmjlab.words.catalog import read_words

#: Shorter words are not looked for: they stand in every text by chance.
_SHORTEST = 3
#: The one file with a true date: that of the day on which the copy was made.
_DATED = "ro-crate-metadata.json"
_DAYS = ("%Y-%m-%d", "%d.%m.%Y", "%d/%m/%Y", "%m/%d/%Y", "%Y%m%d")
_ISO = re.compile(r"\d{4}-\d{2}-\d{2}")


def private_words(study: Study, choice: Choice) -> dict[str, str]:
    """Return what nobody may have typed into a copy: word -> what it is.

    Ids of digits only cannot be told from numbers and are not looked for; they are replaced where
    they stand. Names of files, folders and computers that are words of every day (``jumps``, ``left``)
    are not looked for either.
    """
    out: dict[str, str] = {}

    def add(words: Iterable[object], kind: str, every_day: bool = False) -> None:
        for word in words:
            text = "" if word is None or pd.isna(word) else str(word).strip()  # type: ignore[call-overload]
            plain = every_day and text.casefold() in _vocabulary()
            if len(text) >= _SHORTEST and not re.fullmatch(r"[\d.,]+", text) and not plain:
                out.setdefault(text, kind)

    people = read_user_table(study.folder, "names", NAMES, Problems())["name"].dropna().astype(str)
    add(people, "name")
    add((part for name in people for part in re.split(r"[\s,]+", name)), "name")
    add([*study.athletes["athlete"].dropna(), *study.files["athlete"].dropna()], "athlete")
    own_title = study.title not in (OTHER_TITLE, "") and not choice.keeps(TITLE)
    add([study.title] if own_title else [], "title")
    files = [Path(f) for f in study.files["file"]]
    add((stem_and_suffix(f.name)[0] for f in files), "file", every_day=True)
    add((part for f in files for part in f.parts[:-1]), "file", every_day=True)
    home = study.folder.resolve()
    add([home, home.name, platform.node(), _user(), Path.home()], "place", every_day=True)
    for word in {*map(str, study.groups), *study.settings.session_order}:
        out.pop(word, None)  # groups and sessions go along by their names
    return out


def private_days(study: Study) -> dict[str, str]:
    """Return every day of a study in the forms in which days are written."""
    words = [*study.sessions["date"], *study.files["date"], *study.measures["date"]]
    words += [*study.participation["from"], *study.participation["to"], *study.decisions["when"]]
    found = {str(w)[:10] for w in words if not pd.isna(w)}
    days = [dt.date.fromisoformat(w) for w in found if _ISO.fullmatch(w)]
    return {day.strftime(form): "date" for day in days for form in _DAYS}


@cache
def _vocabulary() -> frozenset[str]:
    """Return the words of cmjlab itself: a folder of such a name tells nothing."""
    ours = read_words()
    texts = [
        sentence
        for section in {k.partition(".")[0] for k in ours.keys}
        for sentence in ours.part(section).values()
    ]
    texts += [f"{m.key} {m.label} {m.meaning}" for m in METRICS.values()]
    for table in (*USER_TABLES.values(), *RESULT_TABLES.values()):
        texts.append(table.name)
        texts += [f"{c.name} {c.description} {' '.join(c.allowed)}" for c in table.columns]
    words = re.findall(r"[a-z]+", " ".join(texts).casefold())
    return frozenset({*words, *(w + "s" for w in words), "root", "user", "home", "data"})


def _user() -> str:
    try:
        return getpass.getuser()
    except (OSError, KeyError, ImportError):
        return ""


def refuse_private(
    folder: Path,
    tables: Mapping[str, pd.DataFrame],
    words: Mapping[str, str],
    days: Mapping[str, str],
) -> None:
    """Stop when a private word stands in a copy.

    Parameters
    ----------
    folder : Path
        The copy.
    tables : mapping of str to DataFrame
        Its tables by their path: what people typed.
    words, days : mapping of str to str
        What must not stand there, and what each is.

    Raises
    ------
    StudyError
        It names the file, the word and what to do; the person who shares owns both.
    """
    typed: list[tuple[str, str]] = [("file names", "\n".join(_names(folder)))]
    typed += [(path, text) for path, table in tables.items() for text in _cells(table)]
    for name in ("study.toml", "analysis_plan.json"):
        if (folder / name).is_file():
            typed += [(name, text) for text in _strings(_data(folder / name))]
    _refuse(typed, words)
    texts = [p for p in folder.rglob("*") if p.suffix in (".csv", ".toml", ".json", ".md")]
    whole = [
        (p.relative_to(folder).as_posix(), read_file(p).decode("utf-8"))
        for p in sorted(texts)
        if p.name != _DATED
    ]
    _refuse([*typed[:1], *whole], days)


def _refuse(texts: Iterable[tuple[str, str]], words: Mapping[str, str]) -> None:
    if not words:
        return
    either = "|".join(re.escape(w) for w in sorted(words, key=len, reverse=True))
    pattern = re.compile(rf"(?<!\w)(?:{either})(?!\w)")
    for place, text in texts:
        if hit := pattern.search(text):
            raise StudyError(
                f"{place}: {hit[0]!r} would be passed on ({words[hit[0]]} of the study). Nothing was"
                " written. Change that cell or name in the study, or do not keep its column."
            )


def _names(folder: Path) -> list[str]:
    return sorted(p.relative_to(folder).as_posix() for p in folder.rglob("*"))


def _cells(table: pd.DataFrame) -> Iterator[str]:
    """Yield every different text of a table, its headings among them."""
    yield from map(str, table.columns)
    for column in table.columns:
        if not pd.api.types.is_numeric_dtype(table[column]):
            yield from map(str, table[column].dropna().unique())


def _data(path: Path) -> Any:
    text = read_file(path).decode("utf-8")
    return tomllib.loads(text) if path.suffix == ".toml" else json.loads(text)


def _strings(value: Any) -> Iterator[str]:
    """Yield every text of plain data, names of entries among them."""
    if isinstance(value, dict):
        for name, part in value.items():
            yield str(name)
            yield from _strings(part)
    elif isinstance(value, list):
        for part in value:
            yield from _strings(part)
    elif isinstance(value, str):
        yield value
