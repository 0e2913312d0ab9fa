"""A doubt: something in the tables that cannot be right, whom it touches, and what to do.

A doubt carries a key and values; its words stand in ``cmjlab/words/en/doubts.toml``. The rules
that raise doubts stand in the files ``doubt_*.py`` beside this one; each works on plain tables.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

import pandas as pd

from cmjlab.catalog import METRICS
from cmjlab.stats.common.measures import STRENGTH
from cmjlab.words.phrases import Sentence

#: What a doubt may touch, from most to least.
TOUCHES = ("all", "plate", "forces", "sides", "strength", "nothing")
_SECONDS = "s"
#: Athletes that stand in the name of a doubt.
_NAMED = 2


@dataclass(frozen=True)
class Doubt:
    """One thing that cannot be right (fail) or should be looked at (warn).

    Attributes
    ----------
    key : str
        Kind of doubt; its words are ``doubt_found.<key>`` and ``doubt_do.<key>``.
    level : str
        "fail": nothing that rests on it is shown; "warn": look at it.
    sessions : tuple of str
        Sessions in doubt; none when it is not about a session.
    athletes : tuple of str
        Athletes in doubt; none when it is everybody.
    touches : str
        Which measures rest on it: "all"; "plate", whatever the plates measure; "forces", all of
        these but pure times; "sides", left against right; "strength", one-repetition maxima and
        what is made of them; "nothing".
    values : mapping
        Numbers and names for the gaps of the words.
    settled : bool
        A person has looked into it and found it to be true (``settled`` under [plan]).
    """

    key: str
    level: str
    sessions: tuple[str, ...] = ()
    athletes: tuple[str, ...] = ()
    touches: str = "all"
    values: Mapping[str, Any] = field(default_factory=dict)
    settled: bool = False

    @property
    def name(self) -> str:
        """Its name in study.toml: kind, sessions, and athletes when they are one or two."""
        few = self.athletes if len(self.athletes) <= _NAMED else ()
        return " ".join((self.key, *self.sessions, *few))

    @property
    def found(self) -> Sentence:
        """What was found, with its numbers."""
        return Sentence(f"doubt_found.{self.key}", values=self._named)

    @property
    def short(self) -> Sentence:
        """What was found in a few words, for a cell of a table."""
        return Sentence(f"doubt_short.{self.key}", values=self._named)

    @property
    def remedy(self) -> Sentence:
        """What to do about it."""
        return Sentence(f"doubt_do.{self.key}", values=self._named)

    @property
    def _named(self) -> dict[str, Any]:
        own = {"name": self.name, "sessions": list(self.sessions), "athletes": list(self.athletes)}
        return {**own, **self.values}

    @property
    def settle(self) -> Sentence:
        """What to write when it is true after all."""
        return Sentence("doubt.settle", values=self._named)

    def touches_metric(self, metric: str) -> bool:
        """Return whether the values of a metric or measure rest on what is in doubt."""
        strength = metric == STRENGTH or "1rm" in metric.casefold()
        if self.touches in ("all", "nothing"):
            return self.touches == "all"
        if self.touches == "strength":
            return strength
        if metric == STRENGTH:  # one-repetition maximum over body mass on the plate
            return self.touches in ("plate", "forces")
        known = METRICS.get(metric)
        if known is None:
            return False
        if self.touches == "sides":
            return metric.endswith("_asymmetry_percent") or metric.startswith(("left_", "right_"))
        return self.touches == "plate" or known.unit != _SECONDS

    def touches_athlete(self, athlete: str) -> bool:
        """Return whether the values of an athlete are in doubt."""
        return not self.athletes or athlete in self.athletes

    def touches_session(self, sessions: Iterable[str]) -> bool:
        """Return whether one of these sessions is in doubt."""
        return not self.sessions or bool(set(self.sessions) & set(sessions))


def fails(doubts: Iterable[Doubt]) -> tuple[Doubt, ...]:
    """Return the doubts that stop what rests on them."""
    return tuple(d for d in doubts if d.level == "fail")


def doubts_table(doubts: Sequence[Doubt]) -> pd.DataFrame:
    """Return doubts as a table: key, level, sessions, athletes, touches, found, remedy."""
    rows = [
        (
            d.key,
            d.level,
            " ".join(d.sessions),
            " ".join(d.athletes),
            d.touches,
            d.found.text,
            d.remedy.text,
        )
        for d in doubts
    ]
    columns = ["key", "level", "sessions", "athletes", "touches", "found", "remedy"]
    return pd.DataFrame(rows, columns=columns, dtype="str")
