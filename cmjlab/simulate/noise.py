"""What a force plate adds to the athlete's force: standing sway and plate noise."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

FloatArray = NDArray[np.float64]

#: Band and number of the sinusoids of which standing sway is made (common practice, no source).
SWAY_BAND_HZ = (0.2, 6.0)
SWAY_WAVES = 30


def sway(time_s: FloatArray, sd_n: float, *, random: np.random.Generator) -> FloatArray:
    """Return slow force fluctuation of standing, newtons, shape of ``time_s``.

    Sinusoids spread over :data:`SWAY_BAND_HZ` with random phases; power falls with the square
    root of frequency. Its momentum stays bounded, as that of a standing person does.
    """
    low, high = SWAY_BAND_HZ
    edges = np.linspace(low, high, SWAY_WAVES + 1)
    frequency = random.uniform(edges[:-1], edges[1:])
    power = frequency**-0.5
    amplitude = sd_n * np.sqrt(2 * power / power.sum())
    phase = random.uniform(0, 2 * np.pi, SWAY_WAVES)
    out = np.zeros_like(time_s)
    for f, a, start in zip(frequency, amplitude, phase, strict=True):
        out += a * np.sin(2 * np.pi * f * time_s + start)
    return out


def plate_noise(shape: tuple[int, int], sd_n: float, *, random: np.random.Generator) -> FloatArray:
    """Return white noise of shape (n, n_plates) whose sum over plates has SD ``sd_n``."""
    return random.normal(0.0, sd_n / np.sqrt(shape[1]), shape)


def quantised(force_n: FloatArray, step_n: float) -> FloatArray:
    """Return force rounded to whole steps of the converter; ``step_n`` 0 leaves it as it is."""
    if step_n <= 0:
        return force_n
    return np.round(force_n / step_n) * step_n
