"""The flow of participants and jumps as boxes, in the manner of CONSORT diagrams.

Source of the form: CONSORT 2010 statement, flow diagram (Schulz et al. 2010, from memory); who
left and what was taken out stands at the right of each step, with the reason.
"""

from __future__ import annotations

import textwrap
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from matplotlib.patches import Rectangle

from cmjlab.errors import ArgumentError
from cmjlab.plots.style import INK, MUTED, TEXT_WIDTH_CM, Picture, picture, safe, styled

_WIDE, _LINE, _PAD, _GAP = TEXT_WIDTH_CM, 0.4, 0.18, 0.45
_MAIN, _ASIDE = (0.1, 8.8), (9.6, 7.3)  # left edge and width of both columns, cm
_MAIN_CHARACTERS, _ASIDE_CHARACTERS = 51, 44


@dataclass(frozen=True)
class FlowStep:
    """One step: what is in it, and what left here (nothing: no box at the right).

    Attributes
    ----------
    lines : tuple of str
        Lines of the box.
    aside : tuple of str
        Lines of the box at the right.

    Examples
    --------
    >>> import cmjlab as cj
    >>> cj.plots.FlowStep(("30 athletes",), ("1 ill",)).lines
    ('30 athletes',)
    """

    lines: tuple[str, ...]
    aside: tuple[str, ...] = ()


@styled
def flow_figure(steps: Sequence[FlowStep]) -> Picture:
    """Draw steps from top to bottom with arrows; what left stands at the right.

    Parameters
    ----------
    steps : sequence of FlowStep
        At least one. Long texts are broken into lines.

    Returns
    -------
    Picture
        Boxes from top to bottom, what left at the right.

    Raises
    ------
    ArgumentError
        No step was given.

    Examples
    --------
    >>> import cmjlab as cj
    >>> steps = [cj.plots.FlowStep(("30 athletes",)), cj.plots.FlowStep(("29 tested",), ("1 ill",))]
    >>> cj.plots.flow_figure(steps).alt_text[:24]
    'Flow from top to bottom:'
    """
    if not steps:
        raise ArgumentError("steps: there is no step to draw; give at least one FlowStep.")
    left = [_broken(s.lines, _MAIN_CHARACTERS) for s in steps]
    right = [_broken(s.aside, _ASIDE_CHARACTERS) for s in steps]
    heights = [max(len(a), len(b)) * _LINE + 2 * _PAD for a, b in zip(left, right, strict=True)]
    total = sum(heights) + _GAP * (len(steps) - 1) + 0.2
    figure = picture(_WIDE, total)
    figure.set_layout_engine("none")
    axes = figure.add_axes((0, 0, 1, 1))
    axes.set_axis_off()
    axes.set_xlim(0, _WIDE)
    axes.set_ylim(total, 0)
    top, middle = 0.1, _MAIN[0] + _MAIN[1] / 2
    for number, height in enumerate(heights):
        centre = top + height / 2
        _box(axes, _MAIN, centre, left[number], bold=True)
        if right[number]:
            _arrow(axes, (_MAIN[0] + _MAIN[1], centre), (_ASIDE[0], centre))
            _box(axes, _ASIDE, centre, right[number], bold=False)
        if number + 1 < len(steps):
            ours = len(left[number]) * _LINE / 2 + _PAD
            theirs = len(left[number + 1]) * _LINE / 2 + _PAD
            next_centre = top + height + _GAP + heights[number + 1] / 2
            _arrow(axes, (middle, centre + ours), (middle, next_centre - theirs))
        top += height + _GAP
    figure.alt_text = flow_alt_text(steps)
    return figure


def flow_alt_text(steps: Sequence[FlowStep]) -> str:
    """Return what :func:`flow_figure` shows, in words."""
    parts = []
    for step in steps:
        text = "; ".join(step.lines)
        parts.append(f"{text} (out here: {'; '.join(step.aside)})" if step.aside else text)
    return "Flow from top to bottom: " + ". Then ".join(parts) + "."


def _broken(lines: Sequence[str], width: int) -> list[str]:
    return [part for line in lines for part in textwrap.wrap(line, width) or [""]]


def _box(
    axes: Any, column: tuple[float, float], centre: float, lines: list[str], *, bold: bool
) -> None:
    """Draw one box around its lines; the first line of a main box is bold."""
    left, width = column
    height = len(lines) * _LINE + 2 * _PAD
    axes.add_patch(
        Rectangle((left, centre - height / 2), width, height, facecolor="white",
                  edgecolor=INK if bold else MUTED, linewidth=0.9)
    )  # fmt: skip
    for row, line in enumerate(lines):
        axes.text(
            left + 0.25, centre - height / 2 + _PAD + (row + 0.5) * _LINE, safe(line),
            va="center", fontsize=8, fontweight="bold" if bold and row == 0 else "normal",
        )  # fmt: skip


def _arrow(axes: Any, start: tuple[float, float], end: tuple[float, float]) -> None:
    axes.annotate(
        "", end, xytext=start,
        arrowprops={"arrowstyle": "-|>", "color": MUTED, "linewidth": 0.9,
                    "shrinkA": 0, "shrinkB": 0, "mutation_scale": 8},
    )  # fmt: skip
