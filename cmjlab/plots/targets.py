"""The small picture of one target: its interval, no change, and the amount that was wanted."""

from __future__ import annotations

import math
from collections.abc import Mapping
from typing import Any

from cmjlab.plots.labels import shown, value_text
from cmjlab.plots.style import INK, MATTERS, MUTED, Picture, picture, styled

#: Width and height in cm: it stands in a cell of a table.
_SIZE_CM = (4.4, 0.75)
_MARGIN = 1.08


@styled
def target_picture(target: Mapping[str, Any], look: Mapping[str, Any]) -> Picture:
    """Return the interval of one target as a picture for a cell.

    The axis has the measure's own direction (more to the right) and is as wide as the interval
    or the amount needs; zero stands in the middle. *Unchanged* has the amount on both sides.

    Parameters
    ----------
    target : mapping
        A row of the table of answers: metric, wanted, amount, change, change_low, change_high.
    look : mapping
        Colour and marker of the subgroup.
    """
    metric, wanted = str(target["metric"]), str(target["wanted"])
    change, low, high, amount = (
        float(shown(metric, float(target[c])))
        for c in ("change", "change_low", "change_high", "amount")
    )
    figure = picture(*_SIZE_CM)
    axes = figure.subplots()
    axes.set_axis_off()
    lines = _wanted_lines(wanted, amount)
    sizes = [abs(v) for v in (change, low, high, *lines) if math.isfinite(v)]
    reach = _MARGIN * max(sizes, default=1.0) or 1.0
    axes.set_xlim(-reach, reach)
    axes.set_ylim(-1.0, 1.0)
    if wanted == "unchanged" and lines:
        axes.axvspan(-amount, amount, color=MATTERS, linewidth=0, zorder=0)
    axes.axvline(0.0, color=MUTED, linewidth=1.0, zorder=1)
    for line in lines:
        axes.axvline(line, color=INK, linewidth=1.0, linestyle=(0, (3, 2)), zorder=2)
    if math.isfinite(low) and math.isfinite(high):
        axes.plot([low, high], [0, 0], color=look["color"], linewidth=2.6,
                  solid_capstyle="butt", zorder=3)  # fmt: skip
    if math.isfinite(change):
        axes.plot([change], [0], marker=look["marker"], color=look["color"], markersize=6, zorder=4)
    figure.alt_text = _alt_text(target)
    return figure


@styled
def no_picture(why: str) -> Picture:
    """Return an empty picture for the cell of a target that is not shown, with why as its alt text."""
    figure = picture(*_SIZE_CM)
    figure.subplots().set_axis_off()
    figure.alt_text = why
    return figure


def _wanted_lines(wanted: str, amount: float) -> list[float]:
    """Return where the dashed lines stand."""
    if not math.isfinite(amount):
        return []
    return {"more": [amount], "less": [-amount], "unchanged": [-amount, amount]}[wanted]


def _alt_text(target: Mapping[str, Any]) -> str:
    metric, wanted = str(target["metric"]), str(target["wanted"])
    change, low, high = (float(target[c]) for c in ("change", "change_low", "change_high"))
    size = float(target["amount"])
    aim = {
        "more": value_text(metric, size, signed=True),
        "less": value_text(metric, -size, signed=True),
        "unchanged": f"±{value_text(metric, size)}",
    }[wanted]
    amount = f"; dashed line: the amount, {aim}" if math.isfinite(size) else ""
    if not math.isfinite(low):
        return f"No interval{amount}."
    texts = [value_text(metric, v, signed=True) for v in (change, low, high)]
    return f"Change {texts[0]}, interval {texts[1]} to {texts[2]}; solid line: no change{amount}."
