"""Scatter plots of a squad: one measure against another, with the noise of a test and the cuts."""

from __future__ import annotations

import textwrap
from collections.abc import Collection, Mapping, Sequence
from typing import Any

import numpy as np
import pandas as pd
from matplotlib.axes import Axes

from cmjlab.plots.labels import metric_unit, points, shown, value_text
from cmjlab.plots.placing import Label, place_labels, settle
from cmjlab.plots.style import INK, MUTED, Picture, axis_label, group_looks, picture, safe, styled
from cmjlab.results import Result
from cmjlab.words.catalog import read_words

#: Width of the figure, and height of its panels, cm.
_WIDTH_CM, _PANEL_CM = 17.0, 8.6
_GREY = "#b9c1c9"


@styled
def squad_scatter(
    table: pd.DataFrame,
    pairs: Sequence[tuple[str, str]],
    *,
    errors: Mapping[str, float] | None = None,
    cuts: pd.DataFrame | None = None,
    line: pd.DataFrame | None = None,
    order: Sequence[str] = (),
    labelled: Collection[str] = (),
) -> Picture:
    """Draw a squad in one panel per pair of measures: a mark per athlete, the look its subgroup.

    Parameters
    ----------
    table : pandas.DataFrame
        One row per athlete: ``athlete``, ``group`` (may be missing) and the measures.
    pairs : sequence of (str, str)
        Measure across and measure up, in the tables' units.
    errors : mapping of str to float, optional
        Typical error per measure: one each way makes the cross. None for one that is not known.
    cuts : pandas.DataFrame, optional
        Columns ``metric``, ``cut`` and ``place`` (``points["cuts"]`` of a placement).
    line : pandas.DataFrame, optional
        Columns stratum, x, y, low, high (``points["line"]`` of a relation), x_metric and y_metric:
        drawn in the panel of these two measures.
    order : sequence of str
        Every group of the study, for the looks.
    labelled : collection of str
        Athletes whose id stands beside the mark.

    Returns
    -------
    Picture

    Examples
    --------
    >>> import cmjlab as cj
    >>> table = cj.simulate_sessions(seed=1).sessions
    >>> first = table[table["session"] == "base1"]
    >>> figure = cj.plots.squad_scatter(first, [("countermovement_depth_m", "time_to_takeoff_s")])
    >>> figure.alt_text[:16]
    'Time to take-off'
    """
    looks = group_looks(table["group"], order) if "group" in table else {}
    figure = picture(_WIDTH_CM, _PANEL_CM + 0.5)
    panels = figure.subplots(1, len(pairs), squeeze=False)[0]
    notes = []
    for axes, (x, y) in zip(panels, pairs, strict=True):
        part = table.dropna(subset=[x, y])
        if line is not None:
            fits = (line["x_metric"] == x) & (line["y_metric"] == y)
            _lines(axes, line[fits], (x, y))
        _marks(axes, part, (x, y), looks, errors or {})
        _cut_lines(axes, (x, y), cuts)
        _axes(axes, x, y, len(part))
        notes.append(f"{_label(y)} against {_label(x)}, n = {len(part)}")
    if looks:
        _legend(figure, panels[0], looks)
    settle(figure)
    for axes, (x, y) in zip(panels, pairs, strict=True):
        _write_labels(axes, table.dropna(subset=[x, y]), (x, y), set(labelled))
    figure.alt_text = f"{'; '.join(notes)}. {_cut_words(pairs, cuts)}{_group_words(table, pairs)}"
    return figure


@styled
def relation_figure(
    result: Result,
    *,
    groups: Mapping[str, str] | None = None,
    order: Sequence[str] = (),
    cuts: pd.DataFrame | None = None,
) -> Picture:
    """Draw an outcome against a measure with the straight line and its interval, per stratum.

    Parameters
    ----------
    result : Result
        From :func:`cmjlab.stats.subgroups.relation.metric_relation`.
    groups : mapping of str to str, optional
        Athlete -> subgroup, for the looks.
    order : sequence of str
        Every group of the study.
    cuts : pandas.DataFrame, optional
        Columns ``metric`` and ``cut``: the cuts of the measure are drawn.

    Returns
    -------
    Picture
        One panel per stratum: marks, line with its band, cuts.

    Examples
    --------
    >>> import cmjlab as cj
    >>> study = cj.Study.open(cj.demo_study())
    >>> found = cj.stats.metric_relation(study.sessions_table(), "relative_strength", "jump_height_m",
    ...                                  session="base1")
    >>> cj.plots.relation_figure(found).alt_text[:11]
    'Jump height'
    """
    x, y = result.settings["metric"], result.settings["outcome"]
    scatter, line = points(result, "scatter"), points(result, "line")
    noise = points(result, "noise").set_index("metric")["typical_error"].to_dict()
    names = list(dict.fromkeys(scatter["stratum"].astype(str)))
    table = scatter.rename(columns={"x": x, "y": y})
    table["group"] = [(groups or {}).get(a, "") for a in table["athlete"]]
    looks = group_looks(table["group"], order) if groups else {}
    figure = picture(10.5 if len(names) == 1 else _WIDTH_CM, 7.4)
    panels = figure.subplots(1, max(len(names), 1), squeeze=False, sharey=True)[0]
    for axes, name in zip(panels, names, strict=False):
        mine, band = table[table["stratum"] == name], line[line["stratum"] == name]
        _lines(axes, band, (x, y))
        _marks(axes, mine, (x, y), looks, noise)
        _cut_lines(axes, (x, y), cuts)
        _axes(axes, x, y, len(mine))
        if len(names) > 1:
            axes.set_title(safe(name))
    if looks:
        _legend(figure, panels[0], looks)
    figure.alt_text = " ".join(
        [f"{_label(y)} against {_label(x)}, a mark per athlete.", *map(str, result.sentences)]
    )
    return figure


def _label(metric: str) -> str:
    return read_words().label(metric)


def _axes(axes: Axes, x: str, y: str, n: int) -> None:
    axes.set_xlabel(axis_label(_label(x), metric_unit(x), n))
    axes.set_ylabel("\n".join(textwrap.wrap(axis_label(_label(y), metric_unit(y)), 30)))


def _marks(
    axes: Axes,
    part: pd.DataFrame,
    pair: tuple[str, str],
    looks: Mapping[str, Mapping[str, Any]],
    errors: Mapping[str, float],
) -> None:
    """Draw a cross of one typical error each way, and a mark in the look of the group."""
    x, y = (shown(m, part[m]) for m in pair)
    half = [float(shown(m, errors[m])) if m in errors else 0.0 for m in pair]
    axes.errorbar(x, y, xerr=half[0], yerr=half[1], fmt="none", ecolor=_GREY, elinewidth=0.9,
                  zorder=2)  # fmt: skip
    if not looks:
        axes.plot(x, y, linestyle="none", marker="o", color=INK, markersize=5, zorder=3)
    names = part["group"].fillna("").astype(str).to_numpy() if looks else np.array([])
    for name, look in looks.items():
        mine = names == name
        axes.plot(x[mine], y[mine], linestyle="none", markersize=5.5, zorder=3, **look)


def _lines(axes: Axes, line: pd.DataFrame, pair: tuple[str, str]) -> None:
    """Draw the straight line of each stratum with the interval of its mean."""
    x, y = pair
    for _, band in line.groupby("stratum", sort=False):
        at = shown(x, band["x"])
        axes.fill_between(at, shown(y, band["low"]), shown(y, band["high"]), color="#eef0f2",
                          linewidth=0, zorder=0)  # fmt: skip
        axes.plot(at, shown(y, band["y"]), color=MUTED, zorder=1)


def _legend(figure: Picture, axes: Axes, looks: Mapping[str, Mapping[str, Any]]) -> None:
    for name, look in looks.items():
        text = name.replace("_", " ") or read_words().say("word.no_group")
        axes.plot([], [], linestyle="none", markersize=5.5, label=safe(text), **look)
    figure.legend(loc="outside upper left", ncols=4)


def _cuts_of(metric: str, cuts: pd.DataFrame | None) -> list[float]:
    if cuts is None:
        return []
    known = cuts.loc[(cuts["metric"] == metric) & cuts["cut"].notna(), "cut"]
    return sorted(set(known.astype(float)))


def _cut_lines(axes: Axes, pair: tuple[str, str], cuts: pd.DataFrame | None) -> None:
    """Draw the cuts of both measures as dashed lines; their values stand at the edge."""
    look: Any = {"color": INK, "linewidth": 0.9, "linestyle": (0, (4, 2.5)), "zorder": 1}
    for cut in _cuts_of(pair[0], cuts):
        at = float(shown(pair[0], cut))
        axes.axvline(at, **look)
        axes.annotate(value_text(pair[0], cut), (at, 1.0), xycoords=axes.get_xaxis_transform(),
                      ha="center", va="bottom", fontsize=8)  # fmt: skip
    for cut in _cuts_of(pair[1], cuts):
        at = float(shown(pair[1], cut))
        axes.axhline(at, **look)
        axes.annotate(value_text(pair[1], cut), (1.0, at), xycoords=axes.get_yaxis_transform(),
                      ha="right", va="bottom", fontsize=8)  # fmt: skip


def _write_labels(
    axes: Axes, part: pd.DataFrame, pair: tuple[str, str], labelled: set[str]
) -> None:
    rows = part[part["athlete"].astype(str).isin(labelled)]
    x, y = (shown(m, rows[m]) for m in pair)
    labels = [
        Label(safe(a), float(u), float(v), (1.0, 0.6))
        for a, u, v in zip(rows["athlete"].astype(str), x, y, strict=True)
    ]
    place_labels(axes, labels, taken=list(axes.texts))


def _cut_words(pairs: Sequence[tuple[str, str]], cuts: pd.DataFrame | None) -> str:
    said = [
        f"{_label(m)} {value_text(m, cut)}"
        for m in dict.fromkeys(m for pair in pairs for m in pair)
        for cut in _cuts_of(m, cuts)
    ]
    return f"Cuts: {', '.join(said)}. " if said else ""


def _group_words(table: pd.DataFrame, pairs: Sequence[tuple[str, str]]) -> str:
    """Return the mean of each group in every measure."""
    if "group" not in table:
        return ""
    out = []
    metrics = list(dict.fromkeys(m for pair in pairs for m in pair))
    for name, part in table.groupby("group", observed=True, sort=False):
        means = ", ".join(f"{_label(m)} {value_text(m, float(part[m].mean()))}" for m in metrics)
        out.append(f"{name} (n = {len(part)}): {means}.")
    return "Means: " + " ".join(out) if out else ""
