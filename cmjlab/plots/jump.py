"""One jump as a figure: force, power, velocity and displacement by phases, flags in words."""

from __future__ import annotations

import math

from matplotlib.axes import Axes
from matplotlib.gridspec import GridSpec
from matplotlib.transforms import blended_transform_factory

from cmjlab.jump_types import Jump
from cmjlab.plots.jump_panels import (
    draw_displacement,
    draw_force,
    draw_phases,
    draw_power,
    draw_velocity,
    draw_whole,
    motion_known_until,
    name_phases,
    phase_spans,
    view_of,
)
from cmjlab.plots.jump_words import flag_lines, jump_alt_text, jump_title
from cmjlab.plots.placing import place_labels, settle
from cmjlab.plots.style import Picture, picture, styled, wrapped

__all__ = ["jump_alt_text", "jump_figure", "jump_title"]

#: Heights, cm.
_WHOLE, _NAMES, _FORCE, _SMALL, _LINE, _REST = 0.9, 1.5, 5.0, 2.0, 0.4, 2.9
_TITLE_WIDTH = 76


@styled
def jump_figure(jump: Jump) -> Picture:
    """Draw one jump.

    Parameters
    ----------
    jump : Jump
        From :func:`cmjlab.measure`; one without a flight is drawn too, as force only.

    Returns
    -------
    Picture
        Top: the whole recording with the weighing window. Below: total force (N) with phases
        as tints with name and duration and events as named marks, one line style per plate;
        power (W, up to take-off), velocity (m/s) and displacement (cm), as far as they are
        known: without a height they are not. Bottom: flags in words. Time is on the file's
        own clock (s).

    Examples
    --------
    >>> import cmjlab as cj
    >>> jump = cj.measure(cj.simulate_jump(seed=1).recording)
    >>> cj.plots.jump_figure(jump).alt_text[:28]
    'Vertical force against time.'
    """
    motion = not math.isnan(motion_known_until(jump))
    flags = flag_lines(jump, motion=motion)
    view = view_of(jump)
    names_height = _NAMES if phase_spans(jump, view) else 0.1
    heights = [_WHOLE, _FORCE, names_height, *([_SMALL] * 3 if motion else [])]
    heights.append(_LINE * len(flags) + 0.1)
    figure = picture(height_cm=sum(heights) + _REST)
    grid = figure.add_gridspec(len(heights), 1, height_ratios=heights)
    draw_whole(figure.add_subplot(grid[0]), jump, view)
    force = figure.add_subplot(grid[1])
    marks = draw_force(force, jump, view)
    names = figure.add_subplot(grid[2], sharex=force)
    names.set_axis_off()
    panels = [force]
    peak = []
    if motion:
        panels += _small_panels(figure, grid, force)
        peak = draw_power(panels[1], jump, view)
        draw_velocity(panels[2], jump, view)
        draw_displacement(panels[3], jump, view)
    for panel in [names, *panels]:
        draw_phases(panel, jump, view)
        panel.set_xlim(view.start, view.stop)
        panel.tick_params(labelbottom=panel is panels[-1])
    panels[-1].set_xlabel("Time on the file's clock (s)")
    figure.align_ylabels(panels)
    _write_flags(figure, figure.add_subplot(grid[-1]), flags)
    title = wrapped(jump_title(jump), _TITLE_WIDTH)
    figure.suptitle(title, x=0.01, ha="left", fontsize=9.5, fontweight="bold")
    figure.alt_text = jump_alt_text(jump)
    settle(figure)
    name_phases(names, jump, view)
    place_labels(force, marks)
    if motion:
        place_labels(panels[1], peak)
    return figure


def _small_panels(figure: Picture, grid: GridSpec, force: Axes) -> list[Axes]:
    return [figure.add_subplot(grid[3 + number], sharex=force) for number in range(3)]


def _write_flags(figure: Picture, axes: Axes, flags: list[str]) -> None:
    """Write the flags below, from the left edge of the figure on."""
    axes.set_axis_off()
    place = blended_transform_factory(figure.transFigure, axes.transAxes)
    text = axes.text(0.01, 1, "\n".join(flags), va="top", fontsize=8, transform=place)
    text.set_in_layout(False)
