"""A published table beside a study: ours and theirs with their intervals, and what the rule says."""

from __future__ import annotations

import math
from typing import Any

import numpy as np
import pandas as pd
from matplotlib.axes import Axes
from matplotlib.ticker import MaxNLocator

from cmjlab.plots.labels import metric_label, points
from cmjlab.plots.style import (
    INK,
    MATTERS,
    MUTED,
    PALETTE,
    Picture,
    picture,
    safe,
    styled,
    wrapped,
    zero_line,
)
from cmjlab.results import Result
from cmjlab.units import shown_unit, to_shown
from cmjlab.words.catalog import read_words

#: Differences are drawn in margins, up to so many; what goes beyond ends in an arrow.
_REACH = 4.0
_OURS: dict[str, Any] = {"color": PALETTE[0], "marker": "o"}
_THEIRS: dict[str, Any] = {"color": PALETTE[1], "marker": "s"}
_LABEL = 30


@styled
def replication_figure(result: Result) -> Picture:
    """Draw ours and the published numbers, one row each, and their difference against the margin.

    Parameters
    ----------
    result : Result
        From :func:`cmjlab.compare_paper`.

    Returns
    -------
    Picture
        Left: both numbers with their intervals, each row on a scale of its own. Right: the
        difference in margins; within the band it does not matter, and a filled mark says that the
        rule has an answer.

    Examples
    --------
    >>> import pandas as pd
    >>> import cmjlab as cj
    >>> invented = pd.DataFrame([{"metric": "jump_height_m", "statistic": "mean", "value": "45.0",
    ...                           "unit": "cm", "sd": "4.0", "n": 40, "source": "invented"}])
    >>> result = cj.compare_paper(cj.Study.open(cj.demo_study()), invented)
    >>> cj.plots.replication_figure(result).alt_text[:19]
    '1 published numbers'
    """
    rows = points(result, "comparison").to_dict("records")
    figure = picture(height_cm=2.4 + 1.25 * len(rows))
    grid = figure.subplots(len(rows), 2, squeeze=False, width_ratios=[1.15, 1.0])
    for row, (left, right) in zip(rows, grid, strict=True):
        _both(left, row)
        _difference(right, row, last=row is rows[-1])
    for name, look in (("ours", _OURS), ("published", _THEIRS)):
        grid[0][0].plot([], [], label=name, linewidth=1.8, **look)
    figure.legend(loc="outside upper left", ncols=2)
    figure.align_ylabels(grid[:, 0])
    figure.alt_text = replication_alt_text(result)
    return figure


def _both(axes: Axes, row: dict[str, Any]) -> None:
    """Draw both numbers of one row on its own scale."""
    for y, name, look in ((1.0, "ours", _OURS), (0.0, "published", _THEIRS)):
        value, low, high = (
            to_shown(float(row[c]), str(row["unit"])) for c in (name, f"{name}_low", f"{name}_high")
        )
        if math.isfinite(low) and math.isfinite(high):
            axes.plot(
                [low, high], [y, y], color=look["color"], linewidth=1.8, solid_capstyle="butt"
            )
        if math.isfinite(value):
            axes.plot([value], [y], markersize=5.5, **look)
    axes.set_ylim(-0.7, 1.7)
    axes.set_yticks([0.5], [wrapped(_row_label(row), _LABEL)])
    axes.tick_params(axis="y", length=0)
    axes.spines["left"].set_visible(False)
    axes.xaxis.set_major_locator(MaxNLocator(4))
    axes.margins(x=0.08)


def _row_label(row: dict[str, Any]) -> str:
    words = read_words()
    unit = shown_unit(str(row["unit"]))
    what = words.say(f"replication_what.{row['statistic']}")
    group = f", {row['group']}" if row["group"] else ""
    label = metric_label(str(row["metric"])).partition(" (")[0]
    return f"{row['row']}: {label}{group}, {what}" + (f" ({unit})" if unit else "")


def _difference(axes: Axes, row: dict[str, Any], *, last: bool) -> None:
    """Draw the difference of one row in margins, and the verdict in words."""
    axes.axvspan(-1.0, 1.0, color=MATTERS, linewidth=0, zorder=0)
    zero_line(axes, vertical=True)
    value, low, high = in_margins(row)
    answered = row["verdict"] != "cannot_tell"
    if math.isfinite(low) and math.isfinite(high):
        ends = np.clip([low, high], -_REACH, _REACH)
        axes.plot(ends, [0, 0], color=INK, linewidth=1.8, solid_capstyle="butt")
        for end in (low, high):
            if abs(end) > _REACH:
                there = "<" if end < 0 else ">"
                axes.plot(
                    [np.clip(end, -_REACH, _REACH)], [0], marker=there, color=INK, markersize=5
                )
        if abs(value) <= _REACH:
            axes.plot([value], [0], marker="o", color=INK, markersize=6,
                      markerfacecolor=INK if answered else "white")  # fmt: skip
    axes.text(1.03, 0.5, safe(read_words().say(f"replication_verdict.{row['verdict']}")),
              transform=axes.transAxes, va="center", fontsize=8)  # fmt: skip
    axes.set_xlim(-_REACH - 0.3, _REACH + 0.3)
    axes.set_ylim(-1, 1)
    axes.set_yticks([])
    axes.spines["left"].set_visible(False)
    if last:
        axes.set_xlabel(safe(read_words().say("replication_figure.axis")))
        axes.set_xticks([-4, -2, -1, 0, 1, 2, 4])
    else:
        axes.set_xticks([])
        axes.spines["bottom"].set_color(MUTED)
        axes.spines["bottom"].set_linewidth(0.3)


def in_margins(row: dict[str, Any]) -> tuple[float, float, float]:
    """Return difference and limits of a row as multiples of its margin; of ratios by logarithms."""
    values = [float(row[c]) for c in ("difference", "low", "high", "margin_high")]
    if row["kind"] == "ratio":
        with np.errstate(divide="ignore", invalid="ignore"):
            values = [float(np.log(v)) for v in values]
    return values[0] / values[3], values[1] / values[3], values[2] / values[3]


def replication_alt_text(result: Result) -> str:
    """Return what :func:`replication_figure` shows, in words."""
    rows: pd.DataFrame = points(result, "comparison")
    counts = rows["verdict"].value_counts()
    told = {v: int(counts.get(v, 0)) for v in ("replicated", "not_replicated", "cannot_tell")}
    return read_words().say("replication_figure.alt", rows=len(rows), **told)
