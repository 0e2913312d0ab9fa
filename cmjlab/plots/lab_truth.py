"""Figure of a lab's truth: which part of each typical error instrument and method make."""

from __future__ import annotations

from typing import Any

import numpy as np
from matplotlib.axes import Axes

from cmjlab.plots.labels import metric_label, points, value_text
from cmjlab.plots.style import (
    INK,
    PALETTE,
    Picture,
    described,
    legend_beside,
    one_panel,
    styled,
    wrapped,
)
from cmjlab.results import Result
from cmjlab.words.catalog import read_words

#: Height of one bar and of what stands around the bars, cm.
_BAR_CM, _AROUND_CM = 1.0, 2.6
_CHARACTERS = 30


@styled
def instrument_share_figure(result: Result, *, ax: Axes | None = None) -> Picture:
    """Draw which part of the variance of each typical error instrument and method make.

    Parameters
    ----------
    result : Result
        From :func:`cmjlab.lab_truth`.
    ax : matplotlib.axes.Axes, optional
        Axes of your own to draw in; default a figure of its own.

    Returns
    -------
    Picture
        A bar of 100 % for each measure: dark the part of instrument and method with the interval
        of its border, light the rest, which is biology. At the right the typical error itself.

    Examples
    --------
    >>> import cmjlab as cj
    >>> study = cj.Study.open(cj.demo_study())
    >>> truth = cj.lab_truth(study, "jump_height_m", profiles=3, repeats=3, most=10)
    >>> cj.plots.instrument_share_figure(truth).alt_text[:20]
    'Share of instrument '
    """
    shares = points(result, "shares")
    figure, axes = one_panel(ax, height_cm=_AROUND_CM + _BAR_CM * len(shares))
    rows = shares.to_dict("records")
    for place, row in enumerate(rows[::-1]):
        _bar(axes, place, row)
    _labelled(axes, [str(row["metric"]) for row in rows[::-1]])
    handles, names = axes.get_legend_handles_labels()
    first = dict(zip(names, handles, strict=True))
    legend_beside(figure, axes, "outside upper right", handles=list(first.values()),
                  labels=list(first), ncols=3)  # fmt: skip
    say = read_words().say
    parts = [_in_words(row) for row in rows]
    return described(figure, " ".join([say("lab_figure.alt"), *parts]))


def _bar(axes: Axes, place: int, row: dict[str, Any]) -> None:
    """Draw one measure: its two parts and the interval of the border between them."""
    say = read_words().say
    share, low, high = (float(row[c]) for c in ("share", "low", "high"))
    error = value_text(str(row["metric"]), float(row["typical_error"]), extra_decimals=1)
    known = np.isfinite(float(row["typical_error"]))
    axes.text(
        102, place, error if known else "–", va="center", fontsize=8, color=INK, clip_on=False
    )
    if not np.isfinite(share):
        axes.text(1, place, wrapped(say("lab_figure.unknown", why=row["text"]), 80), va="center",
                  fontsize=8, color=INK)  # fmt: skip
        return
    axes.barh(place, share, height=0.55, color=PALETTE[0], label=say("lab_figure.instrument"))
    axes.barh(place, 100 - share, left=share, height=0.55, color="#d5dae1",
              label=say("lab_figure.biology"))  # fmt: skip
    if np.isfinite(low) and np.isfinite(high):
        axes.plot([low, min(high, 100)], [place, place], color=PALETTE[1], linewidth=2.2,
                  solid_capstyle="butt", label=say("lab_figure.interval"))  # fmt: skip
        if high > 100:
            axes.plot([100], [place], marker=">", color=PALETTE[1], markersize=5, clip_on=False)


def _labelled(axes: Axes, metrics: list[str]) -> None:
    say = read_words().say
    axes.set_yticks(range(len(metrics)), [wrapped(metric_label(m), _CHARACTERS) for m in metrics])
    axes.set_ylim(-0.6, len(metrics) - 0.4)
    axes.set_xlim(0, 100)
    axes.tick_params(axis="y", length=0)
    axes.spines["left"].set_visible(False)
    axes.set_xlabel(say("lab_figure.axis"))
    axes.text(102, len(metrics) - 0.4, say("lab_figure.error"), va="bottom", fontsize=8, color=INK,
              clip_on=False)  # fmt: skip


def _in_words(row: dict[str, Any]) -> str:
    say, label = read_words().say, metric_label(str(row["metric"]))
    if not np.isfinite(float(row["share"])):
        return say("lab_figure.alt_unknown", label=label, why=row["text"])
    numbers = {k: float(row[k]) for k in ("share", "low", "high")}
    return say("lab_figure.alt_share", label=label, **numbers)
