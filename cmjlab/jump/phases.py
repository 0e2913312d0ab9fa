"""Phases of the jump: the states at which one ends and the next begins."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from cmjlab.jump.edges import Edges
from cmjlab.jump.motion import Path, State
from cmjlab.method import Method


@dataclass(frozen=True, slots=True)
class Phases:
    """States at the events of the push, in order of time.

    Attributes
    ----------
    onset, slowest, lowest, takeoff : State
        Onset, peak downward velocity, zero velocity (lowest point) and take-off.
    minimum : int
        Sample of the lowest force of unweighting.
    braking, propulsion : State
        Start of braking and of propulsion by the phase model of the method.
    push_end : State
        End of propulsion by the phase model.
    """

    onset: State
    minimum: int
    slowest: State
    lowest: State
    takeoff: State
    braking: State
    propulsion: State
    push_end: State


def find_phases(path: Path, onset: float, edges: Edges, method: Method) -> Phases | None:
    """Return the phases, or None when the body never moves down and up again before take-off.

    Parameters
    ----------
    path : Path
        Motion from the onset on.
    onset : float
        Onset, in samples.
    edges : Edges
        Take-off.
    method : Method
        Phase model and start of propulsion.
    """
    first = max(0, int(np.ceil(onset)) - path.base)
    last = edges.last_loaded - path.base
    velocity = path.velocity
    if last - first < 3:
        return None
    slow = first + int(velocity[first : last + 1].argmin())
    if slow >= last or velocity[slow] >= 0.0:
        return None
    up = velocity[slow : last + 1] >= 0.0
    if not up[-1]:
        return None
    rising = slow + up.shape[0] - int(up[::-1].argmin())
    lowest = _crossing(path, rising, 0.0)
    slowest = path.at(path.base + _turning(path, slow))
    lowest_state = path.at(path.base + lowest)
    takeoff = path.leaving(edges.last_loaded, edges.takeoff, edges.takeoff_force)
    onset_state = path.at(onset)
    times = (onset, slowest.sample, lowest_state.sample, takeoff.sample)
    apart = min(b - a for a, b in zip(times, times[1:], strict=False))
    if apart <= 0.0 or takeoff.velocity <= 0.0:
        return None
    minimum = first + int(path.force[first : slow + 1].argmin())
    braking, push_end = slowest, takeoff
    if method.phase_model == "downward":
        braking = onset_state
    elif method.phase_model == "minimum_force":
        braking = path.at(path.base + float(minimum))
    elif method.phase_model == "net_force":
        fastest = rising + int(np.argmax(velocity[rising : last + 1]))
        push_end = path.at(path.base + _turning(path, fastest))
    propulsion = _propulsion(path, lowest_state, rising, last, method.propulsion_start_m_per_s)
    return Phases(
        onset_state,
        path.base + minimum,
        slowest,
        lowest_state,
        takeoff,
        braking,
        propulsion,
        push_end,
    )


def _propulsion(path: Path, lowest: State, rising: int, last: int, speed: float) -> State:
    """Return the start of propulsion: the lowest point, or where a small speed is reached."""
    fast = path.velocity[rising : last + 1] >= speed
    if speed <= 0.0 or not fast.any():
        return lowest
    return path.at(path.base + _crossing(path, rising + int(np.argmax(fast)), speed))


def _crossing(path: Path, index: int, level: float) -> float:
    """Return where the velocity passes a level just before ``index``."""
    before, after = float(path.velocity[index - 1]), float(path.velocity[index])
    return index - 1 + (level - before) / max(after - before, 1e-12)


def _turning(path: Path, index: int) -> float:
    """Return where the acceleration is zero next to an extreme of the velocity."""
    a = path.acceleration
    here = float(a[index])
    other = index + 1 if here * float(a[min(index + 1, a.shape[0] - 1)]) < 0 else index - 1
    if not 0 <= other < a.shape[0]:
        return float(index)
    there = float(a[other])
    if here * there >= 0.0:
        return float(index)
    return index + (other - index) * here / (here - there)
