"""Kinds of catalog entries: Metric, Statistic, CheckRule."""

from __future__ import annotations

import re
from dataclasses import dataclass

#: How far a source was looked into; of use to those who develop, not to those who cite.
_LOOKED = re.compile(r"\s*\([^()]*\b(?:from memory|abstract read)\b[^()]*\)")
#: What a quality rule finds, and its words.
STATUS_LABELS = {
    "pass": "Passed",
    "note": "Note",
    "warn": "Warning",
    "fail": "Failed",
    "not_assessed": "Not assessed",
}
STATUSES = tuple(STATUS_LABELS)
#: Parts of a jump that a fail can void.
SCOPES = ("jump", "flight", "landing", "limbs")


def reference_of(source: str) -> str:
    """Return a source as it is shown: without the mark of how far it was looked into.

    Examples
    --------
    >>> reference_of("Hopkins 2004 (from memory); arbitrary")
    'Hopkins 2004; arbitrary'
    """
    return _LOOKED.sub("", source)


class _Sourced:
    """An entry with a source."""

    source: str

    @property
    def reference(self) -> str:
        """The source as it is shown to a reader."""
        return reference_of(self.source)


@dataclass(frozen=True)
class Metric(_Sourced):
    """One number of one jump.

    Attributes
    ----------
    key : str
        Column name, ``<quantity>_<unit>``.
    label : str
        Words for a figure or table heading, without unit.
    unit : str
        Unit of the column ("m", "s", "N", "W/kg", "%", …).
    phase : str
        "whole jump", "weighing", "unweighting", "braking", "propulsion", "flight", "landing"
        or "limbs".
    formula : str
        How it is computed, in symbols.
    meaning : str
        One sentence for a coach.
    direction : str
        "higher" or "lower" when that is usually wanted, else "depends".
    ratio_scale : bool
        Positive with a true zero: only then percent, logs and CV make sense.
    scope : str
        Scope of checks that void it: "jump", "flight", "landing", "limbs".
    same_as : str
        Key of the metric that stands for all that hold the same information: values that are a
        function of its values, and per kilogram what it is in all; "" when it stands for itself.
        Counted once in families of tests, shown once in a report.
    also_called : tuple of (str, str)
        Other published names with the paper that uses them.
    exploratory : bool
        Known to repeat poorly; never a primary metric.
    source : str
        Where the definition comes from.
    """

    key: str
    label: str
    unit: str
    phase: str
    formula: str
    meaning: str
    direction: str = "depends"
    ratio_scale: bool = True
    scope: str = "jump"
    same_as: str = ""
    also_called: tuple[tuple[str, str], ...] = ()
    exploratory: bool = False
    source: str = "Newton's laws; common practice"

    @property
    def short_label(self) -> str:
        """The label without how it is computed and per what: for a page that has said it once."""
        return re.sub(r" \([^()]*\)$", "", self.label).removesuffix(" per body mass")


@dataclass(frozen=True)
class Statistic(_Sourced):
    """One kind of estimate.

    Attributes
    ----------
    key : str
        Value of the column ``statistic``.
    label : str
        Words for tables and figures.
    unit : str
        "metric" (the metric's own unit), "" (none), "%" or another unit.
    formula : str
        How it is computed.
    meaning : str
        The question it answers, in one sentence.
    source : str
        Paper, or "common practice, no source".
    has_interval : bool
        Whether the estimate can have an interval at all; a test value, a declared value or a
        simulated share has none by nature.
    question : str
        Statistics that answer the same question in different ways share this key, and only one
        of them leads; "" when the statistic answers a question of its own.
    also_called : tuple of (str, str)
        Other published names with the paper that uses them.
    """

    key: str
    label: str
    unit: str
    formula: str
    meaning: str
    source: str
    has_interval: bool = True
    question: str = ""
    also_called: tuple[tuple[str, str], ...] = ()


@dataclass(frozen=True)
class CheckRule(_Sourced):
    """One quality rule.

    Attributes
    ----------
    code : str
        Key of the rule.
    label : str
        Short words.
    scope : str
        "jump", "flight", "landing", "limbs".
    level : str
        "jump" (from one recording) or "study" (needs the other jumps of the study).
    unit : str
        Unit of value and limit.
    test : str
        What is tested and the limits, in words.
    remedy : str
        What a person can do about it.
    source : str
        Where the limits come from.
    """

    code: str
    label: str
    scope: str
    level: str
    unit: str
    test: str
    remedy: str
    source: str = "our own limit; no paper prescribes it"
