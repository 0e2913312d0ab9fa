"""Figures of subgroups: threshold and scatter, force against distance, placement, one athlete."""

from __future__ import annotations

from collections.abc import Iterable

import numpy as np
import pandas as pd
from matplotlib.axes import Axes

from cmjlab.plots.labels import metric_unit, points, shown
from cmjlab.plots.style import (
    INK,
    MUTED,
    PALETTE,
    Picture,
    axis_label,
    described,
    group_looks,
    legend_beside,
    one_panel,
    picture,
    safe,
    styled,
    wrapped,
)
from cmjlab.results import Result, Sentence
from cmjlab.words.catalog import read_words


@styled
def threshold_figure(
    result: Result, *, stratum: str | None = None, ax: Axes | None = None
) -> Picture:
    """Draw the outcome against the measure of the cut, with line, cut and noise.

    Parameters
    ----------
    result : Result
        From :func:`cmjlab.stats.subgroups.evidence.threshold_evidence`.
    stratum : str, optional
        One stratum; the first by default.
    ax : matplotlib.axes.Axes, optional
        Axes of your own to draw in; default a figure of its own.

    Returns
    -------
    Picture
        One dot per athlete, bars of one typical error each way where it is known, the straight
        line, the declared cut, and the means on both sides of it with their intervals.

    Examples
    --------
    >>> import cmjlab as cj
    >>> study = cj.Study.open(cj.demo_study())
    >>> found = cj.threshold_evidence(study.sessions_table(), 1.4, session="base1")
    >>> cj.plots.threshold_figure(found).alt_text[:11]
    'Jump height'
    """
    settings = result.settings
    frame = points(result, "scatter")
    name = stratum or str(frame["stratum"].iloc[0])
    part = frame[frame["stratum"] == name]
    metric, outcome, cut = settings["metric"], settings["outcome"], settings["cut"]
    x, y = shown(metric, part["x"]), shown(outcome, part["y"])
    noise = points(result, "noise").set_index("metric")["typical_error"]
    figure, axes = one_panel(ax, 13.5, 9.5)
    errors = [float(shown(m, noise[m])) if m in noise else 0.0 for m in (metric, outcome)]
    axes.errorbar(x, y, xerr=errors[0], yerr=errors[1], fmt="o", color=PALETTE[0], markersize=4.5,
                  markerfacecolor="white", elinewidth=0.6, alpha=0.85)  # fmt: skip
    line = float(shown(metric, cut))
    axes.axvline(line, color=INK, linewidth=1.0, linestyle=(0, (5, 2)))
    axes.annotate(f"cut {cut:g}", (line, 1.0), xycoords=axes.get_xaxis_transform(), ha="center",
                  va="bottom", fontsize=8)  # fmt: skip
    _draw_line(axes, x, y)
    for side, keep in (("below", x < line), ("above", x >= line)):
        if keep.sum() > 1:
            ends = (x.min(), line) if side == "below" else (line, x.max())
            axes.plot(ends, [y[keep].mean()] * 2, color=PALETTE[1], linewidth=2.2)
    axes.plot([], [], color=PALETTE[1], linewidth=2.2, label="mean on each side")
    axes.plot([], [], color=MUTED, label="straight line")
    note = "; bars: one typical error" if any(errors) else ""
    legend_beside(figure, axes, "outside upper left", ncols=2)
    axes.set_xlabel(_axis(metric, len(part)) + note)
    axes.set_ylabel(_axis(outcome))
    return described(
        figure,
        (
            f"{_label(outcome)} against {_label(metric)} of {len(part)} athletes with the"
            f" cut at {cut:g}. " + _said(result.sentences)
        ),
    )


def _label(metric: str) -> str:
    return read_words().label(metric)


def _said(sentences: Iterable[Sentence]) -> str:
    return " ".join(map(str, sentences))


def _axis(metric: str, n: int | None = None) -> str:
    return axis_label(_label(metric), metric_unit(metric), n)


def _draw_line(axes: Axes, x: np.ndarray, y: np.ndarray) -> None:
    if len(x) > 2 and x.std() > 0:
        slope, start = np.polyfit(x, y, 1)
        ends = np.array([x.min(), x.max()])
        axes.plot(ends, start + slope * ends, color=MUTED, linewidth=1.2)


@styled
def force_distance_figure(
    table: pd.DataFrame, *, session: str, group: str = "group", ax: Axes | None = None
) -> Picture:
    """Draw force share against push distance, with lines of equal jump height.

    Parameters
    ----------
    table : pandas.DataFrame
        From :func:`cmjlab.add_force_distance`.
    session : str
    group : str
        Column that gives marker and colour, in the order of its categories; may be missing.
    ax : matplotlib.axes.Axes, optional
        Axes of your own to draw in; default a figure of its own.

    Returns
    -------
    Picture
        Height = force share · push distance, exactly for one jump: athletes on one curved line
        jump equally high, those to the upper left by force, to the lower right by distance.

    Examples
    --------
    >>> import cmjlab as cj
    >>> study = cj.Study.open(cj.demo_study())
    >>> table = cj.add_force_distance(study.sessions_table(), session="base1")
    >>> cj.plots.force_distance_figure(table, session="base1").alt_text[:33]
    'Force share against push distance'
    """
    part = table[table["session"].astype(str) == session].dropna(
        subset=["force_share", "push_distance_m"]
    )
    styles = group_looks(part[group].dropna()) if group in part else {}
    figure, axes = one_panel(ax, 13.5, 10.0)
    distance = part["push_distance_m"].to_numpy(float)
    share = part["force_share"].to_numpy(float)
    wide = np.linspace(distance.min() * 0.94, distance.max() * 1.06, 80)
    low, high = share.min() * 0.92, share.max() * 1.08
    _height_lines(axes, wide, (low, high), distance * share)
    for name, style in styles.items():
        mine = (part[group].astype(str) == name).to_numpy()
        axes.plot(100 * distance[mine], share[mine], linestyle="none", markersize=6,
                  label=safe(name.replace("_", " ")), markerfacecolor="white", **style)  # fmt: skip
    if not styles:
        axes.plot(100 * distance, share, linestyle="none", marker="o", color=PALETTE[0])
    for row in part.to_dict("records"):
        axes.annotate(safe(row["athlete"]), (100 * row["push_distance_m"], row["force_share"]),
                      xytext=(3, 3), textcoords="offset points", fontsize=6, color=MUTED)  # fmt: skip
    axes.set_xlim(100 * wide[0], 100 * wide[-1])
    axes.set_ylim(low, high)
    axes.set_xlabel(f"Push distance (cm), n = {len(part)}")
    axes.set_ylabel("Force share (mean force / body weight − 1)")
    if styles:
        legend_beside(figure, axes, "outside upper left", ncols=4)
    return described(
        figure,
        (
            f"Force share against push distance of {len(part)} athletes in {session}, with lines of equal"
            f" jump height; push distance {100 * distance.min():.0f} to {100 * distance.max():.0f} cm,"
            f" force share {share.min():.2f} to {share.max():.2f}."
        ),
    )


def _height_lines(
    axes: Axes, wide: np.ndarray, limits: tuple[float, float], heights: np.ndarray
) -> None:
    """Draw lines of equal height every 5 cm, labelled where they leave the picture."""
    low, high = limits
    for height in np.arange(0.05, 1.0, 0.05):
        if not heights.min() - 0.05 < height < heights.max() + 0.05:
            continue
        line = height / wide
        inside = (line > low) & (line < high)
        if inside.sum() < 2:
            continue
        axes.plot(
            100 * wide[inside], line[inside], color=MUTED, linewidth=0.7, linestyle=(0, (2, 2))
        )
        last = np.flatnonzero(inside)[-1]
        axes.annotate(f"{100 * height:.0f} cm", (100 * wide[last], line[last]), fontsize=7,
                      color=MUTED, xytext=(2, 0), textcoords="offset points", va="center",
                      annotation_clip=False)  # fmt: skip


@styled
def repeat_figure(result: Result, metric: str | None = None, *, ax: Axes | None = None) -> Picture:
    """Draw a measure at the second baseline against the first.

    Parameters
    ----------
    result : Result
        From :func:`cmjlab.stats.subgroups.evidence.metric_repeatability`.
    metric : str, optional
        Default: the first measure.
    ax : matplotlib.axes.Axes, optional
        Axes of your own to draw in; default a figure of its own.

    Returns
    -------
    Picture
        One mark per athlete and the line of equality.

    Examples
    --------
    >>> import cmjlab as cj
    >>> table = cj.simulate_sessions(seed=1, metrics=["jump_height_m"]).sessions
    >>> found = cj.metric_repeatability(table, "jump_height_m", sessions=("base1", "base2"))
    >>> cj.plots.repeat_figure(found).alt_text[:31]
    'Jump height (take-off velocity)'
    """
    frame = points(result, "values")
    name = metric or str(frame["metric"].iloc[0])
    first, second = result.settings["sessions"]
    wide = frame[frame["metric"] == name].pivot(index="athlete", columns="session", values="value")
    wide = wide[[first, second]].dropna()
    x, y = shown(name, wide[first]), shown(name, wide[second])
    figure, axes = one_panel(ax, 9.5, 9.0)
    ends = [min(x.min(), y.min()), max(x.max(), y.max())]
    axes.plot(ends, ends, color=MUTED, linewidth=0.8)
    axes.plot(x, y, linestyle="none", marker="o", color=PALETTE[0], markerfacecolor="white")
    unit = f" ({metric_unit(name)})" if metric_unit(name) else ""
    axes.set_title(safe(_label(name)))
    axes.set_xlabel(f"{safe(first)}{unit}, n = {len(wide)}")
    axes.set_ylabel(f"{safe(second)}{unit}")
    axes.set_aspect("equal", adjustable="datalim")
    return described(
        figure,
        f"{_label(name)} in {second} against {first}, n = {len(wide)}. "
        + _said(result.sentences_about(name)),
    )


@styled
def placement_figure(result: Result, *, ax: Axes | None = None) -> Picture:
    """Draw how certain each athlete's placement is, one row per athlete, subgroup by subgroup.

    Parameters
    ----------
    result : Result
        From :func:`cmjlab.subgroup_athletes`.
    ax : matplotlib.axes.Axes, optional
        Axes of your own to draw in; default a figure of its own.

    Returns
    -------
    Picture
        Markers on a scale from 0 to 1, one per subgroup; the filled one is where the rules
        place the athlete. A cross at the right edge marks a move by a person.

    Examples
    --------
    >>> import cmjlab as cj
    >>> study = cj.Study.open(cj.demo_study())
    >>> cj.plots.placement_figure(study.subgroup_athletes()).alt_text[:29]
    'Probability of each subgroup '
    """
    frame = points(result, "placements")
    groups = [g for g in result.settings["subgroups"] if f"p_{g}" in frame]
    styles = group_looks(pd.Series(groups, dtype=object), result.settings.get("groups", ()))
    rank = {g: i for i, g in enumerate(groups)}
    frame = frame.assign(_rank=frame["by_rules"].map(rank).fillna(len(rank)))
    frame = frame.sort_values(["_rank", "probability"], ascending=[True, False], ignore_index=True)
    figure, axes = one_panel(ax, 14.0, 2.4 + 0.42 * len(frame))
    at = np.arange(len(frame))
    axes.hlines(at, 0, 1, color="#dfe3e7", linewidth=0.8, zorder=0)
    for g, style in styles.items():
        p = frame[f"p_{g}"].to_numpy(float)
        mine = (frame["by_rules"] == g).to_numpy()
        for keep, fill in ((mine, style["color"]), (~mine, "white")):
            axes.plot(
                p[keep], at[keep], linestyle="none", markersize=6, markerfacecolor=fill, **style
            )
        axes.plot([], [], linestyle="none", label=safe(g.replace("_", " ")), **style)
    sure = result.settings["sure"]
    axes.axvline(sure, color=MUTED, linewidth=0.9, linestyle=(0, (4, 2)))
    moved = frame["moved"] == "yes"
    for i in np.flatnonzero(moved.to_numpy()):
        axes.annotate(f"moved to {safe(frame['subgroup'][i])}", (1.01, at[i]), fontsize=7, va="center",
                      xycoords=axes.get_yaxis_transform(), color=INK)  # fmt: skip
    axes.set_yticks(at, [safe(a) for a in frame["athlete"]])
    axes.set_ylim(len(frame) - 0.4, -0.6)
    axes.set_xlim(-0.02, 1.02)
    close = read_words().say("call.close")
    axes.set_xlabel(f"Probability (filled: by the rules; left of {sure:g}: {close})")
    legend_beside(figure, axes, "outside upper left", ncols=4)
    return described(
        figure, "Probability of each subgroup for every athlete. " + _said(result.sentences)
    )


@styled
def athlete_figure(
    table: pd.DataFrame,
    athlete: str,
    metrics: list[str],
    *,
    noise: dict[str, float],
    sessions: list[str],
) -> Picture:
    """Draw one athlete's values over the sessions among the squad's, with the noise of a test.

    Parameters
    ----------
    table : pandas.DataFrame
        Sessions table.
    athlete : str
    metrics : list of str
        One panel each.
    noise : dict of str to float
        Typical error per metric, in the table's unit; without one no bar is drawn.
    sessions : list of str
        In order.

    Returns
    -------
    Picture
        One panel per metric; the athlete's line among those of the squad.

    Examples
    --------
    >>> import cmjlab as cj
    >>> table = cj.simulate_sessions(seed=1, metrics=["jump_height_m"]).sessions
    >>> figure = cj.plots.athlete_figure(table, "A01", ["jump_height_m"], noise={"jump_height_m": 0.012},
    ...                                  sessions=["base1", "base2", "post"])
    >>> "A01" in figure.alt_text
    True
    """
    figure = picture(17.0, 6.2)
    panels = np.atleast_1d(figure.subplots(1, len(metrics)))
    place = {s: i for i, s in enumerate(sessions)}
    part = table[table["session"].astype(str).isin(sessions)]
    words = []
    for axes, metric in zip(panels, metrics, strict=True):
        at = part["session"].astype(str).map(place).to_numpy(float)
        mine = (part["athlete"].astype(str) == athlete).to_numpy()
        values = shown(metric, part[metric])
        axes.plot(at[~mine], values[~mine], linestyle="none", marker="o", markersize=3,
                  color="#b9c1c9", zorder=1)  # fmt: skip
        order = np.argsort(at[mine], kind="stable")
        x, y = at[mine][order], values[mine][order]
        error = float(shown(metric, noise[metric])) if metric in noise else None
        axes.errorbar(x, y, yerr=error, color=PALETTE[0], marker="o", markersize=6, capsize=3,
                      linewidth=1.4, elinewidth=1.2, zorder=3)  # fmt: skip
        axes.set_xticks(range(len(sessions)), [safe(s) for s in sessions])
        axes.set_xlim(-0.35, len(sessions) - 0.65)
        axes.set_title(wrapped(_axis(metric), 24), fontsize=8.5)
        found = ", ".join(f"{sessions[int(i)]} {v:.3g}" for i, v in zip(x, y, strict=True))
        words.append(f"{_axis(metric)}: {found}")
    figure.alt_text = (
        f"Values of {athlete} in each session (dark, with one typical error each way) among the squad"
        f" (light dots). " + "; ".join(words) + "."
    )
    return figure
