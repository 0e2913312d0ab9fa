"""Which printed numbers tell the precision of a row, and what is missing where they do not."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import replace

import numpy as np

from cmjlab.results import Reason
from cmjlab.scrutiny.paper import published
from cmjlab.scrutiny.paper.read_words import CHANGES, DIFFERENCES, KINDS, NOISE
from cmjlab.scrutiny.paper.table import PaperRow, Printed
from cmjlab.stats.common.intervals import mean_limits
from cmjlab.stats.common.mean_squares import Array

#: From values and a level to limits.
Precision = Callable[[Array, float], tuple[Array, Array]]


def precision_of(row: PaperRow) -> Precision | Reason:
    """Return how limits of the published value are made, or why they cannot be."""
    if row.average and not row.k:
        return Reason("published_needs", {"needs": ("sessions",)})
    stated = _interval(row)
    if row.statistic in NOISE or row.statistic == "sd":
        return _spread(row, stated)
    if row.statistic in DIFFERENCES:
        return _difference(row, stated)
    return _mean(row, stated)


def single(row: PaperRow) -> PaperRow:
    """Return an ICC of an average as that of one session; every other row as it is."""
    if not (row.average and row.k):
        return row
    value, low, high = (_stepped(number, row.k) for number in (row.value, row.low, row.high))
    return replace(row, average=False, value=value, low=low, high=high)


def _stepped(number: Printed, k: int) -> Printed:
    ends = [
        float(published.single_of_average(number.value + s * number.half, k)) for s in (-1, 0, 1)
    ]
    return Printed(ends[1], abs(ends[2] - ends[0]) / 2)


def _interval(row: PaperRow) -> Precision | None:
    """Return limits from a printed interval, as wide as its own rounding allows."""
    low, high = row.low.value - row.low.half, row.high.value + row.high.half
    if not (math.isfinite(low) and math.isfinite(high) and low < high):
        return None
    df = _df(row)
    scale = KINDS[row.statistic].scale
    limits_stated = (low, high)

    def limits(value: Array, level: float) -> tuple[Array, Array]:
        return published.rescaled(value, limits_stated, (row.level, level), df, scale)

    return limits


def _df(row: PaperRow) -> float:
    if row.statistic in DIFFERENCES:
        return row.n + row.n_other - 2 if row.n and row.n_other else math.inf
    return row.n - 1 if row.n and KINDS[row.statistic].scale == "plain" else math.inf


def _mean(row: PaperRow, stated: Precision | None) -> Precision | Reason:
    sd = row.sd.value + row.sd.half
    if row.n and sd > 0:
        return lambda value, level: published.limits_of_mean(value, sd, row.n, level)
    if stated:
        return stated
    if row.statistic in CHANGES and row.n and row.p.value > 0:
        return _by_p(row, row.n - 1)
    return Reason("published_needs_spread")


def _difference(row: PaperRow, stated: Precision | None) -> Precision | Reason:
    sd, sizes = row.sd.value + row.sd.half, (row.n, row.n_other)
    # An adjusted difference has a smaller error than the SD of the changes says.
    if stated and row.statistic == "adjusted_difference":
        return stated
    if all(sizes) and sd > 0:
        return lambda value, level: published.limits_of_difference(value, sd, sizes, level)
    if stated:
        return stated
    if all(sizes) and row.p.value > 0:
        return _by_p(row, row.n + row.n_other - 2)
    return Reason("published_needs_spread")


def _by_p(row: PaperRow, df: float) -> Precision:
    p = min(row.p.value + row.p.half, 0.999)
    se = float(published.se_of_p(row.value.value, p, df))
    return lambda value, level: mean_limits(value, se, df, level)


def _spread(row: PaperRow, stated: Precision | None) -> Precision | Reason:
    """Spreads and ICCs: n and the number of sessions say it all; an ICC's own interval goes first."""
    icc = KINDS[row.statistic].scale == "icc"
    if icc and stated:
        return stated
    needed = ("n",) if row.statistic == "sd" else ("n", "sessions")
    missing = _missing(row, needed)
    if missing:
        return stated or Reason("published_needs", {"needs": missing})
    if icc:
        return lambda value, level: published.limits_of_icc(
            np.minimum(value, 1.0), row.n, row.k, level
        )
    df = _df_of_spread(row)
    return lambda value, level: published.limits_of_sd(value, df, level)


def _df_of_spread(row: PaperRow) -> float:
    if row.statistic == "sd":
        return row.n - 1
    if row.statistic == "cv_rms_percent":
        return row.n * (row.k - 1)
    if row.statistic == "cv_mean_percent":
        return float(published.df_of_mean_cv(row.n, row.k))
    return (row.n - 1) * (row.k - 1)


def _missing(row: PaperRow, names: tuple[str, ...]) -> tuple[str, ...]:
    there = {"n": row.n, "n_other": row.n_other, "sessions": row.k}
    return tuple(name for name in names if not there[name])
