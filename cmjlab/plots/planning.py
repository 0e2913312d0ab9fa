"""Figures of planning: what more athletes, jumps and baselines buy."""

from __future__ import annotations

import pandas as pd
from matplotlib.axes import Axes

from cmjlab.checks import one_of
from cmjlab.plots.labels import metric_label, metric_unit, points, shown, value_text
from cmjlab.plots.style import MARKERS, MUTED, PALETTE, Picture, picture, safe, styled, wrapped
from cmjlab.results import Result
from cmjlab.stats.planning.sentences import design_phrase

_EVERY = 6


def designs(result: Result) -> dict[str, str]:
    """Return the designs that a planning result compares: key to words.

    Parameters
    ----------
    result : Result
        From :func:`cmjlab.plan_study`.

    Returns
    -------
    dict of str to str

    Examples
    --------
    >>> import cmjlab as cj
    >>> plan = cj.plan_study("jump_height_m", reliability={"jump_height_m": (0.012, 25)}, matters=0.02)
    >>> sorted(cj.plots.designs(plan))
    ['one_group', 'two_groups_change']
    """
    keys = dict.fromkeys(points(result, "power_curve")["design"].astype(str))
    return {key: design_phrase(key).text for key in keys}


def _pick(result: Result, name: str, design: str, baselines: int) -> pd.DataFrame:
    frame = points(result, name)
    return frame[(frame["design"] == design) & (frame["baselines"] == baselines)]


@styled
def planning_figure(result: Result, *, design: str | None = None, baselines: int = 1) -> Picture:
    """Draw power, and how precisely a mean will be known, against the number of athletes.

    Parameters
    ----------
    result : Result
        From :func:`cmjlab.plan_study`: data ``power_curve`` and ``precision``.
    design : str, optional
        A key of :func:`designs`; default: the last (the most efficient).
    baselines : int
        Number of baseline sessions averaged.

    Returns
    -------
    Picture
        Left: power to see the change that matters. Right: half width of the interval, with
        the change that matters as a line. One line per assumed spread of true responses.

    Examples
    --------
    >>> import cmjlab as cj
    >>> plan = cj.plan_study("jump_height_m", reliability={"jump_height_m": (0.012, 25)}, matters=0.02)
    >>> len(cj.plots.planning_figure(plan).axes)
    2
    """
    known = designs(result)
    chosen = one_of("design", design, known) if design is not None else list(known)[-1]
    metric = str(result.settings["metric"])
    counts = sorted({int(b) for b in points(result, "power_curve")["baselines"]})
    one_of("baselines", baselines, counts)
    figure = picture(height_cm=8.8)
    left, right = figure.subplots(1, 2)
    power = _pick(result, "power_curve", chosen, baselines)
    width = _pick(result, "precision", chosen, baselines).copy()
    width["half_width"] = shown(metric, width["half_width"])
    spreads = sorted(set(power["response_sd"]))
    _draw(left, power, "power", spreads)
    _draw(right, width, "half_width", spreads)
    wanted = float(result.settings["power"])
    left.axhline(wanted, color=MUTED, linewidth=0.9, linestyle=(0, (4, 2)))
    left.set_ylim(0, 1.02)
    left.set_ylabel("Power (no unit)")
    matters = float(shown(metric, float(result.settings["matters"])))
    right.axhline(matters, color=MUTED, linewidth=0.9, linestyle=(0, (4, 2)))
    right.text(1.0, matters, " change that matters", transform=right.get_yaxis_transform(),
               ha="right", va="bottom", fontsize=8)  # fmt: skip
    right.set_ylim(bottom=0)
    right.set_ylabel(f"Half width of the interval ({metric_unit(metric)})")
    for axes in (left, right):
        axes.set_xlabel("Athletes per group (number)")
    left.legend(title="Spread of true responses\n(typical errors)", title_fontsize=8)
    title = f"{metric_label(metric)}: {known[chosen]}, {baselines} baseline{'s' if baselines > 1 else ''}"
    figure.suptitle(wrapped(title, 90), x=0.01, ha="left", fontsize=9.5, fontweight="bold")
    figure.alt_text = planning_alt_text(result, chosen, baselines)
    return figure


def _draw(axes: Axes, frame: pd.DataFrame, column: str, spreads: list[float]) -> None:
    for i, spread in enumerate(spreads):
        part = frame[frame["response_sd"] == spread].sort_values("n")
        axes.plot(part["n"], part[column], color=PALETTE[i % len(PALETTE)], label=safe(f"{spread:g}"),
                  marker=MARKERS[i % len(MARKERS)], markersize=4, markevery=_EVERY)  # fmt: skip


def planning_alt_text(result: Result, design: str, baselines: int) -> str:
    """Return what :func:`planning_figure` shows, in words."""
    metric, wanted = str(result.settings["metric"]), float(result.settings["power"])
    power = _pick(result, "power_curve", design, baselines)
    parts = [
        f"Power to see a change of {value_text(metric, float(result.settings['matters']))} in"
        f" {metric_label(metric)} against athletes per group; {design_phrase(design)},"
        f" {baselines} baseline(s)."
    ]
    for spread in sorted(set(power["response_sd"])):
        part = power[power["response_sd"] == spread].sort_values("n")
        enough = part[part["power"] >= wanted]
        reached = (
            f"{int(enough['n'].iloc[0])} athletes" if len(enough) else "not within the picture"
        )
        parts.append(
            f"Responses spread by {spread:g} typical errors: power {wanted:g} at {reached}."
        )
    return " ".join(parts)
