"""The squad at one glance: how the metrics of one session are distributed, group by group."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Any

import numpy as np
import pandas as pd
from matplotlib.axes import Axes

from cmjlab.checks import one_of
from cmjlab.errors import ArgumentError
from cmjlab.extras import optional
from cmjlab.plots.labels import level_words, metric_axis, shown
from cmjlab.plots.style import (
    INK,
    MUTED,
    Picture,
    group_looks,
    picture,
    styled,
    wrapped,
)
from cmjlab.stats.common.tables import every_group

#: More panels than this are not read any more.
MOST_METRICS = 9
_COLUMNS = 3
#: Name of everybody when there are no groups, and of those who belong to none.
_ALL, _NONE = "all", "no group"
#: From this many athletes in a group on, dots are drawn smaller, so that they find room.
_MANY = 25
_LARGE, _SMALL = 4.2, 2.6
#: With fewer athletes a shape of the distribution would be made up.
_SHAPE_FROM = 8


@styled
def squad_overview(
    table: pd.DataFrame, metrics: Sequence[str], *, session: str, group: str = "group"
) -> Picture:
    """Draw the distribution of metrics in one session: a dot per athlete, groups side by side.

    Parameters
    ----------
    table : pandas.DataFrame
        Sessions table: columns ``athlete``, ``session`` and the metrics.
    metrics : sequence of str
        One panel each, at most nine.
    session : str
        The session to show.
    group : str
        Column of the groups; may be missing. Ordered categories keep their order.

    Returns
    -------
    Picture
        One dot per athlete, moved sideways only where dots would overlap; the median of each
        group as a dark line; behind groups of eight or more a shade in the shape of the
        distribution. The number of athletes with a value stands below each group.

    Raises
    ------
    ArgumentError
        No metric, too many, one that the table lacks, or a session without rows.
    MissingExtraError
        The extra ``lab`` (seaborn) is not installed.

    Examples
    --------
    >>> import cmjlab as cj
    >>> table = cj.simulate_sessions(seed=1).sessions
    >>> figure = squad_overview(table, ["jump_height_m"], session="base1")
    >>> "strength median 26.8 cm (n = 10)" in figure.alt_text
    True
    """
    seaborn = optional("seaborn", extra="lab", purpose="the overview of a squad needs")
    part = _of_session(table, metrics, session)
    groups = _groups(part, group)
    looks = group_looks(groups)
    rows, columns = math.ceil(len(metrics) / _COLUMNS), min(_COLUMNS, len(metrics))
    figure = picture(max(5.8 * columns, 8.0), 6.2 * rows)
    grid = figure.subplots(rows, columns, squeeze=False).ravel()
    for axes in grid[len(metrics) :]:
        axes.set_axis_off()
    medians = []
    for axes, metric in zip(grid, metrics, strict=False):
        frame = pd.DataFrame({"group": groups, "value": shown(metric, part[metric])})
        _draw_panel(axes, frame, looks, seaborn)
        axes.set_title(wrapped(metric_axis(metric), 26), fontsize=8.5)
        medians.append(f"{metric_axis(metric)}: {_medians(part[metric], groups, metric)}")
    figure.alt_text = f"One dot per athlete in {session}. " + "; ".join(medians) + "."
    return figure


def _of_session(table: pd.DataFrame, metrics: Sequence[str], session: str) -> pd.DataFrame:
    """Return the rows of one session; refuse what cannot be drawn."""
    if not 1 <= len(metrics) <= MOST_METRICS:
        raise ArgumentError(
            f"metrics: 1 to {MOST_METRICS} can be shown at once, found {len(metrics)}."
        )
    for metric in metrics:
        one_of("metrics", metric, [str(c) for c in table.columns])
    there = table["session"].astype(str)
    one_of("session", str(session), list(dict.fromkeys(there)))
    return table[there == str(session)]


def _groups(part: pd.DataFrame, group: str) -> pd.Series:
    """Return the group of each row with its order; "" for nobody's."""
    if group not in part:
        return pd.Series("", index=part.index)
    known = part[group]
    order = every_group(part, group)
    found = known.astype(object).where(known.notna(), "").astype(str)
    return pd.Series(pd.Categorical(found, [*order, ""], ordered=True), index=part.index)


def _name(group: str, looks: dict[str, dict[str, Any]]) -> str:
    """Return how a group is named on the figure."""
    if group:
        return group.replace("_", " ")
    return _ALL if len(looks) == 1 else _NONE


def _draw_panel(
    axes: Axes, frame: pd.DataFrame, looks: dict[str, dict[str, Any]], seaborn: Any
) -> None:
    """Draw shape, median and dots of every group of one metric."""
    order = list(looks)
    counts = {g: int(frame.loc[frame["group"] == g, "value"].count()) for g in order}
    shared: dict[str, Any] = {"x": "group", "y": "value", "order": order, "ax": axes}
    size = _SMALL if max(counts.values()) > _MANY else _LARGE
    for place, (name, look) in enumerate(looks.items()):
        mine = frame[frame["group"] == name].dropna(subset="value")
        if len(mine) >= _SHAPE_FROM:
            seaborn.violinplot(
                mine, **shared, color=look["color"], inner=None, cut=0, density_norm="width",
                width=0.86, linewidth=0, alpha=0.16,
            )  # fmt: skip
        if len(mine):
            seaborn.swarmplot(mine, **shared, **look, size=size, warn_thresh=1.0)
            middle = float(mine["value"].median())
            axes.hlines(middle, place - 0.3, place + 0.3, color=INK, linewidth=1.8, zorder=4)
    axes.set_xticks(
        range(len(order)),
        [f"{wrapped(_name(g, looks), 10)}\nn = {counts[g]}" for g in order],
    )
    axes.set_xlabel("")
    axes.set_ylabel("")
    if not any(counts.values()):
        axes.text(0.5, 0.5, "no value", transform=axes.transAxes, ha="center", color=MUTED)


def _medians(values: pd.Series, groups: pd.Series, metric: str) -> str:
    """Return median and number of athletes of every group, in words."""
    looks = group_looks(groups)
    parts = []
    for group in looks:
        mine = values[groups == group].dropna().astype(float)
        median = level_words(metric, float(np.median(mine))) if len(mine) else "no value"
        parts.append(f"{_name(group, looks)} median {median} (n = {len(mine)})")
    return ", ".join(parts)
