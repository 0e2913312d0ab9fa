"""Kilos on the bar: a percentage of an athlete's maximum, rounded to the plates at hand.

A load is never above the upper end of its range. Within the range the nearest load that can be
put on the bar is taken; where the plates leave none inside the range, the heaviest below it.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache

#: Masses are counted in hundredths of a kilogram, so that sums of plates are exact.
_GRAIN = 100


@dataclass(frozen=True)
class BarLoad:
    """What is put on the bar in one week.

    Attributes
    ----------
    kg : float or None
        Bar and plates; None when even the empty bar is above the range.
    percent : float
        The percentage aimed at.
    target_kg : float
        What that would be without rounding.
    inside : bool
        Whether ``kg`` lies in the range.
    exact : bool
        The range is a single percentage: rounding down leaves it, which needs no remark.
    """

    kg: float | None
    percent: float
    target_kg: float
    inside: bool
    exact: bool = False


@lru_cache(maxsize=64)
def bar_loads(bar_kg: float, plates_kg: tuple[float, ...], most_kg: float) -> tuple[float, ...]:
    """Return every load that can be put on the bar up to ``most_kg``, rising.

    Parameters
    ----------
    bar_kg : float
        Mass of the bar.
    plates_kg : tuple of float
        Plates at hand, put on in pairs, as many as are needed.
    most_kg : float

    Examples
    --------
    >>> bar_loads(20.0, (10.0, 2.5), 50.0)
    (20.0, 25.0, 30.0, 35.0, 40.0, 45.0, 50.0)
    """
    bar, most = round(bar_kg * _GRAIN), int(most_kg * _GRAIN + 1e-6)
    pairs = sorted({round(2 * p * _GRAIN) for p in plates_kg})
    reached = {bar} if bar <= most else set()
    for total in range(bar, most + 1):
        if total in reached:
            reached.update(total + p for p in pairs if total + p <= most)
    return tuple(t / _GRAIN for t in sorted(reached))


def bar_load(
    maximum_kg: float, percent: float, limits: tuple[float, float], loads: Sequence[float]
) -> BarLoad:
    """Return the load for one week: the nearest to the percentage, never above the range.

    Parameters
    ----------
    maximum_kg : float
        The athlete's 1RM.
    percent : float
        Percentage aimed at, within ``limits``.
    limits : tuple of float
        Lower and upper percentage of the range.
    loads : sequence of float
        Loads that can be put on the bar.
    """
    target = maximum_kg * percent / 100
    low, high = (maximum_kg * p / 100 + e for p, e in zip(limits, (-1e-6, 1e-6), strict=True))
    below, exact = [x for x in loads if x <= high], limits[0] == limits[1]
    if not below:
        return BarLoad(None, percent, target, False, exact)
    inside = [x for x in below if x >= low]
    best = min(inside or below[-1:], key=lambda x: (abs(x - target), x))
    return BarLoad(best, percent, target, bool(inside), exact)


def percents(limits: tuple[float, float], weeks: int, step: float) -> list[float]:
    """Return the percentage of each week, from the lower end of a range and never above its upper.

    Parameters
    ----------
    limits : tuple of float
    weeks : int
    step : float
        Rise a week in percentage points; 0: evenly, so that the last week is the upper end.

    Examples
    --------
    >>> percents((80.0, 90.0), 3, 0.0)
    [80.0, 85.0, 90.0]
    >>> percents((80.0, 90.0), 4, 4.0)
    [80.0, 84.0, 88.0, 90.0]
    """
    low, high = limits
    if not step:
        step = (high - low) / (weeks - 1) if weeks > 1 else 0.0
    return [min(high, low + step * week) for week in range(weeks)]
