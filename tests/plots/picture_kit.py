"""A figure as a blurred grey picture, and how far two of them differ.

The blur forgives another version of the font engine; a band or a mark that moved is another picture
(a band a third wider: several per cent of the figure differ; one wider by a tenth is not noticed).
The pictures that were looked at are those of the gallery (``notebooks/site/draw_gallery.py``).
"""

from __future__ import annotations

import importlib.util
from typing import Any

import numpy as np
from matplotlib import pyplot as plt
from matplotlib.backends.backend_agg import FigureCanvasAgg
from places import ROOT
from scipy.ndimage import gaussian_filter

#: Blur in dots, difference of grey that counts (of 1), share of the picture allowed.
BLUR, STEP, SHARE = 10, 0.05, 0.01


def draw_gallery() -> Any:
    """Return the script that draws the gallery, as a module."""
    path = ROOT / "notebooks" / "site" / "draw_gallery.py"
    found = importlib.util.spec_from_file_location("draw_gallery", path)
    module = importlib.util.module_from_spec(found)
    found.loader.exec_module(module)
    return module


GALLERY = draw_gallery()


def coarse(figure: Any) -> np.ndarray:
    """Return the blurred grey of a figure, 0 black to 1 white, at every few dots."""
    figure.set_dpi(GALLERY.DPI)
    canvas = FigureCanvasAgg(figure)
    canvas.draw()
    return _blurred(np.asarray(canvas.buffer_rgba()) / 255.0)


def kept(name: str) -> np.ndarray:
    """Return a picture of the gallery in the same way."""
    return _blurred(plt.imread(GALLERY.PICTURES / f"{name}.png"))


def share_apart(one: np.ndarray, other: np.ndarray) -> float:
    """Return the share of a picture that differs; 1 for pictures of another shape."""
    if one.shape != other.shape:
        return 1.0
    return float((np.abs(one - other) > STEP).mean())


def _blurred(picture: np.ndarray) -> np.ndarray:
    grey = picture[..., :3].astype(float).mean(axis=2)
    return gaussian_filter(grey, BLUR)[::BLUR, ::BLUR]
