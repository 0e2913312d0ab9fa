"""A change beside the noise of its test, as a small bar for a cell of a table.

It is written as SVG by hand: a squad has many rows, and a drawn figure for each takes seconds.
Nothing hangs on colour: a change beyond the noise is a full bar, one within it an empty one.
"""

from __future__ import annotations

import math

from cmjlab.plots.style import INK, MATTERS, MUTED

_WIDTH, _HEIGHT = 120.0, 18.0
WIDTH_CM = 2.6


def change_bar(change: float, noise: float, reach: float) -> str:
    """Return the SVG text of one bar.

    Parameters
    ----------
    change : float
        The change; nan draws the band only.
    noise : float
        Largest change that noise alone makes (half the interval of the change): the band.
    reach : float
        Value at the ends of the axis, the same for all rows of a table.
    """
    middle = _WIDTH / 2

    def at(value: float) -> float:
        return middle + (middle - 2) * max(-1.0, min(1.0, value / reach))

    parts = [
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {_WIDTH:g} {_HEIGHT:g}">',
        f'<line x1="2" y1="9" x2="{_WIDTH - 2:g}" y2="9" stroke="{MUTED}" stroke-width="0.6"/>',
    ]
    if math.isfinite(noise):
        left, right = at(-noise), at(noise)
        parts.append(
            f'<rect x="{left:.1f}" y="1.5" width="{right - left:.1f}" height="15" fill="{MATTERS}"'
            f' stroke="{MUTED}" stroke-width="0.6" stroke-dasharray="2 1.5"/>'
        )
    if math.isfinite(change):
        beyond = math.isfinite(noise) and abs(change) > noise
        left, right = sorted((middle, at(change)))
        fill = INK if beyond else "#ffffff"
        parts.append(
            f'<rect x="{left:.1f}" y="5.5" width="{max(right - left, 0.8):.1f}" height="7"'
            f' fill="{fill}" stroke="{INK}" stroke-width="1"/>'
        )
    parts.append(
        f'<line x1="{middle:g}" y1="0" x2="{middle:g}" y2="{_HEIGHT:g}" stroke="{INK}" stroke-width="1.2"/>'
    )
    return "".join([*parts, "</svg>"])
