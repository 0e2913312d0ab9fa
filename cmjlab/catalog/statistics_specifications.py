"""Statistics of a question that is answered in many ways."""

from __future__ import annotations

from cmjlab.catalog.entries import Statistic

_CURVE = "Simonsohn, Simmons & Nelson 2020, Nat Hum Behav 4:1208 (from memory)"
_COMMON = "common practice, no source"

SPECIFICATIONS: tuple[Statistic, ...] = (
    Statistic("specification_median", "Median over all ways to analyse", "metric", "median of the estimates over all specifications; limits: smallest and largest", "where do the estimates lie when everything is done otherwise", _CURVE, also_called=(("specification curve", _CURVE), ("multiverse analysis", "Steegen et al. 2016, Perspect Psychol Sci 11:702 (from memory)"))),
    Statistic("same_direction_share", "Same direction", "", "specifications with an estimate on the side of the study's own / all", "does the direction depend on how it is analysed", _CURVE, has_interval=False),
    Statistic("same_verdict_share", "Same answer", "", "specifications with the verdict of the study's own / all", "does the answer depend on how it is analysed", _CURVE, has_interval=False),
    Statistic("specification_spread", "Spread over all ways to analyse", "metric", "SD of the estimates over specifications", "how far do choices move the estimate", _COMMON, has_interval=False),
    Statistic("specification_spread_true", "Spread beyond noise", "metric", "√(variance over specifications - mean variance of their own noise)", "how far apart do the specifications' true effects lie", "our own; checked by simulation in tests/calibration", has_interval=False),
    Statistic("choice_share", "Share of a choice", "", "what the choice adds to R² of the estimates on all choices, averaged over all orders", "which choice moves the estimate", "Lindeman, Merenda & Gold 1980 (from memory)", has_interval=False),
    Statistic("joint_p", "All ways to analyse at once", "", "share of deals of the labels whose mean t over all specifications is as large", "could chance alone make so many specifications agree", "Simonsohn, Simmons & Nelson 2020; Freedman & Lane 1983, J Bus Econ Stat 1:292 (from memory)", has_interval=False),
)  # fmt: skip
