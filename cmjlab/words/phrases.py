"""Sentence, Note, Reason, Case: what is to be said, as a key and values; the words stand in the catalog.

Whoever computes decides *what* is said and hands over the numbers; how it is said, and in which
language, is decided where a person reads. ``str()`` speaks with the words that come along.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any, ClassVar

from cmjlab.words.catalog import read_words


@dataclass(frozen=True)
class Phrase:
    """Something to say; kinds differ in the part of the catalog that holds their words."""

    _part: ClassVar[str] = ""

    @property
    def word_key(self) -> str:
        """Key of the words in the catalog."""
        raise NotImplementedError

    @property
    def word_values(self) -> Mapping[str, Any]:
        """Values of the named gaps."""
        raise NotImplementedError

    @property
    def text(self) -> str:
        """The words that come along, with the gaps filled."""
        return read_words().phrase(self)

    def __str__(self) -> str:
        return self.text


@dataclass(frozen=True)
class Sentence(Phrase):
    """One result in plain words.

    Attributes
    ----------
    key : str
        Key of the words, ``family.name``.
    metric : str
        Metric that it is about; fills the gap ``{metric}`` with its label, and numbers are
        shown in its unit.
    group : str
        Group or stratum that it is about, "" for everybody.
    values : mapping
        Values of the gaps: numbers in table units, names, keys, other phrases.
    """

    key: str
    metric: str = ""
    group: str = ""
    values: Mapping[str, Any] = field(default_factory=dict)

    @property
    def word_key(self) -> str:
        """Key of the words in the catalog."""
        return self.key

    @property
    def word_values(self) -> Mapping[str, Any]:
        """Values of the named gaps; metric and group are among them."""
        return {"metric": self.metric, "group": self.group, **self.values}


@dataclass(frozen=True)
class Note(Phrase):
    """A remark with a code that programs and tests can rely on.

    Attributes
    ----------
    code : str
        Kind of remark; its words are ``note.<code>``.
    values : mapping
        Values of the gaps; ``metric`` among them sets the unit of numbers.

    Examples
    --------
    >>> import cmjlab as cj
    >>> note = cj.Note("text_column", {"columns": ["coach"]})
    >>> note.code
    'text_column'
    """

    code: str
    values: Mapping[str, Any] = field(default_factory=dict)

    @property
    def word_key(self) -> str:
        """Key of the words in the catalog."""
        return f"note.{self.code}"

    @property
    def word_values(self) -> Mapping[str, Any]:
        """Values of the named gaps."""
        return self.values

    @property
    def metric(self) -> str:
        """Metric that the remark is about, "" when it is about all or several."""
        return str(self.values.get("metric", ""))

    @property
    def metrics(self) -> tuple[str, ...]:
        """Metrics that the remark is about, none when it is about all."""
        several = self.values.get("metrics", ())
        return tuple(several) or ((self.metric,) if self.metric else ())


@dataclass(frozen=True)
class Reason(Phrase):
    """Why there is no number or no interval, or what to know about a number.

    Attributes
    ----------
    code : str
        Kind of reason; its words are ``reason.<code>``.
    values : mapping
        Values of the gaps.
    """

    code: str
    values: Mapping[str, Any] = field(default_factory=dict)

    @property
    def word_key(self) -> str:
        """Key of the words in the catalog."""
        return f"reason.{self.code}"

    @property
    def word_values(self) -> Mapping[str, Any]:
        """Values of the named gaps."""
        return self.values


@dataclass(frozen=True)
class Case(Phrase):
    """What a number is for, where one place has several: a design, a number of jumps, a shift.

    Attributes
    ----------
    code : str
        Kind of case; its words are ``case.<code>``.
    values : mapping
        Values of the gaps: plain numbers, names or keys.
    """

    code: str
    values: Mapping[str, Any] = field(default_factory=dict)

    @property
    def word_key(self) -> str:
        """Key of the words in the catalog."""
        return f"case.{self.code}"

    @property
    def word_values(self) -> Mapping[str, Any]:
        """Values of the named gaps."""
        return self.values
