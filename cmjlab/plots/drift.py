"""How far chosen groups fall back by themselves: the next baseline against the one that decided."""

from __future__ import annotations

import pandas as pd
from matplotlib.axes import Axes

from cmjlab.plots.change import EVERYONE, rows_of
from cmjlab.plots.labels import metric_axis, metric_label, shown, value_text
from cmjlab.plots.style import (
    INK,
    MUTED,
    Picture,
    described,
    group_looks,
    legend_beside,
    one_panel,
    safe,
    styled,
)


@styled
def drift_figure(frame: pd.DataFrame, metric: str, *, ax: Axes | None = None) -> Picture:
    """Draw how far groups chosen on a baseline fall back towards the squad without training.

    Parameters
    ----------
    frame : pandas.DataFrame
        Columns athlete, group (its categories are the study's order), first (value that decided the group), second (next value
        before any training), in the metric's table unit.
    metric : str
        Metric of both columns.
    ax : matplotlib.axes.Axes, optional
        Axes of your own to draw in; default a figure of its own.

    Returns
    -------
    Picture
        Second against first baseline with the line of equality; large marks are group means.
        The arrow from the line of equality to a mark is the drift of that group.

    Examples
    --------
    >>> import cmjlab as cj
    >>> import pandas as pd
    >>> frame = pd.DataFrame({"athlete": list("ABCD"), "group": ["low", "low", "high", "high"],
    ...                       "first": [0.28, 0.30, 0.38, 0.40], "second": [0.30, 0.31, 0.37, 0.38]})
    >>> cj.plots.drift_figure(frame, "jump_height_m").alt_text[:31]
    'Jump height (take-off velocity)'
    """
    part = frame.dropna(subset=["first", "second"])
    looks = group_looks(part["group"])
    figure, axes = one_panel(ax, height_cm=9.5)
    first, second = shown(metric, part["first"]), shown(metric, part["second"])
    ends = [min(first.min(), second.min()), max(first.max(), second.max())]
    axes.plot(ends, ends, color=MUTED, linewidth=0.9, linestyle=(0, (4, 2)), label="no change")
    for group, look in looks.items():
        mine = part.index.isin(rows_of(part, group).index)
        axes.plot(first[mine], second[mine], linestyle="none", markersize=4.5, alpha=0.65,
                  markerfacecolor="white", **look)  # fmt: skip
        x, y = first[mine].mean(), second[mine].mean()
        axes.annotate("", (x, y), xytext=(x, x), arrowprops={"arrowstyle": "->", "color": INK})
        axes.plot([x], [y], linestyle="none", markersize=9, **look,
                  label=safe(f"{group or EVERYONE}, n = {int(mine.sum())}"))  # fmt: skip
    axes.set_xlabel(metric_axis(metric) + "\nbaseline that decided the group")
    axes.set_ylabel(metric_axis(metric) + "\nnext baseline, before training")
    axes.set_aspect("equal", adjustable="datalim")
    legend_beside(figure, axes, "outside right upper")
    return described(figure, drift_alt_text(part, metric))


def drift_alt_text(frame: pd.DataFrame, metric: str) -> str:
    """Return what :func:`drift_figure` shows, in words."""
    part = frame.dropna(subset=["first", "second"])
    parts = [
        f"{metric_label(metric)} in two baselines without training between them; the groups were"
        " chosen on the first."
    ]
    for group in group_looks(part["group"]):
        mine = rows_of(part, group)
        moved = float((mine["second"] - mine["first"]).mean())
        parts.append(
            f"{group or EVERYONE}, n = {len(mine)}: mean moved by {value_text(metric, moved, signed=True)}."
        )
    return " ".join(parts)
