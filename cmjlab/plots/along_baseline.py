"""Figure of the difference between two groups along the baseline."""

from __future__ import annotations

from typing import Any

import numpy as np
import pandas as pd
from matplotlib.axes import Axes

from cmjlab.errors import StatsError
from cmjlab.plots.labels import (
    metric_axis,
    metric_label,
    metric_or_first,
    points,
    shown,
    value_text,
)
from cmjlab.plots.style import (
    INK,
    MUTED,
    Picture,
    described,
    group_looks,
    legend_beside,
    one_panel,
    styled,
    zero_line,
)
from cmjlab.results import Result


@styled
def along_baseline_figure(
    result: Result,
    metric: str | None = None,
    *,
    first: str | None = None,
    second: str | None = None,
    ax: Axes | None = None,
) -> Picture:
    """Draw the difference between two groups against the baseline, where its slopes differ.

    Parameters
    ----------
    result : Result
        From :func:`cmjlab.change_between`.
    metric : str, optional
        Default: the first metric of the result.
    first, second : str, optional
        The groups; default the first contrast that there is.
    ax : matplotlib.axes.Axes, optional
        Axes of your own to draw in; default a figure of its own.

    Returns
    -------
    Picture
        The difference as a line with its band over the baselines that both groups have; a thick
        stretch of the zero line where the band leaves out zero; a tick per athlete.

    Raises
    ------
    StatsError
        When the result holds no difference along the baseline.

    Examples
    --------
    >>> import cmjlab as cj
    >>> import numpy as np, pandas as pd
    >>> rng = np.random.default_rng(1)
    >>> first = rng.normal(0.34, 0.04, 40)
    >>> group = np.repeat(["jump", "usual"], 20)
    >>> gain = np.where(group == "jump", 0.02 - 0.9 * (first - 0.34), 0.0) + rng.normal(0, 0.006, 40)
    >>> table = pd.DataFrame({"athlete": [f"A{i:02d}" for i in range(40)] * 2, "group": [*group] * 2,
    ...                       "session": ["pre"] * 40 + ["post"] * 40,
    ...                       "jump_height_m": [*first, *(first + gain)]})
    >>> found = cj.change_between(table, before="pre", after="post", control="usual")
    >>> cj.plots.along_baseline_figure(found).alt_text[:10]
    'Difference'
    """
    name = metric_or_first(result, metric)
    band = _band(result, name, first, second)
    pair = str(band["first"].iloc[0]), str(band["second"].iloc[0])
    x, estimate, low, high = (
        shown(name, band[c]) for c in ("baseline", "estimate", "ci_low", "ci_high")
    )
    figure, axes = one_panel(ax, 13.5, 9.0)
    axes.fill_between(x, low, high, color=MUTED, alpha=0.3, linewidth=0,
                      label="band for all baselines at once")  # fmt: skip
    axes.plot(x, estimate, color=INK, linewidth=1.8, label="difference")
    zero_line(axes)
    clear = (low > 0) | (high < 0)
    if clear.any():
        axes.plot(x, np.where(clear, 0.0, np.nan), color=INK, linewidth=4.0, solid_capstyle="butt",
                  label="clear here")  # fmt: skip
    _draw_athletes(axes, result, name, pair)
    axes.set_xlabel(metric_axis(name) + f", {result.settings['before']}")
    axes.set_ylabel(f"{pair[0]} − {pair[1]}, {result.settings['after']},\n{metric_axis(name)}")
    legend_beside(figure, axes, "outside upper left", ncols=3)
    return described(figure, along_baseline_alt_text(result, name, pair))


def _band(result: Result, metric: str, first: str | None, second: str | None) -> pd.DataFrame:
    """Return the points of one contrast."""
    band = points(result, "along_baseline")
    if not band.empty:
        band = band[band["metric"] == metric]
    for column, wanted in (("first", first), ("second", second)):
        if wanted is not None and not band.empty:
            band = band[band[column] == wanted]
    if band.empty:
        raise StatsError(
            f"{metric}: there is no difference along the baseline to draw. It is given by"
            " change_between where the slopes on the baseline differ between groups that overlap."
        )
    one = (band["first"] == band["first"].iloc[0]) & (band["second"] == band["second"].iloc[0])
    return band[one].reset_index(drop=True)


def _draw_athletes(axes: Any, result: Result, metric: str, pair: tuple[str, str]) -> None:
    """Draw a tick at every athlete's baseline, one row a group."""
    frame = points(result, "pairs")
    frame = frame[frame["metric"] == metric]
    looks = group_looks(frame["group"], result.settings.get("groups", ()))
    for row, group in enumerate(pair):
        before = shown(metric, frame.loc[frame["group"] == group, "before"])
        height = 0.015 + 0.03 * row
        axes.plot(before, np.full(len(before), height), linestyle="none", marker="|",
                  color=looks[group]["color"], transform=axes.get_xaxis_transform(),
                  label=f"athletes of {group}", markersize=7)  # fmt: skip
    axes.axvspan(*_common(frame, metric, pair), color=MUTED, alpha=0.06, linewidth=0)


def _common(frame: pd.DataFrame, metric: str, pair: tuple[str, str]) -> tuple[float, float]:
    ranges = [shown(metric, frame.loc[frame["group"] == g, "before"]) for g in pair]
    return max(float(r.min()) for r in ranges), min(float(r.max()) for r in ranges)


def along_baseline_alt_text(result: Result, metric: str, pair: tuple[str, str]) -> str:
    """Return what :func:`along_baseline_figure` shows, in words."""
    band = _band(result, metric, *pair)
    parts = [
        f"Difference between {pair[0]} and {pair[1]} in {metric_label(metric)} against the baseline,"
        " with a band that holds at all baselines at once."
    ]
    for row in (band.iloc[0], band.iloc[-1]):
        at, estimate = (
            value_text(metric, row["baseline"]),
            value_text(metric, row["estimate"], signed=True),
        )
        ends = [value_text(metric, row[c], signed=True) for c in ("ci_low", "ci_high")]
        parts.append(f"At {at} it is {estimate} ({ends[0]} to {ends[1]}).")
    limits = result.rows("clear_limit", metric=metric, first=pair[0], second=pair[1])
    for _, row in limits[limits["estimate"].notna()].iterrows():
        parts.append(f"The band reaches zero at {value_text(metric, row['estimate'])}.")
    return " ".join(parts)
