"""One athlete's jumps with different loads: velocity and power against load."""

from __future__ import annotations

import math

from matplotlib.axes import Axes

from cmjlab.plots.labels import points
from cmjlab.plots.style import (
    INK,
    MUTED,
    PALETTE,
    Picture,
    axis_label,
    picture,
    safe,
    styled,
    wrapped,
)
from cmjlab.results import Result, stored_reason
from cmjlab.words.catalog import read_words

#: Signs in a line of a panel's title.
_TITLE = 44
_UNITS = {True: "W", False: "m/s"}


@styled
def load_profile_figure(result: Result) -> Picture:
    """Draw velocity and power of one athlete against load.

    Parameters
    ----------
    result : Result
        From :func:`cmjlab.load_profile`.

    Returns
    -------
    Picture
        Left: velocity (m/s) of each jump, means per load and the line, over the loads tested
        only. Right: power (W) in the same way; a parabola is drawn, and its top marked, only
        where the result has one.

    Examples
    --------
    >>> import cmjlab as cj
    >>> import pandas as pd
    >>> jumps = pd.DataFrame({
    ...     "athlete": "A01", "session": "base1", "load_kg": [0.0, 20.0, 40.0, 60.0],
    ...     "mean_propulsion_velocity_m_per_s": [1.52, 1.29, 1.11, 0.88],
    ...     "peak_upward_velocity_m_per_s": [2.7, 2.35, 2.0, 1.7],
    ...     "mean_propulsion_power_w": [2300.0, 2400.0, 2380.0, 2250.0],
    ...     "peak_propulsion_power_w": [4200.0, 4300.0, 4250.0, 4100.0],
    ...     "jump_height_m": [0.35, 0.26, 0.19, 0.13],
    ... })
    >>> cj.plots.load_profile_figure(cj.load_profile(jumps)).alt_text[:31]
    'Velocity and power against load'
    """
    jumps = points(result, "jumps")
    velocity = str(result.settings["velocity"])
    figure = picture(height_cm=7.6)
    left, right = figure.subplots(1, 2)
    _panel(left, result, velocity)
    _panel(right, result, "peak_propulsion_power_w")
    _mark_peak(right, result, "peak_propulsion_power_w")
    for axes in (left, right):
        axes.set_xlabel("Load (kg)")
    title = f"Athlete {jumps['athlete'].iloc[0]}, session {jumps['session'].iloc[0]}"
    figure.suptitle(safe(title), x=0.01, ha="left", fontsize=10, fontweight="bold")
    figure.alt_text = f"Velocity and power against load. {title}. " + " ".join(
        str(s) for s in result.sentences
    )
    return figure


def _panel(axes: Axes, result: Result, metric: str) -> None:
    jumps, loads, curves = (points(result, name) for name in ("jumps", "loads", "curves"))
    power = metric.endswith("_w")
    if not power or math.isfinite(result.value("load_at_peak_power", metric=metric)):
        curve = curves[curves["metric"] == metric]
        axes.plot(curve["load_kg"], curve["value"], color=PALETTE[1], linewidth=1.4,
                  label="parabola" if power else "line")  # fmt: skip
    axes.plot(jumps["load_kg"], jumps[metric], "o", color="white", markeredgecolor=MUTED,
              markersize=4.5, label="jump")  # fmt: skip
    axes.plot(loads["load_kg"], loads[metric], "_", color=INK, markersize=13, markeredgewidth=1.6,
              label="mean of a load")  # fmt: skip
    axes.set_ylabel(axis_label(read_words().label(metric), _UNITS[power]))
    axes.margins(x=0.08, y=0.15)
    axes.legend(loc="best")


def _mark_peak(axes: Axes, result: Result, metric: str) -> None:
    """Mark the load of the highest power with its interval; say so where there is none."""
    row = result.row("load_at_peak_power", metric=metric)
    if math.isfinite(row["estimate"]):
        axes.axvline(row["estimate"], color=MUTED, linewidth=0.8, linestyle=(0, (1, 2)))
        if math.isfinite(row["ci_low"]):
            low, high = axes.get_xlim()
            axes.axvspan(max(row["ci_low"], low), min(row["ci_high"], high), color=MUTED,
                         alpha=0.15, linewidth=0)  # fmt: skip
            axes.set_xlim(low, high)
        axes.set_title(f"highest at {row['estimate']:.0f} kg", fontsize=8.5, fontweight="normal")
    else:
        why = stored_reason(row.to_dict())
        text = f"highest power: {read_words().phrase(why) if why else ''}"
        axes.set_title(wrapped(text, _TITLE), fontsize=8, fontweight="normal")
