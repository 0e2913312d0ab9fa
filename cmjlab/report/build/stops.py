"""Which results rest on something that cannot be right: they are not shown, the others stand."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from typing import TYPE_CHECKING

from cmjlab.study.check.doubt import Doubt, fails
from cmjlab.study.check_study import other_fails, study_doubts
from cmjlab.study.folder.problems import in_words
from cmjlab.words.catalog import Words

if TYPE_CHECKING:
    from cmjlab.study.study import Study


@dataclass(frozen=True)
class Stops:
    """What cannot be right in a study; false when all is well.

    Attributes
    ----------
    doubts : tuple of Doubt
        Those that stop whatever rests on them.
    problems : tuple of mapping
        Every other fail of the check, as a row of the table of problems.
    members : mapping of group to its athletes
    settled : tuple of Doubt
        Those that a person has found to be true: they stop nothing, and the page says so.
    """

    doubts: tuple[Doubt, ...] = ()
    problems: tuple[Mapping[str, str], ...] = ()
    members: Mapping[str, frozenset[str]] = field(default_factory=dict)
    settled: tuple[Doubt, ...] = ()

    def __bool__(self) -> bool:
        return bool(self.doubts or self.problems)

    def of(
        self, metric: str, sessions: Iterable[str], groups: Iterable[str] = ()
    ) -> tuple[Doubt, ...]:
        """Return the doubts that a result rests on.

        Parameters
        ----------
        metric : str
            Its measure.
        sessions : iterable of str
            Sessions whose values it uses.
        groups : iterable of str
            Groups whose athletes it uses; none is everybody.
        """
        named = [g for g in groups if g]
        who = frozenset[str]().union(*(self.members.get(g, frozenset()) for g in named))
        used = tuple(sessions)
        return tuple(
            d
            for d in self.doubts
            if d.touches_metric(metric)
            and d.touches_session(used)
            and (not named or not d.athletes or who & set(d.athletes))
        )

    def of_athlete(
        self, athlete: str, metric: str = "", sessions: Iterable[str] = ()
    ) -> tuple[Doubt, ...]:
        """Return the doubts that concern one athlete, in one measure and some sessions or in any."""
        used = tuple(sessions)
        return tuple(
            d
            for d in self.doubts
            if d.touches_athlete(athlete)
            and (not metric or d.touches_metric(metric))
            and (not used or d.touches_session(used))
        )

    def sentences(self, words: Words, doubts: Iterable[Doubt] | None = None) -> tuple[str, ...]:
        """Return what was found and what to do about it, one text each.

        Parameters
        ----------
        words : Words
        doubts : iterable of Doubt, optional
            Only these; default all of them, and every other fail of the check.
        """
        chosen = self.doubts if doubts is None else tuple(doubts)
        said = [f"{words.phrase(d.found)} {words.phrase(d.remedy)}" for d in chosen]
        if doubts is None:
            said += [in_words(row) for row in self.problems]
        return tuple(said)


def find_stops(study: Study) -> Stops:
    """Return what stops results of a study; the study is measured."""
    roster = study.athletes.dropna(subset=["athlete", "group"])
    members = {
        str(group): frozenset(part.astype(str))
        for group, part in roster.groupby("group")["athlete"]
        if str(group)
    }
    doubts = study_doubts(study)
    settled = tuple(d for d in doubts if d.settled)
    return Stops(fails(doubts), other_fails(study), members, settled)
