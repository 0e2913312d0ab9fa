"""Labels of a figure where they overprint neither each other nor the curves.

Labels are placed after the layout of the figure is settled, by their measured size: each goes
to the first of several places round its mark that is free, or to the one that covers least.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.text import Annotation, Text
from matplotlib.transforms import Bbox
from numpy.typing import NDArray

from cmjlab.plots.style import INK, MUTED

#: Distances from the mark that are tried, points; beyond the first a line leads to the mark.
_DISTANCES = (7.0, 18.0, 32.0, 48.0, 66.0, 90.0)
#: Directions that are tried, in turn after the wanted one: (x, y) in units of the distance.
_DIRECTIONS = ((-1.0, 0.6), (-1.0, -0.6), (1.0, 0.6), (1.0, -0.6), (0.0, 1.0), (0.0, -1.0))
#: Free space round a label, points.
_MARGIN = 1.5
_SIZE = 8.0


@dataclass(frozen=True)
class Label:
    """A text for the mark at (x, y) of the data, and where it stands best."""

    text: str
    x: float
    y: float
    wanted: tuple[float, float]


def settle(figure: Figure) -> None:
    """Lay out the figure for good, so that what is measured stays true."""
    figure.draw_without_rendering()
    figure.set_layout_engine("none")


def size_of(text: Text) -> tuple[float, float]:
    """Return width and height of a text, points."""
    figure = text.get_figure(root=True)
    assert figure is not None
    box = Text.get_window_extent(text)
    return box.width * 72.0 / figure.dpi, box.height * 72.0 / figure.dpi


def place_labels(axes: Axes, labels: Sequence[Label], taken: Iterable[Text] = ()) -> None:
    """Write labels beside their marks; the figure is settled before.

    Parameters
    ----------
    axes : Axes
        Panel with the marks; labels stay inside it.
    labels : sequence of Label
        In order of importance: the first ones choose first.
    taken : iterable of Text
        Texts that are there already.
    """
    figure = axes.get_figure(root=True)
    assert figure is not None
    scale = figure.dpi / 72.0
    boxes = [Text.get_window_extent(t) for t in taken]
    curves = _curve_points(axes)
    for label in labels:
        note = _written(axes, label)
        width, height = size_of(note)
        mark = axes.transData.transform((label.x, label.y))
        best = min(
            _places(label.wanted),
            key=lambda place: _cost(
                _box(mark, place, (width, height), scale), axes.bbox, boxes, curves, place[2]
            ),
        )
        dx, dy, _ = best
        box = _box(mark, best, (width, height), scale)
        boxes.append(box)
        note.set_position(
            (
                (box.x0 + box.x1 - 2 * mark[0]) / 2 / scale,
                (box.y0 + box.y1 - 2 * mark[1]) / 2 / scale,
            )
        )
        near = max(abs(dx), abs(dy)) <= _DISTANCES[0]
        if note.arrow_patch is not None:
            note.arrow_patch.set_visible(not near)


def _written(axes: Axes, label: Label) -> Annotation:
    note = axes.annotate(
        label.text, (label.x, label.y), xytext=(0, 0), textcoords="offset points",
        ha="center", va="center", fontsize=_SIZE, color=INK, zorder=6, annotation_clip=False,
        arrowprops={"arrowstyle": "-", "color": MUTED, "linewidth": 0.6, "shrinkA": 0, "shrinkB": 3},
    )  # fmt: skip
    note.set_in_layout(False)
    return note


def _places(wanted: tuple[float, float]) -> list[tuple[float, float, int]]:
    """Return places as offsets in points and rank, the wanted one first."""
    directions = [wanted, *(d for d in _DIRECTIONS if d != wanted)]
    steps = [(r * dx, r * dy) for r in _DISTANCES for dx, dy in directions]
    return [(dx, dy, rank) for rank, (dx, dy) in enumerate(steps)]


def _box(
    mark: NDArray[np.float64],
    place: tuple[float, float, int],
    size: tuple[float, float],
    scale: float,
) -> Bbox:
    """Return the box of a text that stands off its mark by a place, pixels."""
    dx, dy, _ = place
    width, height = size
    x = dx + np.sign(dx) * width / 2
    y = dy + np.sign(dy) * height / 2
    middle = (mark[0] + scale * x, mark[1] + scale * y)
    half = (scale * (width / 2 + _MARGIN), scale * (height / 2 + _MARGIN))
    return Bbox.from_extents(
        middle[0] - half[0], middle[1] - half[1], middle[0] + half[0], middle[1] + half[1]
    )


def _cost(
    box: Bbox, panel: Bbox, taken: Sequence[Bbox], curves: NDArray[np.float64], rank: int
) -> float:
    """Return how bad a place is: outside or on a text is worst, then on a curve, then far off."""
    over = sum(1 for other in taken if box.overlaps(other))
    out = not (
        box.x0 >= panel.x0 and box.x1 <= panel.x1 and box.y0 >= panel.y0 and box.y1 <= panel.y1
    )
    inside = (
        (curves[:, 0] > box.x0)
        & (curves[:, 0] < box.x1)
        & (curves[:, 1] > box.y0)
        & (curves[:, 1] < box.y1)
    )
    return 1e6 * (over + out) + 10.0 * bool(inside.any()) + 0.05 * float(inside.sum()) + 0.4 * rank


def _curve_points(axes: Axes) -> NDArray[np.float64]:
    """Return points of the curves of a panel, close together, pixels."""
    parts = [np.empty((0, 2))]
    for line in axes.lines:
        data = np.asarray(line.get_xydata(), dtype=np.float64)
        if (
            data.shape[0] < 1
            or not np.isfinite(data).any()
            or line.get_transform() != axes.transData
        ):
            continue
        at = axes.transData.transform(data[np.isfinite(data).all(axis=1)])
        parts.append(_closely(at))
    return np.vstack(parts)


def _closely(points: NDArray[np.float64]) -> NDArray[np.float64]:
    """Return points on a line with steps of at most about two pixels."""
    if points.shape[0] < 2:
        return points
    along = np.concatenate([[0.0], np.cumsum(np.hypot(*np.diff(points, axis=0).T))])
    steps = np.linspace(0.0, along[-1], max(2, int(along[-1] / 2.0)))
    return np.column_stack([np.interp(steps, along, points[:, k]) for k in (0, 1)])
