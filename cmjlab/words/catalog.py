"""The words that a person reads, by key, from plain files that a lab can translate.

The files of ``en/`` hold every sentence with named gaps in braces, one file per family. A file
``words.toml`` in a study folder replaces single sentences; the gaps must keep their names. The
labels of metrics and statistics stand in the catalog of :mod:`cmjlab.catalog`; a section
``[label]`` or ``[statistic]`` of ``words.toml`` replaces them.
"""

from __future__ import annotations

import string
import tomllib
from collections.abc import Mapping
from functools import cache
from pathlib import Path
from typing import Any, Protocol

from cmjlab.catalog import METRICS, STATISTICS
from cmjlab.checks import suggestion
from cmjlab.errors import StudyError
from cmjlab.places import PACKAGE
from cmjlab.safe_open import UnsafeFileError, read_text
from cmjlab.toml_text import read_toml
from cmjlab.words.fill import Filler

#: Sections of a lab's own file that replace labels of the catalogs.
_LABELS = {"label": frozenset(METRICS), "statistic": frozenset(STATISTICS)}


class Sayable(Protocol):
    """Something to say: a key of the words, and values for their gaps."""

    @property
    def word_key(self) -> str:
        """Key of the words."""

    @property
    def word_values(self) -> Mapping[str, Any]:
        """Values of the named gaps."""


class Words:
    """Sentences by key, "family.name"."""

    def __init__(self, sentences: Mapping[str, str]) -> None:
        self._sentences = dict(sentences)
        self._gaps: dict[str, set[str]] = {}
        self._without_gaps: dict[str, str] = {}

    def say(self, key: str, **values: Any) -> str:
        """Return a sentence with its gaps filled.

        Raises
        ------
        KeyError
            The key does not exist, or a gap has no value: a report never shows a hole.
        """
        return self._filled(key, values)

    def phrase(self, phrase: Sayable) -> str:
        """Return a Sentence, Note or Reason in words.

        Where the catalog holds ``<key>_one`` (or ``_many``), it is taken when the value ``n``
        is 1 (or is not).
        """
        values = phrase.word_values
        return self._filled(self._counted(phrase.word_key, values), values)

    def about_metric(self, phrase: Sayable) -> bool:
        """Return whether a phrase says something else for another metric.

        One with values may show them in the metric's unit; one without does where it names it.
        """
        key = self._counted(phrase.word_key, {})
        return bool(phrase.word_values) or not {"metric", "subject"}.isdisjoint(self._named(key))

    def count(self, key: str, n: int, **values: Any) -> str:
        """Return the sentence ``key`` + "_one" when n is 1, else ``key`` + "_many"."""
        return self.say(f"{key}_one" if n == 1 else f"{key}_many", n=n, **values)

    def label(self, name: str) -> str:
        """Return the words for a metric or measure; a user's own column keeps its name, in words."""
        own = self._sentences.get(f"label.{name}") or self._sentences.get(f"measure.{name}")
        if own or name in METRICS:
            return own or METRICS[name].label
        plain = name.replace("_", " ")
        return plain[:1].upper() + plain[1:]

    def has_own_label(self, name: str) -> bool:
        """Return whether a lab gave a metric or measure words of its own."""
        return f"label.{name}" in self._sentences or f"measure.{name}" in self._sentences

    def statistic(self, name: str) -> str:
        """Return the words for a statistic."""
        own = self._sentences.get(f"statistic.{name}")
        return own or (STATISTICS[name].label if name in STATISTICS else name.replace("_", " "))

    def replaced(self, sentences: Mapping[str, str]) -> Words:
        """Return words in which some sentences are others."""
        return Words({**self._sentences, **sentences})

    def part(self, section: str) -> dict[str, str]:
        """Return all sentences of a section, by their short names."""
        start = section + "."
        return {k[len(start) :]: v for k, v in self._sentences.items() if k.startswith(start)}

    @property
    def keys(self) -> list[str]:
        """Every key."""
        return list(self._sentences)

    def _counted(self, key: str, values: Mapping[str, Any]) -> str:
        form = f"{key}_one" if values.get("n") == 1 else f"{key}_many"
        return form if form in self._sentences else key

    def _filled(self, key: str, values: Mapping[str, Any]) -> str:
        if key not in self._sentences:
            raise KeyError(f"no sentence {key!r}.{suggestion(key, self._sentences)}")
        if not self._named(key):
            return self._without_gaps[key]
        try:
            text = Filler(values, self.label, self._nested).format(self._sentences[key])
        except KeyError as error:
            raise KeyError(f"{key}: no value for the gap {error}") from None
        return " ".join(text.split())

    def _named(self, key: str) -> set[str]:
        """Return the names of the gaps of a key; most keys are asked for again and again."""
        if key not in self._gaps:
            template = self._sentences.get(key, "{metric}")
            self._gaps[key] = gaps(template)
            if not self._gaps[key]:
                self._without_gaps[key] = " ".join(template.format().split())
        return self._gaps[key]

    def _nested(self, what: Any) -> str:
        return self._sentences[what] if isinstance(what, str) else self.phrase(what)


def _flat(data: Mapping[str, Any], before: str = "") -> dict[str, str]:
    out: dict[str, str] = {}
    for key, value in data.items():
        name = f"{before}{key}"
        if isinstance(value, Mapping):
            out |= _flat(value, f"{name}.")
        else:
            out[name] = str(value)
    return out


def gaps(sentence: str) -> set[str]:
    """Return the names of the gaps in a sentence."""
    return {name for _, name, _, _ in string.Formatter().parse(sentence) if name}


def families() -> dict[str, dict[str, str]]:
    """Return our own sentences by file; a key stands in one file only.

    Raises
    ------
    ValueError
        A key stands in two files.
    """
    out: dict[str, dict[str, str]] = {}
    seen: dict[str, str] = {}
    for path in sorted((PACKAGE / "words" / "en").glob("*.toml")):
        mine = _flat(tomllib.loads(path.read_text(encoding="utf-8")))
        for key in mine:
            if key in seen:
                raise ValueError(f"{key!r} stands in {seen[key]} and in {path.name}")
            seen[key] = path.name
        out[path.stem] = mine
    return out


@cache
def _ours() -> Words:
    return Words({k: v for family in families().values() for k, v in family.items()})


def read_words(own: Path | None = None) -> Words:
    """Return the sentences, with those of ``own`` in place of ours.

    Raises
    ------
    StudyError
        ``own`` has a key that does not exist, a gap that does not exist, or is no TOML.
    """
    if own is None or not (own.exists() or own.is_symlink()):
        return _ours()
    ours = {k: _ours()._sentences[k] for k in _ours().keys}
    try:
        theirs = _flat(read_toml(read_text(own, study=own.parent)))
    except UnsafeFileError:
        raise
    except OSError as error:
        raise StudyError(f"{own}: cannot be opened ({error.strerror}). Remove it.") from None
    except (tomllib.TOMLDecodeError, UnicodeDecodeError) as error:
        raise StudyError(
            f"{own.name}: no readable TOML ({error}). Correct it or remove it."
        ) from None
    for key, sentence in theirs.items():
        if _is_label(key):
            continue
        if key not in ours:
            raise StudyError(
                f"{own.name}: there is no sentence {key!r}.{suggestion(key, ours)} Remove it."
            )
        try:
            strange = gaps(sentence) - gaps(ours[key])
        except ValueError as error:
            raise StudyError(f"{own.name}: {key}: {error}. Write {{{{ for a brace.") from None
        if strange:
            allowed = ", ".join(sorted(gaps(ours[key]))) or "none"
            raise StudyError(
                f"{own.name}: {key} has a gap {{{sorted(strange)[0]}}}; its gaps are: {allowed}."
            )
    return Words(ours | theirs)


def _is_label(key: str) -> bool:
    section, _, name = key.partition(".")
    return name in _LABELS.get(section, ())
