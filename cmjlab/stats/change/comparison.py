"""What is asked when groups are compared, and what is found for one metric."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Any

from cmjlab.plan import Selection
from cmjlab.results import Note, Reason, Sentence
from cmjlab.stats.change.along_baseline import Along
from cmjlab.stats.change.design import Contrast
from cmjlab.stats.change.pairs import Covariate, Pairs
from cmjlab.stats.common.rows import Rows


@dataclass(frozen=True)
class GroupQuestion:
    """What is compared and how.

    Attributes
    ----------
    assignment : str or Selection
        How the groups came about: "random", "other", or what they were selected on.
    control : str or None
        Group that the others are compared with.
    level : float
    second_baseline : str
        A baseline session that did not decide selected groups, "" when there is none.
    role : str
        "primary" or "exploratory", for all rows.
    """

    assignment: str | Selection
    control: str | None
    level: float
    second_baseline: str = ""
    role: str = "exploratory"

    def leading(self, before: str) -> dict[str, str]:
        """Return which estimate leads in a change from ``before``, and why.

        Returns
        -------
        dict
            ``statistic``: "adjusted_difference", "change_difference" or "" (neither);
            ``why``: "random", "selected_before", "selected_elsewhere" or "other_grounds".
        """
        if isinstance(self.assignment, Selection):
            if self.assignment.session == before:
                return {"statistic": "adjusted_difference", "why": "selected_before"}
            return {"statistic": "change_difference", "why": "selected_elsewhere"}
        if self.assignment == "random":
            return {"statistic": "adjusted_difference", "why": "random"}
        return {"statistic": "", "why": "other_grounds"}


@dataclass
class Comparison:
    """Everything about the comparison of groups in one metric.

    Attributes
    ----------
    pairs : Pairs
    rows : Rows
    leading : str
        Statistic that leads, "" when none does.
    why_not : Reason or None
        Why the groups cannot be compared at all.
    small_groups : tuple of str
        Groups with fewer than two complete athletes.
    constant : tuple of (metric, session)
        Covariates that are the same for everybody.
    extrapolated : dict of group to list of (metric, session)
        Covariates whose mean over the squad lies outside the range of a group.
    lines : list of Along
        Differences along the baseline, where its slopes differ between the groups.
    baseline_gap : dict of contrast to float
        Difference before the block, in pooled SDs.
    sentences, notes
        What to say.
    adjusted, leave_one_out, drift, along : list of dict
        Tidy rows behind the figures.
    """

    pairs: Pairs
    rows: Rows
    leading: str = ""
    why_not: Reason | None = None
    small_groups: tuple[str, ...] = ()
    constant: tuple[Covariate, ...] = ()
    extrapolated: dict[str, list[Covariate]] = field(default_factory=dict)
    lines: list[Along] = field(default_factory=list)
    baseline_gap: dict[Contrast, float] = field(default_factory=dict)
    sentences: list[Sentence] = field(default_factory=list)
    notes: list[Note] = field(default_factory=list)
    adjusted: list[dict[str, Any]] = field(default_factory=list)
    leave_one_out: list[dict[str, Any]] = field(default_factory=list)
    drift: list[dict[str, Any]] = field(default_factory=list)
    along: list[dict[str, Any]] = field(default_factory=list)
