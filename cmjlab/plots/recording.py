"""The force of a recording over time, before anything is measured."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from cmjlab.plots.jump_words import plate_name, sum_name
from cmjlab.plots.style import (
    MUTED,
    PALETTE,
    Picture,
    described,
    legend_beside,
    one_panel,
    safe,
    styled,
)

if TYPE_CHECKING:
    from matplotlib.axes import Axes

    from cmjlab.recording import Recording

#: More points than this are not seen: each drawn point is then the first of several.
_MOST_POINTS = 20_000


@styled
def recording_figure(recording: Recording, *, ax: Axes | None = None) -> Picture:
    """Draw the force of every plate and their sum as they were read.

    Parameters
    ----------
    recording : Recording
        Force in newtons; lost samples are gaps.
    ax : matplotlib.axes.Axes, optional
        Axes of your own to draw in; default a figure of its own.

    Returns
    -------
    Picture
        Force (N) over time on the file's own clock (s). Nothing is filtered.

    Examples
    --------
    >>> import cmjlab as cj
    >>> figure = cj.plots.recording_figure(cj.simulate_jump(seed=1).recording)
    >>> figure.alt_text[:29]
    'Force over time: 5.71 seconds'
    """
    step = max(1, -(-recording.n_samples // _MOST_POINTS))
    time = recording.time_s[::step]
    figure, axes = one_panel(ax, height_cm=7.0)
    single = [p for p in recording.plates if p != "total"]
    if len(single) > 1:
        for i, plate in enumerate(single):
            axes.plot(time, recording.plate(plate)[::step], linewidth=0.9,
                      color=PALETTE[(i + 1) % len(PALETTE)], label=safe(plate_name(plate)))  # fmt: skip
    axes.plot(time, recording.total_n[::step], color=PALETTE[0], label=safe(sum_name(recording)))
    axes.axhline(0.0, color=MUTED, linewidth=0.7)
    axes.set_xlabel("Time (s)")
    axes.set_ylabel("Force on the plate (N)")
    if len(axes.lines) > 2:
        legend_beside(figure, axes, "outside upper left", ncols=len(axes.lines))
    return described(figure, recording_alt_text(recording))


def recording_alt_text(recording: Recording) -> str:
    """Return what :func:`recording_figure` shows, in words."""
    total = recording.total_n[np.isfinite(recording.total_n)]
    ends = f" from {total.min():.0f} to {total.max():.0f} N" if len(total) else ""
    return (
        f"Force over time: {recording.duration_s:.2f} seconds at {recording.rate_hz:g} samples a"
        f" second, {', '.join(recording.plates)}{ends}."
    )
