"""Figures of a season: one athlete's weeks against the own level, small for a table and large."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np
import pandas as pd
from matplotlib.axes import Axes

from cmjlab.checks import one_of
from cmjlab.plots.labels import metric_label, metric_unit, shown, value_text
from cmjlab.plots.style import (
    INK,
    PALETTE,
    Picture,
    picture,
    safe,
    styled,
    wrapped,
    zero_line,
)
from cmjlab.results import Result

#: Band of the weekly limits, and the colours of a week within and beyond them.
_BAND = "#e3e7eb"
_WITHIN, _BEYOND = PALETTE[0], PALETTE[1]
_SIZE_CM = (4.4, 1.15)
_SIDES = {"above": "above", "below": "below"}


@styled
def week_picture(rows: pd.DataFrame, weeks: Sequence[str]) -> Picture:
    """Return one athlete's weeks of one metric as a picture for a cell of a table.

    Parameters
    ----------
    rows : pandas.DataFrame
        Points ``weeks`` of :func:`cmjlab.follow` of one athlete and metric.
    weeks : sequence of str
        Every week that is followed, in order: each has its place.
    """
    figure = picture(*_SIZE_CM)
    axes = figure.subplots()
    axes.set_axis_off()
    _draw(axes, rows, weeks, marker=4.4, limits=False)
    reach = _reach(rows)
    axes.set_ylim(-reach, reach)
    axes.set_xlim(-0.6, len(weeks) - 0.4)
    figure.alt_text = _alt_text(rows)
    return figure


@styled
def season_figure(result: Result, athlete: str, metrics: Sequence[str] | None = None) -> Picture:
    """Draw one athlete's weeks: each week, the weighted mean, and the limits of both.

    Parameters
    ----------
    result : Result
        From :func:`cmjlab.follow`.
    athlete : str
    metrics : sequence of str, optional
        One panel each; default all that the athlete is followed in.

    Returns
    -------
    Picture
        Zero is the own level. Grey band: weekly limits. Dots: weeks, filled squares beyond the
        limits. Line: weighted mean; dashed: its limits for the season.

    Examples
    --------
    >>> import cmjlab as cj
    >>> table = cj.simulate_sessions(seed=4, metrics=["jump_height_m"]).sessions
    >>> season = cj.follow(table, "jump_height_m", weeks=["post"])
    >>> cj.plots.season_figure(season, "A01").alt_text[:12]
    'Weeks of A01'
    """
    points = result.points["weeks"]
    one_of("athlete", athlete, list(dict.fromkeys(points["athlete"])))
    mine = points[points["athlete"] == athlete]
    names = [m for m in (metrics or result.settings["metrics"]) if (mine["metric"] == m).any()]
    weeks = list(result.settings["weeks"])
    columns = min(len(names), 2)
    lines = -(-len(names) // columns)
    figure = picture(17.0, 5.4 * lines)
    panels = np.atleast_1d(figure.subplots(lines, columns)).ravel()
    for axes, metric in zip(panels, names, strict=False):
        rows = mine[mine["metric"] == metric]
        _draw(axes, rows, weeks, marker=6.0, limits=True)
        axes.set_xticks(range(len(weeks)), [safe(w) for w in weeks])
        axes.set_xlim(-0.5, len(weeks) - 0.5)
        unit = metric_unit(metric)
        axes.set_title(wrapped(metric_label(metric), 44), fontsize=8.5)
        axes.set_ylabel(f"From own level{f' ({safe(unit)})' if unit else ''}")
    for axes in panels[len(names) :]:
        axes.set_axis_off()
    words = " ".join(_alt_text(mine[mine["metric"] == m]) for m in names)
    figure.alt_text = f"Weeks of {athlete} against the own level. {words}"
    return figure


def _draw(
    axes: Axes, rows: pd.DataFrame, weeks: Sequence[str], *, marker: float, limits: bool
) -> None:
    """Draw the band of weekly limits, the weighted mean with its limits, and the weeks."""
    metric = str(rows["metric"].iloc[0])
    x = np.array([list(weeks).index(s) for s in rows["session"].astype(str)], dtype=float)
    y, mean, half, band = (
        shown(metric, rows[c].to_numpy(float))
        for c in ("difference", "mean", "mean_half", "alarm_half")
    )
    axes.axhspan(-float(band[0]), float(band[0]), color=_BAND, linewidth=0, zorder=0)
    zero_line(axes)
    for sign in (-1, 1) if limits else ():
        axes.plot(x, sign * half, color=INK, linewidth=0.9, linestyle=(0, (3, 2)), zorder=2,
                  marker="_", markersize=marker)  # fmt: skip
    axes.plot(x, mean, color=_WITHIN, linewidth=1.6, zorder=3)
    alarm = rows["alarm"].isin(list(_SIDES)).to_numpy()
    for beyond, color, shape in ((False, _WITHIN, "o"), (True, _BEYOND, "s")):
        here = alarm == beyond
        axes.plot(x[here], y[here], linestyle="none", marker=shape, color=color,
                  markersize=marker, zorder=4)  # fmt: skip


def _reach(rows: pd.DataFrame) -> float:
    """Return half the height of a small picture: all weeks and limits are in it."""
    metric = str(rows["metric"].iloc[0])
    sizes: list[Any] = [rows["difference"].abs().max(), rows["alarm_half"].max()]
    return 1.3 * float(shown(metric, float(max(sizes))))


def _alt_text(rows: pd.DataFrame) -> str:
    metric = str(rows["metric"].iloc[0])
    band = value_text(metric, float(rows["alarm_half"].iloc[0]))
    told = []
    for row in rows.to_dict("records"):
        side = _SIDES.get(str(row["alarm"]))
        text = f"{row['session']} {value_text(metric, float(row['difference']), signed=True)}"
        told.append(f"{text} ({side} the weekly limits)" if side else text)
    last = rows.iloc[-1]
    mean = value_text(metric, float(last["mean"]), signed=True)
    half = value_text(metric, float(last["mean_half"]))
    return (
        f"{metric_label(metric)} from the own level: {', '.join(told)}; weekly limits ±{band}; weighted"
        f" mean {mean}, its limits ±{half}."
    )
