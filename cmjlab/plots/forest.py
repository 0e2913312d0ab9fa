"""One estimate a line with its interval: the shape that several figures share."""

from __future__ import annotations

import textwrap
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from matplotlib.axes import Axes

from cmjlab.plots.style import INK, MARKERS, PALETTE, safe

#: Width and number of lines of the words at the right edge.
_CHARACTERS, _LINES = 44, 3


@dataclass(frozen=True)
class Line:
    """One line of a forest; numbers in the unit of the figure, nan limits for no interval."""

    label: str
    estimate: float
    low: float
    high: float
    color: str = PALETTE[0]
    marker: str = MARKERS[0]
    text: str = ""
    filled: bool = True


def draw_forest(axes: Axes, lines: Sequence[Line], *, values: bool = True) -> None:
    """Draw lines from top to bottom; the numbers stand at the right edge in words.

    A line without a number shows its text ("not estimable: …") in place of the mark.
    """
    for row, line in enumerate(lines):
        y = len(lines) - 1 - row
        if np.isfinite(line.estimate):
            if np.isfinite(line.low) and np.isfinite(line.high):
                axes.plot([line.low, line.high], [y, y], color=line.color, linewidth=1.8,
                          solid_capstyle="butt", zorder=3)  # fmt: skip
            axes.plot([line.estimate], [y], marker=line.marker, color=line.color, markersize=6,
                      markerfacecolor=line.color if line.filled else "white", zorder=4)  # fmt: skip
        if values and line.text:
            axes.text(1.02, y, _shortened(line.text), transform=axes.get_yaxis_transform(), va="center",
                      fontsize=8, color=INK)  # fmt: skip
    axes.set_yticks(range(len(lines)), [safe(line.label) for line in lines][::-1])
    axes.set_ylim(-0.6, len(lines) - 0.4)
    axes.tick_params(axis="y", length=0)
    axes.spines["left"].set_visible(False)
    axes.grid(axis="x", color="#dfe3e7", linewidth=0.6)


def _shortened(text: str) -> str:
    """Return a text in lines that leave the figure its room; the table beside it says all."""
    lines = textwrap.wrap(text, _CHARACTERS)
    if len(lines) > _LINES:
        lines = [
            *lines[: _LINES - 1],
            textwrap.shorten(" ".join(lines[_LINES - 1 :]), _CHARACTERS, placeholder=" …"),
        ]
    return safe("\n".join(lines))
