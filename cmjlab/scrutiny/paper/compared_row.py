"""One row of a paper with ours beside it, as it goes into the result."""

from __future__ import annotations

from dataclasses import dataclass

from cmjlab.results import Reason
from cmjlab.scrutiny.paper.own_values import Own
from cmjlab.scrutiny.paper.read_words import KINDS
from cmjlab.scrutiny.paper.rule import beyond
from cmjlab.scrutiny.paper.table import PaperRow

Pair = tuple[float, float]


@dataclass(frozen=True)
class Compared:
    """One row of a paper, ours beside it, and what the rule says."""

    row: PaperRow
    own: Own
    published: Pair
    difference: float
    wide: Pair
    margin: Pair
    margin_from: str
    verdict: str
    reason: Reason | None = None

    @property
    def ratios(self) -> bool:
        """Whether the difference is a ratio."""
        return KINDS[self.row.statistic].scale == "ratio"

    @property
    def beyond(self) -> bool:
        """Whether it is certain that ours differs by more than the margin."""
        return beyond(self.wide, self.margin)
