"""The numbers of one jump by several methods, as they are kept to notice any that moves.

``tests/jump/test_golden.py`` compares, ``tests/remake.py golden`` writes them anew.
"""

from __future__ import annotations

import math
from typing import Any

import numpy as np
from places import REFERENCE

from cmjlab.jump.measure import measure
from cmjlab.method import Method
from cmjlab.recording import Recording

GOLDEN = REFERENCE / "golden_jump.json"
METHODS = {
    "default": Method(),
    "balance": Method(body_weight="rest_to_rest", onset_rule="sd"),
    "filtered": Method(filter="butterworth", weighing="last", integration="simpson"),
    "linear": Method(event_placing="linear", takeoff_rule="newton", offset_removal="flight"),
    "models": Method(
        phase_model="minimum_force", braking_rfd="steepest", braking_stiffness="regression",
        asymmetry="symmetry_angle",
    ),
}  # fmt: skip


def golden_recording() -> Recording:
    """Return a two-plate jump from plain formulas: no simulator, no random numbers.

    Half a second and more of standing with a small ripple, half-sine pieces for the drop, the
    push, the landing and the recovery, durations chosen so that momentum comes out at rest.
    """
    rate, weight, g = 1000.0, 700.0, 9.80665
    t = np.arange(4200) / rate
    net = np.zeros_like(t)

    def piece(start: float, duration: float, size: float) -> None:
        inside = (t >= start) & (t < start + duration)
        net[inside] += size * np.sin(np.pi * (t[inside] - start) / duration)

    piece(1.5, 0.40, -430.0)
    piece(1.9, 0.36, 1130.0)
    mass = weight / g
    velocity = float(np.sum(net)) / rate / mass
    flight = 2.0 * velocity / g
    takeoff, landing = 2.26, 2.26 + flight
    air = (t >= takeoff) & (t < landing)
    net[air] = -weight
    piece(landing, 0.30, mass * velocity / (2.0 / np.pi * 0.30))
    ripple = 1.5 * np.sin(2 * np.pi * 1.3 * t) + 0.8 * np.sin(2 * np.pi * 47.0 * t)
    force = np.where(air, 0.3 * ripple, weight + net + ripple)
    share = 0.5 + 0.02 * np.sin(2 * np.pi * 0.5 * t)
    return Recording(np.column_stack([force * (1 - share), force * share]), rate, ("left", "right"))


def numbers(name: str) -> dict[str, dict[str, Any]]:
    """Return all metrics, events and statuses of the recording by one of the methods."""
    jump = measure(golden_recording(), METHODS[name])
    return {
        "metrics": {k: None if math.isnan(v) else v for k, v in jump.metrics.items()},
        "events": {k: None if math.isnan(v) else v for k, v in jump.events.items()},
        "checks": {c.code: c.status for c in jump.checks},
    }


def moved(kept: dict[str, dict[str, Any]], found: dict[str, dict[str, Any]]) -> list[str]:
    """Return what is no longer as it was kept: changed, or gone. What is new has not moved."""
    out = []
    for kind, values in kept.items():
        for key, old in values.items():
            if key not in found.get(kind, {}):
                out.append(f"{kind} {key}: {old} is gone")
            elif not _same(old, new := found[kind][key]):
                out.append(f"{kind} {key}: {old} became {new}")
    return out


def _same(old: Any, new: Any) -> bool:
    if isinstance(old, float | int) and isinstance(new, float | int):
        return math.isclose(old, new, rel_tol=1e-7, abs_tol=1e-9)
    return bool(old == new)
