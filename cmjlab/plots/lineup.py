"""The line-up: the real change plot hidden among others that show no effect."""

from __future__ import annotations

import math

import numpy as np

from cmjlab.plots.labels import metric_axis, metric_label, points, shown
from cmjlab.plots.style import MUTED, Picture, group_looks, picture, safe, styled
from cmjlab.results import Result

_COLUMNS = 5


@styled
def lineup_figure(result: Result) -> Picture:
    """Draw the numbered panels of a line-up (Buja et al. 2009); which one is real is not shown.

    Parameters
    ----------
    result : Result
        From ``cmjlab.stats.change.lineup``: data ``panels`` with columns panel, athlete, group,
        before, after. The answer stands in ``result.settings["real_panel"]``.

    Returns
    -------
    Picture
        One numbered panel for each data set.

    Examples
    --------
    >>> import cmjlab as cj
    >>> table = cj.simulate_sessions(seed=1, metrics=["jump_height_m"]).sessions
    >>> page = cj.lineup(table, "jump_height_m", before="base2", after="post", panels=5)
    >>> len(cj.plots.lineup_figure(page).axes) >= 5
    True
    """
    frame = points(result, "panels")
    metric = str(result.settings["metric"])
    numbers = sorted(set(frame["panel"].astype(int)))
    looks = group_looks(frame["group"], result.settings.get("groups", ()))
    groups = list(looks)
    rows = math.ceil(len(numbers) / _COLUMNS)
    columns = min(_COLUMNS, len(numbers))
    figure = picture(3.4 * columns + 1.5, 3.4 * rows + 1.6)
    grid = figure.subplots(rows, columns, sharex=True, sharey=True, squeeze=False)
    for axes in grid.ravel()[len(numbers) :]:
        axes.set_axis_off()
    for number, axes in zip(numbers, grid.ravel(), strict=False):
        part = frame[frame["panel"] == number]
        change = shown(metric, part["after"] - part["before"])
        names = part["group"].fillna("").astype(str).to_numpy()
        axes.axhline(0.0, color=MUTED, linewidth=0.7)
        for i, group in enumerate(groups):
            mine = np.sort(change[names == group])
            x = i + np.linspace(-0.3, 0.3, len(mine))
            axes.plot(
                x, mine, linestyle="none", markersize=3, markerfacecolor="white", **looks[group]
            )
            axes.plot([i - 0.35, i + 0.35], [mine.mean()] * 2, color=looks[group]["color"])
        axes.set_title(str(number))
        axes.set_xticks([])
        axes.set_xlim(-0.6, len(groups) - 0.4)
    for group in groups if groups != [""] else ():
        grid[0][0].plot([], [], linestyle="none", label=safe(group), **looks[group])
    if groups != [""]:
        figure.legend(loc="outside upper left", ncols=4, handletextpad=0.3)
    n = frame.loc[frame["panel"] == numbers[0], "athlete"].nunique()
    figure.supylabel(metric_axis(metric, n, change=True).replace(" (", "\n("), fontsize=8.5)
    figure.alt_text = lineup_alt_text(result)
    return figure


def lineup_alt_text(result: Result) -> str:
    """Return what :func:`lineup_figure` shows, in words, without giving the answer away."""
    frame = points(result, "panels")
    metric = str(result.settings["metric"])
    count = frame["panel"].nunique()
    return (
        f"{count} numbered panels of changes in {metric_label(metric)} of"
        f" {frame['athlete'].nunique()} athletes. One panel is real, in the others labels or signs"
        f" were dealt again; picking the real one blindly succeeds in 1 of {count} tries."
    )
