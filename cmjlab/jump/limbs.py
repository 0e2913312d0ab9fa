"""Left and right: forces and net impulses of each foot by phase, and asymmetries.

Phase boundaries always come from the summed force: there is one centre of mass.
"""

from __future__ import annotations

import math

import numpy as np

from cmjlab.jump.analysis import Analysis
from cmjlab.jump.motion import State
from cmjlab.jump.signal import FloatArray
from cmjlab.method import Method

Numbers = dict[str, float]


def asymmetry(left: float, right: float, formula: str) -> float:
    """Return the asymmetry of two positive values in percent; + means right is larger.

    Parameters
    ----------
    left, right : float
        Same quantity of both sides.
    formula : str
        Name of the published formula, see ``Method.asymmetry``.
    """
    total = left + right
    if formula == "symmetry_angle":
        return 100.0 * (45.0 - math.degrees(math.atan2(left, right))) / 90.0
    reference = {
        "share_difference": total,
        "larger_limb": max(left, right),
        "symmetry_index": 0.5 * total,
        "right_reference": right,
        "left_reference": left,
    }[formula]
    return 100.0 * (right - left) / reference if reference > 0.0 else math.nan


def limb_metrics(found: Analysis, method: Method) -> Numbers:
    """Return the metrics of each foot, and asymmetries; empty without two plates.

    Parameters
    ----------
    found : Analysis
        A jump with phases.
    method : Method
        Formula of the asymmetries.
    """
    left, right = found.signal.left, found.signal.right
    phases, weighing, edges = found.phases, found.weighing, found.edges
    if left is None or right is None or phases is None or weighing is None or edges is None:
        return {}
    out: Numbers = {}
    sides: dict[str, Numbers] = {}
    for name, force in (("left", left), ("right", right)):
        weight = float(force[weighing.start : weighing.stop].mean())
        numbers = {"weight_n": weight, "force_at_zero_velocity_n": _at(force, phases.lowest)}
        spans = (
            ("braking", phases.braking, phases.lowest),
            ("propulsion", phases.propulsion, phases.push_end),
        )
        for phase, begin, end in spans:
            time = (end.sample - begin.sample) / found.signal.rate
            impulse = _impulse(force, begin, end, edges.last_loaded) / found.signal.rate
            first, last = math.ceil(begin.sample), min(math.floor(end.sample), edges.last_loaded)
            numbers[f"mean_{phase}_force_n"] = impulse / time
            numbers[f"peak_{phase}_force_n"] = float(force[first : max(last, first) + 1].max())
            numbers[f"{phase}_impulse_n_s"] = impulse - weight * time
        if not math.isnan(edges.landing):
            near = force[
                edges.first_loaded : min(found.stop, edges.first_loaded + found.signal.samples(0.5))
            ]
            if near.size:
                numbers["peak_landing_force_n"] = float(near.max())
        sides[name] = numbers
        out.update({f"{name}_{key}": value for key, value in numbers.items()})
    for key, value in sides["left"].items():
        stem = key.removesuffix("_n_s").removesuffix("_n")
        out[f"{stem}_asymmetry_percent"] = asymmetry(value, sides["right"][key], method.asymmetry)
    return out


def _at(force: FloatArray, state: State) -> float:
    k = int(state.sample)
    return float(force[k] + (force[k + 1] - force[k]) * (state.sample - k))


def _impulse(force: FloatArray, begin: State, end: State, loaded: int) -> float:
    """Return the integral of a force between two states, in N times samples.

    Straight lines between samples; after the last loaded sample a straight line to zero.
    """
    first, last = math.ceil(begin.sample), min(math.floor(end.sample), loaded)
    part = force[first : last + 1]
    if part.size == 0:
        return _at(force, begin) * (end.sample - begin.sample)
    inner = float(np.sum(part)) - 0.5 * float(part[0] + part[-1])
    head = 0.5 * (_at(force, begin) + float(part[0])) * (first - begin.sample)
    tail = end.sample - last
    closing = 0.0 if end.sample > loaded else _at(force, end)
    return inner + head + 0.5 * (float(part[-1]) + closing) * tail
