"""Sentences that say the same of several groups, put together into one.

Which sentences can be put together stands in the words: those whose key has a part of its own
under ``alike``. They keep every number; what all of them share is said once.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from itertools import groupby
from typing import Any

from cmjlab.results import Sentence
from cmjlab.words.catalog import Words, gaps

#: Begins the names of gaps that hold one entry per sentence.
_EACH = "each"


def together(words: Words, sentences: Iterable[Sentence]) -> list[str]:
    """Return sentences in words; neighbours of one key and one measure as one text.

    Parameters
    ----------
    words : Words
    sentences : iterable of Sentence

    Returns
    -------
    list of str
    """
    out: list[str] = []
    for (key, _), alike in groupby(sentences, lambda s: (s.key, s.metric)):
        mine = list(alike)
        parts = words.part(f"alike.{key.replace('.', '_')}")
        if len(mine) > 1 and parts and _share(parts["text"], mine):
            out.append(_joined(words, key, parts, mine))
        else:
            out += [words.phrase(s) for s in mine]
    return out


def _plain_gaps(text: str) -> set[str]:
    """Return the gaps of the whole that hold a value which all sentences have to share."""
    return {g for g in gaps(text) if not g.startswith(_EACH)} - {"said"}


def _share(text: str, sentences: Sequence[Sentence]) -> bool:
    first, *others = (s.word_values for s in sentences)
    return all(v.get(gap) == first.get(gap) for gap in _plain_gaps(text) for v in others)


def _joined(words: Words, key: str, parts: dict[str, str], sentences: Sequence[Sentence]) -> str:
    base = f"alike.{key.replace('.', '_')}"
    between = words.part("alike")["between"]
    values: dict[str, Any] = dict(sentences[0].word_values)
    for name in (p for p in parts if p.startswith(_EACH)):
        values[name] = between.join(words.say(f"{base}.{name}", **s.word_values) for s in sentences)
    if "said" in gaps(parts["text"]):
        values["said"] = _said(words, base, sentences)
    return words.say(f"{base}.text", **values)


def _said(words: Words, base: str, sentences: Sequence[Sentence]) -> str:
    """Return what the intervals say: each reading once, with those of whom it is true."""
    of: dict[str, list[str]] = {}
    for s in sentences:
        says = words.phrase(s.word_values["says"]).rstrip(".")
        of.setdefault(says, []).append(words.say(f"{base}.who", **s.word_values))
    return " ".join(
        words.say("alike.said", says=says[:1].upper() + says[1:], who=who)
        for says, who in of.items()
    )
