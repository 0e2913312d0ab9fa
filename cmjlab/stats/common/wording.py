"""Plain sentences from the numbers: the estimate, its interval, and what cannot be told.

No word here grades a probability, none says "significant", and no direction is stated
without the interval beside it.
"""

from __future__ import annotations

import numpy as np

from cmjlab.stats.common.tables import label_of, unit_of
from cmjlab.units import show, shown_unit, to_shown

MINUS = "−"


def signed(value: float, unit: str, *, extra_decimals: int = 0, with_unit: bool = True) -> str:
    """Return a value with its sign, in the unit and decimals that a person reads."""
    text = show(value, unit, with_unit=with_unit, extra_decimals=extra_decimals)
    if text == "–":
        return text
    number = float(text.split()[0])
    return f"+{text}" if number > 0 else text.replace("-", MINUS, 1)


def interval_text(low: float, high: float, unit: str, level: float) -> str:
    """Return ``"95 % interval +0.3 to +1.2 cm"``."""
    return f"{percent(level)} interval {signed(low, unit, with_unit=False)} to {signed(high, unit)}"


def percent(level: float) -> str:
    """Return a level as text, ``0.95`` as ``"95 %"``."""
    return f"{100 * level:g} %"


def name_of(metric: str) -> str:
    """Return the metric's label for the start of a sentence."""
    return label_of(metric)


def direction(low: float, high: float) -> str:
    """Return which directions the interval leaves open, in words."""
    if not (np.isfinite(low) and np.isfinite(high)):
        return ""
    if low > 0:
        return "The interval holds only increases."
    if high < 0:
        return "The interval holds only decreases."
    return "The interval holds both decreases and increases: these data cannot tell which."


def difference_direction(low: float, high: float, first: str, second: str) -> str:
    """Return what the interval of ``first - second`` leaves open, in words."""
    if not (np.isfinite(low) and np.isfinite(high)):
        return ""
    if low > 0:
        return f"Throughout the interval the difference is positive (higher in {first})."
    if high < 0:
        return f"Throughout the interval the difference is negative (higher in {second})."
    return "The interval holds both signs: these data cannot tell the groups apart."


def bare_unit(metric: str) -> str:
    """Return the unit in which a metric is shown."""
    return shown_unit(unit_of(metric))


def range_text(low: float, high: float, unit: str) -> str:
    """Return ``"+0.3 to +1.2 cm"`` without a level."""
    return f"{signed(low, unit, with_unit=False)} to {signed(high, unit)}"


def shown(value: float, unit: str) -> float:
    """Return a value in the unit a person reads."""
    return to_shown(value, unit)
