"""Figures of change: paired lines, differences between groups, single athletes, drift."""

from __future__ import annotations

import math
from typing import Any

import numpy as np
import pandas as pd
from matplotlib.axes import Axes

from cmjlab.plots.forest import Line, draw_forest
from cmjlab.plots.labels import (
    amount_that_matters,
    interval_words,
    metric_axis,
    metric_label,
    metric_or_first,
    points,
    shown,
    value_text,
)
from cmjlab.plots.style import (
    INK,
    TEXT_WIDTH_CM,
    Picture,
    described,
    group_looks,
    matters_band,
    one_panel,
    picture,
    safe,
    styled,
    wrapped,
    zero_line,
)
from cmjlab.results import Result
from cmjlab.words.catalog import read_words

EVERYONE = "all athletes"
#: Athletes in one column of the figure of individuals.
_MOST_LINES = 36
#: From here on the panels of groups share the width of a page.
_MANY_GROUPS = 4


def _looks(groups: pd.Series, result: Result) -> dict[str, dict[str, Any]]:
    """Return the look of every group that occurs, in the order that the result keeps."""
    return group_looks(groups, result.settings.get("groups", ()))


def rows_of(frame: pd.DataFrame, group: str) -> pd.DataFrame:
    """Return the rows of one group; "" are those without a group."""
    names = frame["group"].astype(object).where(frame["group"].notna(), "").astype(str)
    return frame[names == group]


def _mean_change(result: Result, metric: str, group: str) -> pd.Series | None:
    """Return the row of a group's mean change, if the result has one."""
    rows = result.rows("mean_change", metric=metric)
    if "group" in rows and group:
        rows = rows[rows["group"].astype(str) == group]
    rows = rows[np.isfinite(rows["estimate"].astype(float))]
    return rows.iloc[0] if len(rows) else None


@styled
def paired_figure(
    result: Result,
    metric: str | None = None,
    *,
    change_that_matters: Any = None,
    height_cm: float = 9.4,
) -> Picture:
    """Draw every athlete's line from before to after, and each group's mean change.

    Parameters
    ----------
    result : Result
        From :func:`cmjlab.change_within` (data ``pairs``).
    metric : str, optional
        Default: the first metric of the result.
    change_that_matters : float or mapping, optional
        In the metric's table unit; shaded in the lower panels.
    height_cm : float
        Height of the figure in cm.

    Returns
    -------
    Picture
        Upper panels: one per group, thin lines athletes, thick line the group mean. Lower
        panels: each athlete's change as a mark, the mean change with its interval beside.

    Examples
    --------
    >>> import cmjlab as cj
    >>> table = cj.simulate_sessions(seed=1, metrics=["jump_height_m"]).sessions
    >>> within = cj.change_within(table, before="base2", after="post", group="group")
    >>> cj.plots.paired_figure(within).alt_text[:31]
    'Jump height (take-off velocity)'
    """
    name = metric_or_first(result, metric)
    pairs = points(result, "pairs", name)
    looks = _looks(pairs["group"], result)
    groups = list(looks)
    many = len(groups) >= _MANY_GROUPS
    panel = max(2.9, (TEXT_WIDTH_CM - 1.4) / len(groups))
    figure = picture(max(TEXT_WIDTH_CM, panel * len(groups)), height_cm)
    grid = figure.subplots(
        2, len(groups), sharey="row", squeeze=False, gridspec_kw={"height_ratios": [1.5, 1]}
    )
    before, after = _session_names(result)
    for column, group in enumerate(groups):
        part = rows_of(pairs, group)
        upper, lower = grid[0][column], grid[1][column]
        values = shown(name, part[["before", "after"]].to_numpy())
        upper.plot([0, 1], values.T, color=looks[group]["color"], linewidth=0.8, alpha=0.45)
        upper.plot([0, 1], values.mean(axis=0), color=looks[group]["color"], linewidth=2.8,
                   marker=looks[group]["marker"], markersize=7)  # fmt: skip
        upper.set_xticks([0, 1], [safe(before), safe(after)])
        upper.set_xlim(-0.25, 1.25)
        title = f"{group or EVERYONE}, n = {len(part)}"
        upper.set_title(wrapped(title, int(4.6 * panel)), fontsize=8 if many else None)
        _draw_changes(lower, shown(name, part["change"]), looks[group])
        row = _mean_change(result, name, group)
        if row is not None:
            _draw_mean(lower, name, row, looks[group]["color"], narrow=many)
        zero_line(lower)
        matters_band(lower, amount_that_matters(change_that_matters, name))
    grid[0][0].set_ylabel(metric_axis(name), fontsize=8)
    grid[1][0].set_ylabel(metric_axis(name, change=True).replace(" (", "\n("), fontsize=8)
    figure.alt_text = paired_alt_text(result, name)
    return figure


def _session_names(result: Result) -> tuple[str, str]:
    before = str(result.settings.get("before", "before"))
    return before, str(result.settings.get("after", "after"))


def _draw_changes(axes: Any, change: np.ndarray, look: dict[str, Any]) -> None:
    """Draw each athlete's change, in order, left to right."""
    order = np.sort(change)
    x = np.linspace(0.0, 0.62, len(order)) if len(order) > 1 else np.array([0.3])
    axes.plot(x, order, linestyle="none", marker=look["marker"], markersize=4.5,
              color=look["color"], markerfacecolor="white")  # fmt: skip
    axes.set_xlim(-0.08, 1.05)
    axes.set_xticks([0.31, 0.85], ["each athlete", "mean"])
    axes.tick_params(axis="x", length=0)


def _draw_mean(axes: Any, metric: str, row: pd.Series, color: str, *, narrow: bool = False) -> None:
    value, low, high = shown(metric, [row["estimate"], row["ci_low"], row["ci_high"]])
    axes.plot([0.85, 0.85], [low, high], color=color, linewidth=2.2, solid_capstyle="butt")
    axes.plot([0.85], [value], marker="o", markersize=7, color=color)
    text = interval_words(metric, row, signed=True).replace(" (", "\n(")
    if narrow:
        text = text.replace("interval ", "interval\n")
        axes.set_xticks([0.31, 0.85], ["each", "mean"])
    axes.set_title(text, fontsize=8, fontweight="normal")


def paired_alt_text(result: Result, metric: str) -> str:
    """Return what :func:`paired_figure` shows, in words."""
    pairs = points(result, "pairs", metric)
    before, after = _session_names(result)
    parts = [f"{metric_label(metric)} of each athlete in {before} and {after}, joined by lines."]
    for group in _looks(pairs["group"], result):
        n = len(rows_of(pairs, group))
        row = _mean_change(result, metric, group)
        mean = interval_words(metric, row, signed=True) if row is not None else "not estimable"
        parts.append(f"{group or EVERYONE}, n = {n}: mean change {mean}.")
    return " ".join(parts)


def _difference_rows(result: Result, metric: str) -> pd.DataFrame:
    """Return the default row of each contrast and kind (the first; others serve comparison).

    What leads stands first.
    """
    keys = ("adjusted_difference", "change_difference")
    rows = result.table[(result.table["metric"] == metric) & result.table["statistic"].isin(keys)]
    rows = rows.drop_duplicates(["first", "second", "statistic"])
    behind = rows["statistic"] != (result.settings.get("leading") or {}).get("statistic")
    return rows.loc[behind.sort_values(kind="stable").index].reset_index(drop=True)


def _difference_label(row: pd.Series) -> str:
    adjusted = row["statistic"] == "adjusted_difference"
    kind = "at equal baseline (ANCOVA)" if adjusted else "of the changes"
    return f"{row['first']} − {row['second']}\n{kind}"


@styled
def difference_figure(
    result: Result,
    metric: str | None = None,
    *,
    change_that_matters: Any = None,
    ax: Axes | None = None,
) -> Picture:
    """Draw the differences between groups with their intervals and the change that matters.

    Parameters
    ----------
    result : Result
        From :func:`cmjlab.change_between`.
    metric : str, optional
        Default: the first metric of the result.
    change_that_matters : float or mapping, optional
        In the metric's table unit; shaded.
    ax : matplotlib.axes.Axes, optional
        Axes of your own to draw in; default a figure of its own.

    Returns
    -------
    Picture
        One line per contrast and estimate, its numbers at the right.

    Examples
    --------
    >>> import cmjlab as cj
    >>> table = cj.simulate_sessions(seed=1, metrics=["jump_height_m"]).sessions
    >>> between = cj.change_between(table, before="base2", after="post", control="usual")
    >>> cj.plots.difference_figure(between).alt_text[:26]
    'Differences between groups'
    """
    name = metric_or_first(result, metric)
    rows = _difference_rows(result, name)
    lines = []
    for _, row in rows.iterrows():
        estimate, low, high = shown(name, [row["estimate"], row["ci_low"], row["ci_high"]])
        text = read_words().say("cell.not_estimable")  # why stands in the table and the alt text
        if np.isfinite(estimate):
            text = interval_words(name, row, signed=True)
        lines.append(Line(_difference_label(row), estimate, low, high, text=text,
                          marker="o" if row["statistic"] == "adjusted_difference" else "s"))  # fmt: skip
    figure, axes = one_panel(ax, height_cm=2.2 + 0.95 * len(lines))
    draw_forest(axes, lines)
    zero_line(axes, vertical=True)
    matters_band(axes, amount_that_matters(change_that_matters, name), vertical=True)
    n = int(rows["n"].max()) if rows["n"].notna().any() else None
    label = metric_axis(name, n, change=True)
    axes.set_xlabel(label.replace("Change in", "Difference between groups in"))
    return described(figure, difference_alt_text(result, name))


def difference_alt_text(result: Result, metric: str) -> str:
    """Return what :func:`difference_figure` shows, in words."""
    parts = [f"Differences between groups in {metric_label(metric)}, with intervals."]
    for _, row in _difference_rows(result, metric).iterrows():
        number = interval_words(metric, row, signed=True)
        if not np.isfinite(float(row["estimate"])):
            number = str(row["text"])
        parts.append(f"{_difference_label(row)}: {number}.".replace("\n", ", "))
    return " ".join(parts)


@styled
def individual_figure(
    result: Result, metric: str | None = None, *, change_that_matters: Any = None
) -> Picture:
    """Draw each athlete's change with the interval of the noise, largest first.

    Parameters
    ----------
    result : Result
        From :func:`cmjlab.change_individual`; rows ``individual_change`` and, drawn hollow,
        ``shrunken_change``.
    metric : str, optional
        Default: the first metric of the result.
    change_that_matters : float or mapping, optional
        In the metric's table unit; shaded.

    Returns
    -------
    Picture
        One line per athlete, largest change first.

    Examples
    --------
    >>> import cmjlab as cj
    >>> table = cj.simulate_sessions(seed=1, metrics=["jump_height_m"]).sessions
    >>> noise = cj.reliability(table, "jump_height_m", use=["base1", "base2"])
    >>> each = cj.change_individual(table, "jump_height_m", before="base2", after="post",
    ...                             reliability=noise)
    >>> cj.plots.individual_figure(each).alt_text[:21]
    'Change in Jump height'
    """
    name = metric_or_first(result, metric)
    rows = result.rows("individual_change", metric=name).copy()
    rows["group"] = rows["group"].fillna("").astype(str)
    rows = rows.sort_values("estimate", ascending=False, na_position="last")
    looks = _looks(rows["group"], result)
    lines = []
    for _, r in rows.iterrows():
        estimate, low, high = shown(name, [r["estimate"], r["ci_low"], r["ci_high"]])
        look = looks[r["group"]]
        lines.append(Line(str(r["athlete"]), estimate, low, high, look["color"], look["marker"]))
    parts = _columns(lines)
    figure = picture(height_cm=2.6 + 0.44 * len(parts[0]))
    places = figure.subplots(1, len(parts), sharex=True, squeeze=False)[0]
    for axes, part in zip(places, parts, strict=True):
        draw_forest(axes, part, values=False)
        _draw_shrunken(axes, result, name, [line.label for line in part])
        zero_line(axes, vertical=True)
        matters_band(axes, amount_that_matters(change_that_matters, name), vertical=True)
        axes.set_ylim(len(part) - 0.4 - len(parts[0]) - 0.2, len(part) - 0.4)
    label = metric_axis(name, int(rows["estimate"].notna().sum()), change=True)
    if len(parts) == 1:
        places[0].set_xlabel(label)
    else:
        figure.supxlabel(label, fontsize=8.5)
    _group_legend(places[0], looks)
    figure.alt_text = individual_alt_text(result, name)
    return figure


def _columns(lines: list[Line]) -> list[list[Line]]:
    """Return the lines in as many columns as keep the figure on one page."""
    n = max(1, math.ceil(len(lines) / _MOST_LINES))
    size = math.ceil(len(lines) / n)
    return [lines[i * size : (i + 1) * size] for i in range(n)] if lines else [[]]


def _draw_shrunken(axes: Any, result: Result, metric: str, order: list[str]) -> None:
    shrunken = result.rows("shrunken_change", metric=metric)
    shrunken = shrunken[np.isfinite(shrunken["estimate"].astype(float))]
    if not len(shrunken):
        return
    at = {athlete: len(order) - 1 - i for i, athlete in enumerate(order)}
    y = [at[a] for a in shrunken["athlete"].astype(str) if a in at]
    x = [
        v
        for a, v in zip(shrunken["athlete"].astype(str), shrunken["estimate"], strict=True)
        if a in at
    ]
    axes.plot(shown(metric, x), y, linestyle="none", marker="|", markersize=9, markeredgewidth=2,
              color=INK, zorder=5, label="drawn towards the group mean")  # fmt: skip


def _group_legend(axes: Any, looks: dict[str, dict[str, Any]]) -> None:
    for group, look in looks.items():
        if group:
            axes.plot([], [], linestyle="none", label=safe(group), **look)
    if axes.get_legend_handles_labels()[0]:
        axes.figure.legend(loc="outside upper left", ncols=2, handletextpad=0.3)


def individual_alt_text(result: Result, metric: str) -> str:
    """Return what :func:`individual_figure` shows, in words."""
    rows = result.rows("individual_change", metric=metric)
    known = rows[np.isfinite(rows["estimate"].astype(float))]
    above = int((known["ci_low"] > 0).sum())
    below = int((known["ci_high"] < 0).sum())
    text = (
        f"Change in {metric_label(metric)} of {len(known)} athletes with intervals of the noise."
        f" The interval lies wholly above zero for {above} and wholly below zero for {below};"
        f" for {len(known) - above - below} it contains zero."
    )
    if len(known):
        ends = known.sort_values("estimate")
        low, high = ends.iloc[0], ends.iloc[-1]
        text += (
            f" From {value_text(metric, low['estimate'], signed=True)} to"
            f" {value_text(metric, high['estimate'], signed=True)}."
        )
    return text
