"""A figure as a blurred grey picture, and how far two of them differ.

The blur forgives another version of the font engine (without hinting of letters at most 0.2 % of a
picture differ, measured on six kinds); a band or a mark that moved is another picture (a band a third
wider: 4 %; one wider by a tenth is not noticed).
"""

from __future__ import annotations

from pathlib import Path
from typing import Any

import numpy as np
from matplotlib import pyplot as plt
from matplotlib.backends.backend_agg import FigureCanvasAgg
from scipy.ndimage import gaussian_filter

FOLDER = Path(__file__).parent.parent / "data" / "pictures"
#: Dots an inch, blur in dots, difference of grey that counts (of 1), share of the picture allowed.
DPI, BLUR, STEP, SHARE = 60, 6, 0.05, 0.01


def coarse(figure: Any) -> np.ndarray:
    """Return the blurred grey of a figure, 0 black to 1 white, at every few dots."""
    figure.set_dpi(DPI)
    canvas = FigureCanvasAgg(figure)
    canvas.draw()
    grey = np.asarray(canvas.buffer_rgba())[..., :3].mean(axis=2) / 255.0
    return gaussian_filter(grey, BLUR)[::BLUR, ::BLUR]


def share_apart(one: np.ndarray, other: np.ndarray) -> float:
    """Return the share of a picture that differs; 1 for pictures of another shape."""
    if one.shape != other.shape:
        return 1.0
    return float((np.abs(one - other) > STEP).mean())


def kept(name: str) -> np.ndarray:
    """Return a picture that was looked at and kept."""
    return plt.imread(FOLDER / f"{name}.png")[..., 0].astype(float)


def keep(name: str, picture: np.ndarray) -> None:
    """Write a picture that was looked at, as a grey PNG."""
    FOLDER.mkdir(exist_ok=True)
    plt.imsave(FOLDER / f"{name}.png", np.repeat(picture[..., None], 3, axis=2), vmin=0, vmax=1)
