"""Words that find entries of the catalog: ranked, whichever order and spelling they come in.

A name that is asked for exactly comes first (score 0.95 and more), then entries that hold every
word (above 0.5), then those that hold most of them or need a word to be spelled differently.
"""

from __future__ import annotations

import math
import re
from collections import Counter
from collections.abc import Collection, Iterable, Sequence
from dataclasses import dataclass
from difflib import get_close_matches
from functools import cache
from typing import TYPE_CHECKING

from cmjlab.catalog.check_rules import CHECKS
from cmjlab.catalog.entries import CheckRule, Metric, Statistic
from cmjlab.catalog.metrics import METRICS
from cmjlab.catalog.search_words import FILLERS, IN_FULL, RELATED, SPELLINGS, TOGETHER
from cmjlab.catalog.statistics import STATISTICS

if TYPE_CHECKING:
    import pandas as pd

#: Worth of a word that an entry holds under a related word, or only in formula and meaning.
_RELATED, _ASIDE = 0.8, 0.4
#: Share of what was asked that an entry must hold.
_LEAST = 0.5
#: How alike a word that nobody knows must be to one of the catalog to be read as that.
_ALIKE = 0.75


@dataclass(frozen=True)
class _Page:
    """One entry as the search sees it."""

    kind: str
    entry: Metric | Statistic | CheckRule
    key: str
    meaning: str
    title: frozenset[str]
    others: tuple[frozenset[str], ...]
    names: frozenset[str]
    aside: frozenset[str]


@dataclass(frozen=True)
class Found:
    """One entry that words have found; the nearer the score is to 1, the better it fits."""

    kind: str
    key: str
    entry: Metric | Statistic | CheckRule
    meaning: str
    score: float


def glossary(words: str = "") -> pd.DataFrame:
    """Look up what words of the trade mean here: metrics, statistics and quality rules.

    Labels, names in tables, other published names, formulas and meanings are searched. Order of
    the words, small spelling mistakes, plurals, British or American spelling, and "take-off" or
    "takeoff" make no difference.

    Parameters
    ----------
    words : str
        What is looked for, e.g. "eccentric duration"; "" lists the whole catalog in its order.

    Returns
    -------
    pandas.DataFrame
        Columns ``key``, ``kind`` ("metric", "statistic", "check"), ``label``, ``unit``,
        ``meaning`` and ``score`` (1: exactly this name), best first; no rows when nothing fits.

    Examples
    --------
    >>> import cmjlab as cj
    >>> cj.glossary("eccentric duration")["key"].iloc[0]
    'downward_duration_s'
    >>> cj.glossary("velocity at takeof")["label"].iloc[0]
    'Take-off velocity'
    """
    import pandas as pd

    found = find(words) if words.strip() else [_found(page, math.nan) for page in _pages()]
    rows = [(f.key, f.kind, f.entry.label, f.entry.unit, f.meaning, f.score) for f in found]
    columns = {**dict.fromkeys(("key", "kind", "label", "unit", "meaning"), str), "score": float}
    return pd.DataFrame(rows, columns=list(columns)).astype(columns)


def find(words: str, among: Collection[str] | None = None) -> list[Found]:
    """Return the entries that words find, best first.

    Parameters
    ----------
    words : str
        What is looked for.
    among : collection of str, optional
        Keys that may be found; by default all of the catalog.

    Examples
    --------
    >>> [f.key for f in find("contraction time")][:1]
    ['time_to_takeoff_s']
    """
    asked, corrected = _asked(words)
    if not asked:
        return []
    raw = words.strip().casefold()
    found = [
        _found(page, 1.0 if raw == page.key else _score(asked, page, corrected))
        for page in _pages()
        if among is None or page.key in among
    ]
    return sorted((f for f in found if f.score > 0), key=lambda f: -f.score)


def plain_words(text: str) -> list[str]:
    """Return the words of a text in one spelling, in full, without those that say nothing.

    Examples
    --------
    >>> plain_words("Centre-of-mass velocities at take-off")
    ['velocity', 'takeoff']
    """
    return _meant([_one_spelling(w) for w in _split(text)])


def search_texts() -> dict[str, tuple[str, str]]:
    """Return by key the words that find an entry: those of its names, and those of its text."""
    return {
        page.key: (" ".join(sorted(page.names)), " ".join(sorted(page.aside - page.names)))
        for page in _pages()
    }


# ---- words ------------------------------------------------------------------------------------


def _split(text: str) -> list[str]:
    return re.sub(r"[\W_]+", " ", text.casefold()).split()


def _one_spelling(word: str) -> str:
    """Return a word in American spelling and singular."""
    if len(word) <= 3:
        return word
    for pattern, replacement in SPELLINGS:
        word = re.sub(pattern, replacement.replace("$", "\\"), word)
    return word


def _meant(words: Iterable[str]) -> list[str]:
    """Return words in full: groups and short forms replaced, fillers left out."""
    text = f" {' '.join(words)} "
    for group, instead in TOGETHER.items():
        text = text.replace(f" {group} ", f" {instead} ")
    full = " ".join(IN_FULL.get(word, word) for word in text.split())
    return [word for word in full.split() if word not in FILLERS]


def _asked(text: str) -> tuple[list[str], bool]:
    """Return the words that are meant, each once, and whether one had to be corrected."""
    known = _known_words()
    written = [_one_spelling(word) for word in _split(text)]
    read = [w for word in written for w in ([word] if word in known else _nearest(word, known))]
    return list(dict.fromkeys(_meant(read))), read != written


def _nearest(word: str, known: frozenset[str]) -> list[str]:
    """Return the known word, or two written as one, that an unknown word is taken for."""
    for cut in range(3, len(word) - 2):
        if word[:cut] in known and word[cut:] in known:
            return [word[:cut], word[cut:]]
    if len(word) < 4:
        return [word]
    begun = sorted((k for k in known if k.startswith(word)), key=len)
    near = get_close_matches(word, sorted(known), n=1, cutoff=_ALIKE)
    return near or begun[:1] or [word]


@cache
def _known_words() -> frozenset[str]:
    of_entries = {w for page in _pages() for w in page.names | page.aside}
    groups = {w for group in TOGETHER for w in group.split()}
    return frozenset(of_entries | groups | IN_FULL.keys() | RELATED.keys() | FILLERS)


# ---- entries ----------------------------------------------------------------------------------


@cache
def _pages() -> tuple[_Page, ...]:
    metrics = [
        _page("metric", m, m.meaning, [n for n, _ in m.also_called], [m.formula, m.phase])
        for m in METRICS.values()
    ]
    statistics = [
        _page("statistic", s, s.meaning, [n for n, _ in s.also_called], [s.formula])
        for s in STATISTICS.values()
    ]
    checks = [_page("check", c, c.test, [], [c.remedy]) for c in CHECKS.values()]
    return (*metrics, *statistics, *checks)


def _page(
    kind: str,
    entry: Metric | Statistic | CheckRule,
    meaning: str,
    also: Sequence[str],
    texts: Sequence[str],
) -> _Page:
    key = entry.code if isinstance(entry, CheckRule) else entry.key
    title = frozenset(plain_words(entry.label))
    others = tuple(frozenset(plain_words(name)) for name in (key, *also))
    aside = frozenset(word for text in (meaning, *texts) for word in plain_words(text))
    return _Page(kind, entry, key, meaning, title, others, title.union(*others), aside)


@cache
def _rarity() -> Counter[str]:
    return Counter(word for page in _pages() for word in page.names)


def _weight(word: str) -> float:
    """Return how much a word tells: those in few names tell more."""
    return math.log(1 + len(_pages()) / max(1, _rarity()[word]))


# ---- scores -----------------------------------------------------------------------------------


def _score(asked: Sequence[str], page: _Page, corrected: bool) -> float:
    worth = {word: _worth(word, page) for word in asked}
    total = sum(map(_weight, asked))
    covered = sum(_weight(word) * value for word, value in worth.items()) / total
    if covered < _LEAST:
        return 0.0
    whole = frozenset(asked)
    if not corrected and whole == page.title:
        return 1.0
    if not corrected and whole in page.others:
        return 0.98
    fit = max(_fit(whole, name) for name in (page.title, *page.others) if name)
    quality = 0.6 * covered + 0.4 * fit
    every = all(worth.values())
    return round(0.5 + 0.45 * quality if every and not corrected else 0.5 * quality * covered, 4)


def _worth(word: str, page: _Page) -> float:
    if word in page.names:
        return 1.0
    related = RELATED.get(word, ())
    if any(r in page.names for r in related):
        return _RELATED
    return _ASIDE if word in page.aside else 0.0


def _fit(asked: frozenset[str], name: frozenset[str]) -> float:
    """Return how much of one name was asked for, and of what was asked it holds."""
    reached = {r for word in asked for r in (word, *RELATED.get(word, ())) if r in name}
    held = {word for word in asked if word in name or any(r in name for r in RELATED.get(word, ()))}
    whole = sum(map(_weight, name)) + sum(map(_weight, asked))
    return (sum(map(_weight, reached)) + sum(map(_weight, held))) / whole


def _found(page: _Page, score: float) -> Found:
    return Found(page.kind, page.key, page.entry, page.meaning, score)
