"""Whole curves before and after a block, their change with its band, and one athlete beside noise."""

from __future__ import annotations

from typing import Any

import numpy as np
import pandas as pd
from matplotlib.axes import Axes

from cmjlab.errors import StatsError
from cmjlab.plots.labels import points
from cmjlab.plots.style import (
    INK,
    MUTED,
    TEXT_WIDTH_CM,
    TINTS,
    Picture,
    axis_label,
    group_looks,
    picture,
    safe,
    styled,
    zero_line,
)
from cmjlab.results import Result
from cmjlab.units import shown_unit, to_shown
from cmjlab.words.catalog import read_words

#: Height of a row of panels, cm.
_ROW_CM = 4.9
#: Phases by turns, lighter than elsewhere: bands must stand out from them in a grey print too.
_PHASES = (TINTS[0], "#ffffff")
_DASHED: Any = (0, (4, 1.6))


@styled
def curves_figure(result: Result, first: str | None = None, second: str | None = None) -> Picture:
    """Draw the curves of two groups before and after, their changes, and the difference of these.

    Parameters
    ----------
    result : Result
        From :func:`cmjlab.compare_curves`.
    first, second : str, optional
        The groups; default the first comparison that there is. Without groups everybody is drawn.

    Returns
    -------
    Picture
        A row for each group: the mean curves before (dashed) and after, and the change with the band
        that holds for the whole curve. The last row has both changes, and their difference with its
        band. Thick stretches of the zero line: the band leaves zero. Phases are equally wide, each
        from 0 to 100 %.

    Raises
    ------
    StatsError
        The result holds no such comparison.

    Examples
    --------
    >>> import cmjlab as cj
    >>> curves = cj.compare_curves(cj.Study.open(cj.demo_study()))
    >>> cj.plots.curves_figure(curves).alt_text[:14]
    'Mean curves of'
    """
    pair = _pair(result, first, second)
    groups = [g for g in pair if g] or [""]
    looks = group_looks(pd.Series(groups), result.settings["groups"])
    rows = len(groups) + (len(groups) > 1)
    figure = picture(TEXT_WIDTH_CM, _ROW_CM * rows + 1.6)
    panels = figure.subplots(rows, 2, sharex=True, squeeze=False)
    within = points(result, "within")
    for (left, right), group in zip(panels, groups, strict=False):
        _before_and_after(left, result, group, looks[group])
        band = within[(within["first"] == group) & (within["second"] == "")]
        _band(right, result, band, looks[group]["color"])
        right.set_title(_say("change", group=group) if group else _say("change_all"))
    if len(groups) > 1:
        _both_changes(panels[-1][0], result, groups, looks)
        between = points(result, "between")
        pairs = (between["first"] == pair[0]) & (between["second"] == pair[1])
        _band(panels[-1][1], result, between[pairs], INK)
        panels[-1][1].set_title(_say("difference", first=pair[0], second=pair[1]))
    _frame(panels, result)
    figure.alt_text = _alt_text(result, groups)
    return figure


@styled
def athlete_curve_figure(result: Result, athlete: str) -> Picture:
    """Draw one athlete's curves before and after, and the change beside the noise of the test.

    Parameters
    ----------
    result : Result
        From :func:`cmjlab.compare_curves`.
    athlete : str

    Returns
    -------
    Picture
        Left the mean curves of both sessions, right the change with the noise band of the whole
        curve around it; thick stretches of the zero line: beyond the noise.

    Raises
    ------
    StatsError
        The athlete is not compared; the text says why.

    Examples
    --------
    >>> import cmjlab as cj
    >>> curves = cj.compare_curves(cj.Study.open(cj.demo_study()))
    >>> cj.plots.athlete_curve_figure(curves, "A02").alt_text[:12]
    'Curve of A02'
    """
    every = points(result, "athletes")
    mine = every[every["athlete"] == athlete]
    if mine.empty:
        out = points(result, "left_out").set_index("athlete")["reason"]
        why = out.get(athlete, f"there are {', '.join(every['athlete'].unique())}")
        raise StatsError(f"athlete: {athlete!r} is not among those compared: {why}.")
    look = group_looks(mine["group"], result.settings["groups"])[str(mine["group"].iloc[0])]
    figure = picture(TEXT_WIDTH_CM, _ROW_CM + 1.8)
    panels = figure.subplots(1, 2, sharex=True, squeeze=False)
    left, right = panels[0]
    for column, style in (("before", _DASHED), ("after", "-")):
        left.plot(mine["place"], _shown(result, mine[column]), linestyle=style,
                  color=MUTED if column == "before" else look["color"],
                  label=safe(result.settings[column]))  # fmt: skip
    left.set_title(_say("athlete", athlete=athlete))
    left.legend(loc="best")
    _band(right, result, mine.rename(columns={"change": "estimate"}), look["color"])
    right.set_title(_say("athlete_change"))
    _frame(panels, result)
    places = [str(s) for s in _said_of(result, athlete)]
    said = "; ".join(places) or _say("athlete_inside")
    figure.alt_text = _say("athlete_alt", athlete=athlete, quantity=result.settings["quantity"],
                           before=result.settings["before"], after=result.settings["after"], said=said)  # fmt: skip
    return figure


def _say(key: str, **values: Any) -> str:
    return safe(read_words().say(f"curves_figure.{key}", **values))


def _shown(result: Result, values: Any) -> np.ndarray:
    return np.asarray(values, dtype=np.float64) * to_shown(1.0, result.settings["unit"])


def _pair(result: Result, first: str | None, second: str | None) -> tuple[str, str]:
    """Return the groups of the comparison asked for; ("", "") without groups."""
    found = [
        tuple(r)
        for r in points(result, "between")[["first", "second"]].drop_duplicates().to_numpy()
    ]
    wanted = [p for p in found if first in (None, p[0]) and second in (None, p[1])]
    if wanted:
        return str(wanted[0][0]), str(wanted[0][1])
    if first is None and second is None:
        return (str(result.settings["groups"][0]) if result.settings["groups"] else ""), ""
    have = ", ".join(f"{a} and {b}" for a, b in found) or "none"
    raise StatsError(f"curves: no comparison of {first} and {second}; there is: {have}.")


def _before_and_after(axes: Axes, result: Result, group: str, look: dict[str, Any]) -> None:
    curves = points(result, "curves")
    mine = curves[curves["group"] == group]
    for session, style in ((result.settings["before"], _DASHED), (result.settings["after"], "-")):
        one = mine[mine["session"] == session]
        color = look["color"] if style == "-" else MUTED
        axes.plot(one["place"], _shown(result, one["mean"]), linestyle=style, color=color, label=safe(session))  # fmt: skip
    n = int(mine["n"].iloc[0]) if len(mine) else 0
    axes.set_title(_say("group", group=group, n=n) if group else _say("everybody", n=n))
    axes.legend(loc="best")


def _band(axes: Axes, result: Result, band: pd.DataFrame, color: str) -> None:
    """Draw a change with its band; the zero line is thick where the band leaves it."""
    zero_line(axes)
    if band.empty:
        axes.text(0.5, 0.5, _say("no_band"), ha="center", transform=axes.transAxes)
        return
    place, estimate, low, high = (
        band["place"].to_numpy(float), *(_shown(result, band[c]) for c in ("estimate", "low", "high")),
    )  # fmt: skip
    axes.fill_between(place, low, high, color=color, alpha=0.25, linewidth=0)
    for edge in (low, high):
        axes.plot(place, edge, color=color, linewidth=0.5)
    axes.plot(place, estimate, color=color)
    outside = band["outside"].to_numpy(bool)
    if outside.any():
        line = np.where(outside, 0.0, np.nan)
        alone = outside & ~np.roll(outside, 1) & ~np.roll(outside, -1)
        axes.plot(place, line, color=INK, linewidth=4.5, solid_capstyle="butt")
        axes.plot(place[alone], line[alone], "s", color=INK, markersize=4)


def _both_changes(axes: Axes, result: Result, groups: list[str], looks: dict[str, Any]) -> None:
    zero_line(axes)
    within = points(result, "within")
    for group, style in zip(groups, ("-", _DASHED), strict=False):
        one = within[(within["first"] == group) & (within["second"] == "")]
        axes.plot(one["place"], _shown(result, one["estimate"]), color=looks[group]["color"],
                  linestyle=style, label=safe(group))  # fmt: skip
    axes.set_title(_say("both"))
    axes.legend(loc="best")


def _frame(panels: Any, result: Result) -> None:
    """Draw the phases behind every panel, name them, and label the axes."""
    names = list(result.settings["phases"])
    say = read_words().say
    label = read_words().label(str(result.settings["quantity"]))
    unit = shown_unit(str(result.settings["unit"]))
    for axes in panels.flat:
        for number, name in enumerate(names):
            axes.axvspan(number, number + 1, color=_PHASES[number % 2], linewidth=0, zorder=0)
            axes.text(number + 0.5, 1.0, say(f"word.{name}"), ha="center", va="top", fontsize=8,
                      color=MUTED, transform=axes.get_xaxis_transform())  # fmt: skip
        axes.set_xlim(0, len(names))
        low, high = axes.get_ylim()
        axes.set_ylim(low, high + 0.13 * (high - low))
        at = np.arange(0.0, len(names) + 0.01, 0.5)
        axes.set_xticks(
            at,
            ["50" if x % 1 else "0" if x == 0 else "100" if x == at[-1] else "100|0" for x in at],
        )
    for axes, key in zip(panels[-1], ("percent", "percent_marked"), strict=True):
        axes.set_xlabel(_say(key))
    for row in panels:
        row[0].set_ylabel(axis_label(_change_label(row[0], panels, label), unit))
        row[1].set_ylabel(axis_label(_say("change_axis"), unit))


def _change_label(axes: Axes, panels: Any, label: str) -> str:
    """Return the label of a left panel: the quantity, or its change in a row of both changes."""
    both = len(panels) > 2 and axes is panels[-1][0]
    return _say("change_axis") if both else label


def _said_of(result: Result, athlete: str) -> list[Any]:
    """Return the rows of an athlete's stretches in words."""
    rows = result.rows("curve_athlete_stretch", athlete=athlete)
    return [r["contrast"] for r in rows.to_dict("records")]


def _alt_text(result: Result, groups: list[str]) -> str:
    """Return what the figure shows: the sentences about the groups drawn."""
    names = set(groups)
    said = []
    for sentence in result.sentences:
        values = sentence.values
        if (
            sentence.key.startswith("curves.between_")
            and {values["first"], values["second"]} == names
        ):
            said.append(str(sentence))
        if sentence.key.startswith("curves.within_") and sentence.group in names:
            said.append(str(sentence))
    return _say("alt", quantity=result.settings["quantity"], before=result.settings["before"],
                after=result.settings["after"], said=" ".join(said))  # fmt: skip
