"""Figure of two measurements of the same jumps: difference against mean, with the conversion."""

from __future__ import annotations

from typing import Any

import numpy as np
from matplotlib.axes import Axes

from cmjlab.plots.labels import (
    interval_words,
    metric_label,
    metric_or_first,
    metric_unit,
    points,
    shown,
    value_text,
)
from cmjlab.plots.style import (
    INK,
    PALETTE,
    Picture,
    described,
    legend_beside,
    one_panel,
    safe,
    styled,
    zero_line,
)
from cmjlab.results import Result
from cmjlab.words.catalog import read_words

_DASHED = (0, (5, 2))


@styled
def pooling_figure(result: Result, metric: str | None = None, *, ax: Axes | None = None) -> Picture:
    """Draw the difference of two measurements of each jump against their mean, with the conversion.

    Parameters
    ----------
    result : Result
        From :func:`cmjlab.pool_metrics`.
    metric : str, optional
        Default: the first metric of the result.
    ax : matplotlib.axes.Axes, optional
        Axes of your own to draw in; default a figure of its own.

    Returns
    -------
    Picture
        A small mark for each jump, a large one for each athlete's mean. Lines: what the conversion
        takes off (an offset is level, a line is not) with the band of a new converted jump, and the
        limits of agreement of single jumps without conversion.

    Examples
    --------
    >>> import cmjlab as cj
    >>> study = cj.Study.open(cj.demo_study(mini=True))
    >>> other = study.method.replace(onset_rule="percent")
    >>> found = cj.pool_metrics(study, method=other, metrics="time_to_takeoff_s")
    >>> cj.plots.pooling_figure(found).alt_text[:16]
    'Time to take-off'
    """
    name = metric_or_first(result, metric)
    pairs = points(result, "pairs")[["athlete", f"{name}_1", f"{name}_2"]].dropna()
    pairs = pairs.set_axis(["athlete", "first", "second"], axis=1)
    figure, axes = one_panel(ax, height_cm=8.4)
    own = pairs.groupby("athlete")[["first", "second"]].mean()
    for part, looks in (
        (pairs, {"markersize": 3.0, "alpha": 0.45, "markeredgewidth": 0}),
        (own, {"markersize": 6.0, "markerfacecolor": "white"}),
    ):
        mean, difference = part[["first", "second"]].mean(axis=1), part["second"] - part["first"]
        axes.plot(shown(name, mean), shown(name, difference), linestyle="none", marker="o",
                  color=PALETTE[0], **looks)  # fmt: skip
    zero_line(axes)
    _draw_limits(axes, result, name)
    _draw_conversion(axes, result, name, pairs[["first", "second"]].to_numpy(dtype=float))
    say, unit = read_words().say, metric_unit(name)
    axes.set_xlabel(say("pool_figure.mean", unit=unit))
    axes.set_ylabel(say("pool_figure.difference", unit=unit))
    axes.set_title(safe(metric_label(name)))
    if axes.get_legend_handles_labels()[1]:
        legend_beside(figure, axes, "outside upper right", ncols=2)
    return described(figure, _alt_text(result, name, len(pairs), len(own)))


def _verdict(result: Result, metric: str) -> dict[str, Any]:
    table = points(result, "verdict", metric)
    return {str(k): v for k, v in table.iloc[0].items()}


def _draw_limits(axes: Axes, result: Result, metric: str) -> None:
    say = read_words().say
    for statistic in ("pool_limit_lower", "pool_limit_upper"):
        row = result.row(statistic, metric=metric)
        if not np.isfinite(row["estimate"]):
            continue
        at = float(shown(metric, row["estimate"]))
        axes.axhline(at, color=PALETTE[2], linestyle=_DASHED, linewidth=1.2)
        text = f"{say(f'pool_figure.{statistic}')}\n{value_text(metric, float(row['estimate']), signed=True, extra_decimals=1)}"
        axes.text(
            1.01, at, text, transform=axes.get_yaxis_transform(), va="center", fontsize=8, color=INK
        )


def _draw_conversion(axes: Axes, result: Result, metric: str, pairs: np.ndarray) -> None:
    """Draw what the conversion takes off: second − (offset + slope · second), against the mean."""
    verdict, say = _verdict(result, metric), read_words().say
    if not np.isfinite(float(verdict.get("slope", np.nan))):
        return
    second = np.linspace(pairs[:, 1].min(), pairs[:, 1].max(), 50)
    first = verdict["offset"] + verdict["slope"] * second
    mean, taken = shown(metric, (first + second) / 2), shown(metric, second - first)
    half = float(shown(metric, verdict["off_jump"]))
    axes.fill_between(mean, taken - half, taken + half, color=PALETTE[1], alpha=0.15, linewidth=0,
                      zorder=0, label=say("pool_figure.band"))  # fmt: skip
    axes.plot(mean, taken, color=PALETTE[1], linewidth=1.8, label=say("pool_figure.conversion"))


def _alt_text(result: Result, metric: str, jumps: int, athletes: int) -> str:
    say = read_words().say
    parts = [say("pool_figure.alt", label=metric_label(metric), jumps=jumps, athletes=athletes)]
    for statistic in ("pool_bias", "pool_limit_lower", "pool_limit_upper"):
        row = result.row(statistic, metric=metric)
        if np.isfinite(row["estimate"]):
            parts.append(
                f"{say(f'pool_figure.{statistic}')}: {interval_words(metric, row, signed=True)}."
            )
    parts += [str(s) for s in result.sentences_about(metric)[1:]]
    return " ".join(parts)
