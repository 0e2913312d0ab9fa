"""The sentences of the report, from one file that a lab can translate.

``words.toml`` beside this file holds every sentence with named gaps in braces. A file
``words.toml`` in a study folder replaces single sentences; the gaps must keep their names.
"""

from __future__ import annotations

import string
import tomllib
from collections.abc import Mapping
from pathlib import Path
from typing import Any

from cmjlab.checks import suggestion
from cmjlab.errors import StudyError
from cmjlab.places import PACKAGE


class Words:
    """Sentences by key, "section.name"."""

    def __init__(self, sentences: Mapping[str, str]) -> None:
        self._sentences = dict(sentences)

    def say(self, key: str, **values: object) -> str:
        """Return a sentence with its gaps filled.

        Raises
        ------
        KeyError
            The key does not exist, or a gap has no value: a report never shows a hole.
        """
        if key not in self._sentences:
            raise KeyError(f"no sentence {key!r}.{suggestion(key, self._sentences)}")
        return " ".join(self._sentences[key].format_map(values).split())

    def count(self, key: str, n: int, **values: object) -> str:
        """Return the sentence ``key`` + "_one" when n is 1, else ``key`` + "_many"."""
        return self.say(f"{key}_one" if n == 1 else f"{key}_many", n=n, **values)

    def part(self, section: str) -> dict[str, str]:
        """Return all sentences of a section, by their short names."""
        start = section + "."
        return {k[len(start) :]: v for k, v in self._sentences.items() if k.startswith(start)}

    @property
    def keys(self) -> list[str]:
        """Every key."""
        return list(self._sentences)


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


def read_words(own: Path | None = None) -> Words:
    """Return the sentences, with those of ``own`` in place of ours.

    Raises
    ------
    StudyError
        ``own`` has a key that does not exist, a gap that does not exist, or is no TOML.
    """
    text = (PACKAGE / "words" / "en" / "report.toml").read_text(encoding="utf-8")
    ours = _flat(tomllib.loads(text))
    if own is None or not own.is_file():
        return Words(ours)
    try:
        theirs = _flat(tomllib.loads(own.read_text(encoding="utf-8")))
    except (tomllib.TOMLDecodeError, UnicodeDecodeError) as error:
        raise StudyError(
            f"{own.name}: no readable TOML ({error}). Correct it or remove it."
        ) from None
    for key, sentence in theirs.items():
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
