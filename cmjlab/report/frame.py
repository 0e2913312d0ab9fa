"""What every section works with: the study, its analyses, the words, the figures made so far."""

from __future__ import annotations

import math
from dataclasses import dataclass, field
from functools import cached_property
from typing import TYPE_CHECKING

import pandas as pd

from cmjlab.report.analyses import Analyses
from cmjlab.report.data import FigureBlock
from cmjlab.report.words import Words

if TYPE_CHECKING:
    from cmjlab.plots.style import Picture
    from cmjlab.study.frozen import PlanState
    from cmjlab.study.study import Study

_CM_PER_INCH = 2.54


@dataclass
class Frame:
    """Everything a section may use; ``figures`` and ``tables`` collect what is saved beside."""

    study: Study
    found: Analyses
    words: Words
    figures: dict[str, Picture] = field(default_factory=dict)
    tables: dict[str, pd.DataFrame] = field(default_factory=dict)

    @property
    def primary(self) -> str:
        """The primary measure; the first that has values when the planned one has none."""
        return self.found.metrics[0] if self.found.metrics else str(self.study.plan.primary_metric)

    @property
    def matters(self) -> dict[str, float]:
        """Declared changes that matter, by measure."""
        return dict(self.study.plan.change_that_matters)

    @cached_property
    def plan_state(self) -> PlanState | None:
        """How the study stands to its frozen plan; None when none was frozen."""
        from cmjlab.study.frozen import plan_state

        return plan_state(self.study)

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
        self.figures[key] = picture
        width = float(picture.get_size_inches()[0]) * _CM_PER_INCH
        return FigureBlock(key, caption, picture.alt_text, picture.svg(), width)
