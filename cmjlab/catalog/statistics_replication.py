"""Statistics of a published number beside ours."""

from __future__ import annotations

from cmjlab.catalog.entries import Statistic

_MOVER = "interval from both intervals: Newcombe 1998, Stat Med 17:873; Zou & Donner 2008, Stat Med 27:1693 (from memory)"

REPLICATION: tuple[Statistic, ...] = (
    Statistic("own_value", "Ours", "metric", "as in the analyses of the study", "what did this study find", "the study's own analyses"),
    Statistic("published_value", "Published", "metric", "as printed, in our unit", "what did the paper find, and how sure was it", "interval from what is printed: t, chi-square, or F (Shrout & Fleiss 1979)"),
    Statistic("published_difference", "Ours less published", "metric", "ours - published", "how far is this study from the paper", _MOVER, question="published_comparison"),
    Statistic("published_ratio", "Ours by published", "", "ours / published", "how many times as large is this study's spread or noise", _MOVER, question="published_comparison"),
)  # fmt: skip
