"""Who is who in a heap of files without a roster: what stays in names when all else is taken out.

Dates, trials, sessions and words of the trade are taken out of every file and folder name. What
is left at one level (the file's own name, its folder, …) and comes back for several files is the
athlete. Names of persons go to names.csv and get an id; they never become one.
"""

from __future__ import annotations

import difflib
import re
import unicodedata
from collections.abc import Collection, Iterable, Mapping
from dataclasses import dataclass

from cmjlab.study.folder.file_names import stem_and_suffix
from cmjlab.study.folder.heap_dates import without_dates
from cmjlab.study.folder.ids import likeness, natural_order, tidy_id
from cmjlab.study.folder.problems import Problems
from cmjlab.study.folder.study_folder import StudyFolder
from cmjlab.study.folder.user_tables import read_user_table
from cmjlab.tables import ATHLETES, NAMES

_TRIAL = r"(?:trial|jump|run|rep|repetition|attempt|try|versuch|sprung|wdh|essai|saut|salto|prova|t|r|j|v|nr|no)"
_TRIAL_NUMBER = re.compile(rf"(?<![a-z]){_TRIAL}[\s_.\-#]*\d{{1,2}}(?!\d)", re.IGNORECASE)
_LAST_NUMBER = re.compile(r"(?<=[\s_.\-(])\(?\d{1,2}\)?\s*$")
#: Words of the trade and of exports that are nobody's name.
_COMMON = frozenset(
    [
        "athlete",
        "athletes",
        "player",
        "players",
        "subject",
        "sub",
        "participant",
        "proband",
        "vp",
        "id",
        "name",
        "person",
        "cmj",
        "cmjs",
        "countermovement",
        "counter",
        "movement",
        "jump",
        "jumps",
        "sprung",
        "squat",
        "bilateral",
        "force",
        "forces",
        "plate",
        "plates",
        "platform",
        "data",
        "raw",
        "export",
        "exported",
        "file",
        "files",
        "recording",
        "recordings",
        "measurement",
        "measurements",
        "test",
        "tests",
        "testing",
        "trial",
        "run",
        "rep",
        "copy",
        "final",
        "new",
        "left",
        "right",
        "total",
        "hz",
        "khz",
        "n",
        "kg",
        "vertical",
        "fz",
        "akimbo",
        "hands",
        "hips",
        "best",
    ]
)
_SESSION = re.compile(
    r"(?:base(?:line)?|pre|post|mid|follow ?up|retest|session|ses|week|wk|day|test|testing|visit|time|t|"
    r"monitoring|mon|before|after|vor|nach|vorher|nachher|avant|apres)\s*\d{0,2}",
    re.IGNORECASE,
)
#: Two labels so alike may be one person, spelled in two ways (our own).
_ALIKE = 0.85


@dataclass(frozen=True)
class People:
    """The athletes of a heap.

    Attributes
    ----------
    labels : dict of str to str
        What stands in file or folder names -> id.
    names : dict of str to str
        Id -> name, for labels that are names of persons.
    doubts : tuple of (str, str)
        Labels that may be one person.
    """

    labels: Mapping[str, str]
    names: Mapping[str, str]
    doubts: tuple[tuple[str, str], ...]

    @property
    def ids(self) -> list[str]:
        """The ids, in natural order."""
        return sorted(set(self.labels.values()), key=natural_order)


#: No athlete was found, or none was looked for.
NOBODY = People({}, {}, ())


def words_of(text: str) -> list[str]:
    """Return the words of a name; "MiraExample" and "cmj2" are two words each, "A07" is one."""
    plain = unicodedata.normalize("NFC", text)
    plain = re.sub(r"(?<=[^\W\d_])(?<=[a-zß-ÿ])(?=[A-ZÀ-Þ])", " ", plain)
    return [p for p in re.split(r"[\W_]+", plain) if p]


def label_of(
    part: str, sessions: Collection[str], *, keep_sessions: bool = False, keep_numbers: bool = False
) -> str:
    """Return what is left of a file or folder name when all that is not a person is taken out.

    Parameters
    ----------
    part : str
    sessions : collection of str
        Words of sessions, in the form of :func:`cmjlab.study.folder.ids.likeness`.
    keep_sessions : bool
        Leave words of sessions in.
    keep_numbers : bool
        Leave a number at the end in: in a folder's name it counts no trials.

    Examples
    --------
    >>> label_of("2026-08-31_Example_Mira_CMJ_trial2", {"base1"})
    'Example Mira'
    >>> label_of("sub-07 base1 (3)", {"base1"})
    '07'
    """
    text = without_dates(part)
    text = _TRIAL_NUMBER.sub(" ", text)
    kept = words_of(text) if keep_sessions else _without_sessions(words_of(text), sessions)
    kept = [
        w for w in kept if w.casefold() not in _COMMON and not re.fullmatch(r"\d{3,}(hz)?", w, re.I)
    ]
    while not keep_numbers and len(kept) > 1 and re.fullmatch(r"\d{1,2}", kept[-1]):
        kept.pop()  # a number at the end counts trials
    if (
        len(kept) == 1
        and kept[0].isdecimal()
        and _LAST_NUMBER.search(part) is None
        and len(kept[0]) > 2
    ):
        return ""
    return " ".join(kept)


def _without_sessions(words: list[str], sessions: Collection[str]) -> list[str]:
    """Return words without those, alone or in pairs, that are sessions."""
    out: list[str] = []
    place = 0
    while place < len(words):
        pair = "".join(words[place : place + 2])
        if place + 1 < len(words) and (
            likeness(pair) in sessions
            or (words[place + 1].isdecimal() and _SESSION.fullmatch(pair))
        ):
            place += 2
        elif likeness(words[place]) in sessions or _SESSION.fullmatch(words[place]):
            place += 1
        else:
            out.append(words[place])
            place += 1
    return out


def find_people(files: Iterable[str], sessions: Collection[str]) -> People:
    """Return the athletes of a heap, without any when none can be told.

    Parameters
    ----------
    files : iterable of str
        Paths below the heap, with forward slashes.
    sessions : collection of str
        Words of sessions, in the form of likeness.
    """
    paths = [list(reversed(stem_and_suffix(f)[0].split("/"))) for f in files]
    depth = max(map(len, paths), default=0)
    best: dict[str, list[str]] = {}
    for level in range(depth):
        found = _level([p[level] if level < len(p) else "" for p in paths], sessions)
        if _is_better(found, best, len(paths)):
            best = found
    spelled = {key: labels for key, labels in best.items() if key}
    return _with_ids(spelled)


def _level(parts: list[str], sessions: Collection[str]) -> dict[str, list[str]]:
    """Return one level's labels: key of a person -> spellings, one for each file."""
    labels = [label_of(p, sessions) for p in parts]
    filled = [set(map(str.casefold, label.split())) for label in labels if label]
    everywhere = set.intersection(*filled) if len({frozenset(f) for f in filled}) > 1 else set()
    out: dict[str, list[str]] = {}
    for label in labels:
        kept = " ".join(w for w in label.split() if w.casefold() not in everywhere)
        if kept:
            key = " ".join(sorted(likeness(w) for w in kept.split()))
            out.setdefault(key, []).append(kept)
    return out


def _is_better(found: dict[str, list[str]], best: dict[str, list[str]], files: int) -> bool:
    """Return whether labels tell persons apart better: nearly every file, several files each."""
    counted = sum(map(len, found.values()))
    if len(found) < 2 or counted < 0.8 * files or counted < 1.5 * len(found):
        return False
    rank = (len(found), sum(map(len, found)) / len(found))
    return rank > (len(best), sum(map(len, best)) / max(len(best), 1))


def is_name(label: str) -> bool:
    """Return whether a label is the name of a person and no id such as A07."""
    return not any(c.isdigit() for c in label) and any(len(w) > 2 for w in label.split())


def _with_ids(spelled: dict[str, list[str]]) -> People:
    labels: dict[str, str] = {}
    names: dict[str, str] = {}
    used = {likeness(s[0]) for s in spelled.values() if not is_name(s[0])}
    number = 0
    for key in sorted(spelled, key=natural_order):
        first = spelled[key][0]
        word = tidy_id("".join(first.split()))
        if is_name(first):
            number += 1
            while likeness(f"A{number:02d}") in used:
                number += 1
            word = f"A{number:02d}"
            names[word] = first
        used.add(likeness(word))
        for label in dict.fromkeys(spelled[key]):
            labels[label] = word
    return People(
        labels, names, _doubts([spelled[k][0] for k in sorted(spelled, key=natural_order)])
    )


def _doubts(labels: list[str]) -> tuple[tuple[str, str], ...]:
    """Return pairs of names that may be one person: nearly alike, or one short for the other."""
    names = [label for label in labels if is_name(label)]
    return tuple(
        (first, second)
        for place, first in enumerate(names)
        for second in names[place + 1 :]
        if _may_be_one(first, second)
    )


def _may_be_one(first: str, second: str) -> bool:
    one, other = (sorted(w.casefold() for w in n.split()) for n in (first, second))
    if difflib.SequenceMatcher(None, " ".join(one), " ".join(other)).ratio() >= _ALIKE:
        return True
    short, long = sorted((one, other), key=lambda n: (len(n), sum(map(len, n))))
    if len(short) < len(long):
        return set(short) <= set(long)
    pairs = zip(short, long, strict=True)
    return any(a == b for a, b in zip(short, long, strict=True)) and all(
        b.startswith(a) or a.startswith(b) for a, b in pairs
    )


def write_people(study: StudyFolder, people: People, placed: Collection[str]) -> None:
    """Write athletes.csv, and names.csv for those whose label is a name.

    Parameters
    ----------
    study : StudyFolder
        Its roster has no rows.
    people : People
    placed : collection of str
        Ids with at least one file.
    """
    from cmjlab.files.table import write_table

    ids = [i for i in people.ids if i in placed]
    write_table(ATHLETES.frame([{"athlete": i} for i in ids]), study.folder / "athletes.csv")
    known = read_user_table(study.folder, "names", NAMES, Problems())
    new = [{"athlete": i, "name": people.names[i]} for i in ids if i in people.names]
    if new and known.dropna(subset=["athlete"]).empty:
        write_table(NAMES.frame(new), study.folder / "names.csv")
