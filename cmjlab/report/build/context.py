"""What every section works with: the study, its analyses, the words, the figures made so far."""

from __future__ import annotations

import math
from dataclasses import dataclass, field
from functools import cached_property
from typing import TYPE_CHECKING

import pandas as pd

from cmjlab.errors import CmjlabError
from cmjlab.plots.decimal import set_decimal
from cmjlab.report.blocks.data import FigureBlock
from cmjlab.report.blocks.format import with_labels
from cmjlab.report.build.analyses import Analyses
from cmjlab.report.build.choices import Choices
from cmjlab.report.build.stops import Stops
from cmjlab.words.catalog import Words

if TYPE_CHECKING:
    from cmjlab.plots.style import Picture
    from cmjlab.report.build.subgroups import StudySubgroups
    from cmjlab.study.frozen_plan import PlanState
    from cmjlab.study.study import Study

_CM_PER_INCH = 2.54
#: Limits of the short form.
_MOST_METRICS = 8
_MOST_PEOPLE = 12


@dataclass
class Context:
    """Everything a section may use; ``figures`` and ``tables`` collect what is saved beside.

    Attributes
    ----------
    choices : Choices
        Length, names and decimal style asked for.
    names : dict
        Athlete -> name; empty unless names were asked for.
    stops : Stops
        What cannot be right, and which results rest on it.
    """

    study: Study
    analyses: Analyses
    words: Words
    choices: Choices = field(default_factory=Choices)
    names: dict[str, str] = field(default_factory=dict)
    figures: dict[str, Picture] = field(default_factory=dict)
    tables: dict[str, pd.DataFrame] = field(default_factory=dict)
    stops: Stops = field(default_factory=Stops)
    remarks_shown: set[str] = field(default_factory=set)

    @property
    def primary(self) -> str:
        """The primary measure; the first that has values when the planned one has none."""
        return (
            self.analyses.metrics[0]
            if self.analyses.metrics
            else str(self.study.plan.primary_metric)
        )

    @property
    def matters(self) -> dict[str, float]:
        """Declared changes that matter, by measure."""
        return dict(self.study.plan.change_that_matters)

    @property
    def full(self) -> bool:
        """Whether everything is shown; else one page for coaches and about a dozen more."""
        return self.choices.full

    @property
    def metrics(self) -> tuple[str, ...]:
        """Measures that the tables of this report show."""
        return self.analyses.metrics if self.full else self.analyses.metrics[:_MOST_METRICS]

    @property
    def more_metrics(self) -> str:
        """A sentence on measures that are not shown, or an empty text."""
        rest = len(self.analyses.metrics) - len(self.metrics)
        return self.words.count("page.more_measures", rest) if rest else ""

    def why_missing(self, name: str) -> str:
        """Return why a result is missing, or a measure is left out."""
        reason = self.analyses.reasons.get(name, "")
        return with_labels(reason) if isinstance(reason, str) else self.words.phrase(reason)

    def is_new(self, text: str) -> bool:
        """Return whether a remark has not stood on the page before, and remember it."""
        new = text not in self.remarks_shown
        self.remarks_shown.add(text)
        return new

    def athlete_name(self, athlete: str) -> str:
        """Return an athlete's id, with the name beside it when names were asked for."""
        name = self.names.get(athlete, "")
        return f"{athlete} {name}" if name else athlete

    def athlete_said(self, athlete: str) -> str:
        """Return an athlete as sentences say it: they are copied on, so by id unless asked for."""
        return self.athlete_name(athlete) if self.choices.names_everywhere else athlete

    def athlete_names(self, athletes: list[str]) -> str:
        """Return athletes in one line; after ``_MOST_PEOPLE`` only how many more there are."""
        shown = [self.athlete_said(a) for a in athletes[:_MOST_PEOPLE]]
        rest = len(athletes) - len(shown)
        more = f" {self.words.say('word.more', n=rest)}" if rest else ""
        return ", ".join(shown) + more

    @cached_property
    def literal(self) -> set[str]:
        """Texts of the user that stay as they are in any decimal style."""
        jumps, roster = self.analyses.jumps, self.study.athletes
        own = [self.study.title, *self.names.values()]
        for values in (jumps["file"], jumps["session"], roster["athlete"], roster["group"]):
            own += [str(v) for v in values.dropna().unique()]
        return set(own)

    @cached_property
    def plan_state(self) -> PlanState | None:
        """How the study stands to its frozen plan; None when none was frozen."""
        from cmjlab.study.frozen_plan import plan_state

        return plan_state(self.study)

    @cached_property
    def split(self) -> StudySubgroups | None:
        """How the squad was split, as the report shows it; None when there is no session for it."""
        from cmjlab.report.build.subgroups import study_subgroups

        try:
            return study_subgroups(self.study, only=("strength", "threshold", "placement"))
        except CmjlabError:
            return None

    @property
    def days(self) -> dict[str, pd.Timestamp]:
        """Date of each session that has one."""
        dates = pd.to_datetime(self.study.sessions["date"], errors="coerce")
        names = self.study.sessions["session"].astype(str)
        return {s: d for s, d in zip(names, dates, strict=True) if not pd.isna(d)}

    def days_between(self, first: str, second: str) -> float:
        """Return the days between two sessions, nan when a date is missing."""
        days = self.days
        if first not in days or second not in days:
            return math.nan
        return float((days[second] - days[first]).days)

    def figure(self, key: str, picture: Picture, caption: str) -> FigureBlock:
        """Keep a figure under its key and return its block."""
        set_decimal(picture, self.choices.decimal, literal=self.literal)
        self.figures[key] = picture
        width = float(picture.get_size_inches()[0]) * _CM_PER_INCH
        return FigureBlock(key, caption, picture.alt_text, picture.svg(), width)
