"""How the force leaves body weight: shapes of the unloading from onset to minimum force.

Each shape is q(x), x = 0 (onset) to 1 (minimum force), with q(0) = 0 or a step, q(1) = 1 and
q'(1) = 0, together with its first and second integrals from 0. The net force is
``-alpha * body weight * q(x)``. An onset rule that works for one shape only was fitted to it.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import NamedTuple

import numpy as np
from numpy.typing import ArrayLike, NDArray

FloatArray = NDArray[np.float64]

#: Size of the step of shape "abrupt", as a share of the whole unloading.
STEP = 0.15


class ShapeValues(NamedTuple):
    """q(x) and its first and second integral from 0, same shape as x."""

    value: FloatArray
    integral: FloatArray
    double_integral: FloatArray


def _quadratic(x: FloatArray) -> ShapeValues:
    """Raised cosine: the force leaves body weight with the square of time."""
    return ShapeValues(
        (1 - np.cos(np.pi * x)) / 2,
        (x - np.sin(np.pi * x) / np.pi) / 2,
        (x**2 / 2 + (np.cos(np.pi * x) - 1) / np.pi**2) / 2,
    )


def _linear(x: FloatArray) -> ShapeValues:
    """Quarter sine: the force leaves body weight along a straight ramp."""
    half = np.pi * x / 2
    return ShapeValues(
        np.sin(half),
        (2 / np.pi) * (1 - np.cos(half)),
        (2 / np.pi) * (x - (2 / np.pi) * np.sin(half)),
    )


def _abrupt(x: FloatArray) -> ShapeValues:
    """A step of :data:`STEP` of the unloading at once, the rest as a quarter sine."""
    ramp = _linear(x)
    stepped = np.where(x > 0, STEP, 0.0)
    return ShapeValues(
        stepped + (1 - STEP) * ramp.value,
        STEP * x + (1 - STEP) * ramp.integral,
        STEP * x**2 / 2 + (1 - STEP) * ramp.double_integral,
    )


def _creeping(x: FloatArray) -> ShapeValues:
    """Fourth power of time first: hardly visible for a long while."""
    return ShapeValues(x**4 * (5 - 4 * x), x**5 - (2 / 3) * x**6, x**6 / 6 - (2 / 21) * x**7)


def _rise_first(x: FloatArray) -> ShapeValues:
    """A small rise above body weight (5 % of the unloading) before the drop."""
    return ShapeValues(
        -3 * x**2 + 10 * x**3 - 6 * x**4,
        -(x**3) + 2.5 * x**4 - 1.2 * x**5,
        -(x**4) / 4 + 0.5 * x**5 - 0.2 * x**6,
    )


def _polynomial(*terms: tuple[float, float]) -> Callable[[FloatArray], ShapeValues]:
    """Return the shape Σ c xᵏ from its terms (k, c)."""

    def shape(x: FloatArray) -> ShapeValues:
        return ShapeValues(
            np.asarray(sum(c * x**k for k, c in terms)),
            np.asarray(sum(c * x ** (k + 1) / (k + 1) for k, c in terms)),
            np.asarray(sum(c * x ** (k + 2) / ((k + 1) * (k + 2)) for k, c in terms)),
        )

    return shape


def _power(p: float) -> Callable[[FloatArray], ShapeValues]:
    """Return a shape that begins with the p-th power of time: (1 + p) xᵖ − p xᵖ⁺¹."""
    return _polynomial((p, 1 + p), (p + 1, -p))


#: Shapes by name; the last seven are there for tests of rules that were made on the others.
ONSET_SHAPES: dict[str, Callable[[FloatArray], ShapeValues]] = {
    "quadratic": _quadratic,
    "linear": _linear,
    "abrupt": _abrupt,
    "creeping": _creeping,
    "rise_first": _rise_first,
    "steep": _power(0.7),
    "ramp": _power(1.0),
    "bent": _power(1.5),
    "cubic": _power(3.0),
    "smooth": _polynomial((3, 10.0), (4, -15.0), (5, 6.0)),
    "toe": _polynomial((1, 0.3), (4, 3.8), (5, -3.1)),
    "late": _polynomial((2, 1.0), (6, 2.0), (7, -2.0)),
}


def shape_values(name: str, x: ArrayLike) -> ShapeValues:
    """Return q and its integrals of the shape ``name`` at ``x`` (0 to 1)."""
    return ONSET_SHAPES[name](np.asarray(x, dtype=np.float64))


def shape_totals(name: str) -> tuple[float, float]:
    """Return the first and second integral of a shape over its whole length."""
    whole = shape_values(name, 1.0)
    return float(whole.integral), float(whole.double_integral)
