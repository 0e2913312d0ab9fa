"""A small drawing of force over time, as SVG that needs nothing else."""

from __future__ import annotations

import html
from collections.abc import Sequence

import numpy as np

from cmjlab.recording import FloatArray
from cmjlab.words.catalog import read_words

_WIDTH, _HEIGHT = 340, 96
#: A place of the drawing shows the lowest and highest force of its samples, so peaks stay.
_PLACES = 170


def force_drawing(force_n: FloatArray, marks: Sequence[float] = ()) -> str:
    """Return force over time as SVG, "" without a finite sample.

    Parameters
    ----------
    force_n : ndarray
        Total force in newtons; lost samples are nan.
    marks : sequence of float
        Places of vertical lines, as a share of the width.
    """
    known = force_n[np.isfinite(force_n)]
    if not len(known):
        return ""
    low, high = min(0.0, float(known.min())), float(known.max())
    reach = (high - low) or 1.0
    points = []
    parts = np.array_split(np.arange(len(force_n)), min(_PLACES, len(force_n)))
    for i, part in enumerate(parts):
        values = force_n[part]
        values = values[np.isfinite(values)]
        if len(values):
            x = (i + 0.5) / len(parts) * _WIDTH
            ends = {float(values.min()), float(values.max())}
            points += [
                f"{x:.1f},{_HEIGHT - 4 - (v - low) / reach * (_HEIGHT - 8):.1f}" for v in ends
            ]
    words = read_words().say("screen.drawing", low=f"{known.min():.0f}", high=f"{known.max():.0f}")
    lines = "".join(
        f'<line x1="{m * _WIDTH:.1f}" x2="{m * _WIDTH:.1f}" y1="0" y2="{_HEIGHT}"'
        ' stroke="currentColor" stroke-width="1" stroke-dasharray="2 3" opacity="0.5"/>'
        for m in marks
        if 0.0 <= m <= 1.0
    )
    return (
        f'<svg viewBox="0 0 {_WIDTH} {_HEIGHT}" width="{_WIDTH}" height="{_HEIGHT}" role="img"'
        f' aria-label="{html.escape(words)}" style="max-width:100%">{lines}'
        f'<polyline points="{" ".join(points)}" fill="none" stroke="currentColor"'
        ' stroke-width="1.4"/></svg>'
    )
