"""Names as a person reads and types them: metrics, events, rules and columns in words."""

from __future__ import annotations

import re
from collections.abc import Iterable

from cmjlab.catalog import CHECKS, EVENT_LABELS, MOVABLE_EVENTS, STATUS_LABELS
from cmjlab.checks import closest
from cmjlab.errors import ArgumentError
from cmjlab.words.catalog import read_words

#: Units that column names end in; they stand behind the heading, in brackets.
_UNITS = {"kg": "kg", "m": "m", "s": "s", "n": "N", "hz": "Hz"}


def metric_label(metric: str) -> str:
    """Return the words for a metric, a measure or a column of the user's own."""
    return read_words().label(metric)


def find_metric(text: str, known: Iterable[str], usual: Iterable[str]) -> str:
    """Return the metric that a person means by its name or by its words.

    Parameters
    ----------
    text : str
        What was typed: "jump_height_m", or "Countermovement depth" in any letter case.
    known : iterable of str
        Metrics that there are.
    usual : iterable of str
        Those that an error message names.

    Raises
    ------
    ArgumentError
        There is no such metric; the message says which is nearest.
    """
    names = {**{_bare(metric_label(key)): key for key in known}, **{_bare(k): k for k in known}}
    try:
        return names[_bare(text)]
    except KeyError:
        close = closest(text, names.values()) or names.get(closest(_bare(text), names) or "")
        near = f" Did you mean {metric_label(close)!r}?" if close else ""
        listed = "; ".join(metric_label(m) for m in usual)
        raise ArgumentError(
            f"--metric: there is no metric {text!r}.{near} Those of the report are: {listed}."
        ) from None


def find_event(text: str) -> str:
    """Return the event that a person means by its name or by its words ("take-off").

    Raises
    ------
    ArgumentError
        There is no such event, or it cannot be moved.
    """
    names = {_bare(word): e for e in MOVABLE_EVENTS for word in (e, EVENT_LABELS[e])}
    try:
        return names[_bare(text)]
    except KeyError:
        events = ", ".join(EVENT_LABELS[e] for e in MOVABLE_EVENTS)
        raise ArgumentError(
            f"--event: {text!r} is no event that can be moved; these are {events}."
        ) from None


def _bare(text: str) -> str:
    """Return a name without letter case; blanks, hyphens and underscores count alike."""
    return re.sub(r"[\s_\-]+", " ", text.strip()).casefold()


def flags_in_words(flags: str) -> str:
    """Return the flags of a jump ("double_dip:fail;…") as their rules' words."""
    pairs = [flag.partition(":") for flag in flags.split(";") if flag]
    return ", ".join(f"{rule_label(code)} ({STATUS_LABELS[s].lower()})" for code, _, s in pairs)


def rule_label(code: str) -> str:
    """Return the words for a quality rule."""
    return CHECKS[code].label if code in CHECKS else code.replace("_", " ")


def events_in_words(events: str) -> str:
    """Return names of events that are joined by semicolons as words."""
    return ", ".join(EVENT_LABELS[e] for e in events.split(";") if e)


def heading(column: str) -> str:
    """Return the heading of a table's column in words, its unit in brackets.

    Examples
    --------
    >>> heading("last_body_mass_kg")
    'last body mass (kg)'
    """
    if " " in column:  # words already
        return column
    name, _, last = column.rpartition("_")
    if name and last in _UNITS:
        return f"{name.replace('_', ' ')} ({_UNITS[last]})"
    return column.replace("_", " ")
