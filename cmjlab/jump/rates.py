"""Rates of force development and quasi-stiffness, by every definition that has a name."""

from __future__ import annotations

import math

from cmjlab.jump.analysis import Complete
from cmjlab.jump.motion import Path
from cmjlab.jump.signal import largest, mean_of
from cmjlab.method import Method


def braking_rates(found: Complete, method: Method) -> dict[str, float]:
    """Return rates of force development and quasi-stiffness of braking.

    Every definition has its own key; ``braking_rfd_n_per_s`` and
    ``braking_stiffness_n_per_m`` repeat the one that the method names.
    """
    path, phases = found.path, found.phases
    slowest, lowest = phases.slowest, phases.lowest
    minimum = float(path.force[phases.minimum - path.base])
    rise = lowest.force - slowest.force
    time = (lowest.sample - slowest.sample) * path.dt
    long = (lowest.sample - phases.minimum) * path.dt
    drop = (phases.minimum - phases.onset.sample) * path.dt
    first, last = math.ceil(slowest.sample) - path.base, math.floor(lowest.sample) - path.base
    steepest = _steepest(found, last, method)
    rates = {"mean": rise / time, "from_minimum": (lowest.force - minimum) / long}
    rates["steepest"] = steepest
    braked = slowest.displacement - lowest.displacement
    peak = float(largest(path.force[first : max(last, first) + 1]))
    slope, fit = _regression(path, first, last + 1)
    stiffness = {
        "line": (lowest.force - path.weight) / braked,
        "regression": slope,
        "peak": max(peak, lowest.force) / braked,
        "depth": lowest.force / -lowest.displacement if lowest.displacement < 0 else math.nan,
    }
    return {
        "braking_rfd_n_per_s": rates[method.braking_rfd],
        "braking_rfd_mean_n_per_s": rates["mean"],
        "braking_rfd_from_minimum_n_per_s": rates["from_minimum"],
        "braking_rfd_steepest_n_per_s": rates["steepest"],
        "unloading_rate_n_per_s": (path.weight - minimum) / drop if drop > 0.0 else math.nan,
        "braking_stiffness_n_per_m": stiffness[method.braking_stiffness],
        "braking_stiffness_line_n_per_m": stiffness["line"],
        "braking_stiffness_regression_n_per_m": stiffness["regression"],
        "braking_stiffness_peak_n_per_m": stiffness["peak"],
        "braking_stiffness_depth_n_per_m": stiffness["depth"],
        "braking_stiffness_fit": fit,
    }


def _steepest(found: Complete, last: int, method: Method) -> float:
    """Return the steepest rise over a moving window between lowest force and lowest point."""
    path = found.path
    first = found.phases.minimum - path.base
    width = max(1, round(method.rfd_window_s / path.dt))
    last = min(max(last, first + width), found.edges.last_loaded - path.base)
    if last - width < first:
        return math.nan
    part = path.force[first : last + 1]
    return float((part[width:] - part[:-width]).max()) / (width * path.dt)


def _regression(path: Path, first: int, stop: int) -> tuple[float, float]:
    """Return slope of force on downward displacement and r²; nan when there is no spread."""
    if stop - first < 3:
        return math.nan, math.nan
    x = -path.displacement[first:stop]
    y = path.force[first:stop]
    x = x - mean_of(x)
    y = y - mean_of(y)
    xx, yy, xy = float(x @ x), float(y @ y), float(x @ y)
    if xx <= 0.0 or yy <= 0.0:
        return math.nan, math.nan
    return xy / xx, min(xy * xy / (xx * yy), 1.0)
