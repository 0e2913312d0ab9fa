"""Left and right: forces and impulses of each foot by phase, and asymmetries.

The impulse of a foot is that of all the force it applied over the phase. A net impulse needs a
weight to take off, and a foot has none of its own: with what it carried while standing, an
athlete who stands 55/45 and pushes exactly 50/50 would come out 12 % apart.

Phase boundaries always come from the summed force: there is one centre of mass.
"""

from __future__ import annotations

import math

import numpy as np

from cmjlab.jump.analysis import Complete
from cmjlab.jump.edges import Edges
from cmjlab.jump.landing import impulse_after
from cmjlab.jump.motion import State
from cmjlab.jump.phases import Phases
from cmjlab.jump.signal import FloatArray, largest, mean_of
from cmjlab.jump.weighing import Weighing
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

    Returns
    -------
    float
        Percent; nan when the reference is not positive.
    """
    if formula == "symmetry_angle":
        if left <= 0.0 or right <= 0.0:
            return math.nan
        return 100.0 * (45.0 - math.degrees(math.atan2(left, right))) / 90.0
    reference = {
        "share_difference": left + right,
        "larger_limb": max(left, right),
        "symmetry_index": 0.5 * (left + right),
        "right_reference": right,
        "left_reference": left,
    }[formula]
    return 100.0 * (right - left) / reference if reference > 0.0 else math.nan


def limb_metrics(found: Complete, method: Method) -> Numbers:
    """Return the metrics of each foot, and asymmetries; empty without two plates.

    Parameters
    ----------
    found : Complete
        A jump with phases.
    method : Method
        Formula of the asymmetries.
    """
    left, right = found.signal.left, found.signal.right
    if left is None or right is None:
        return {}
    phases, weighing, edges = found.phases, found.weighing, found.edges
    rate = found.signal.rate
    sides = [_side(force, phases, weighing, edges, rate) for force in (left, right)]
    if not math.isnan(edges.landing):
        late = slice(
            edges.first_loaded, min(found.stop, edges.first_loaded + found.signal.samples(0.5))
        )
        if late.stop > late.start:
            for numbers, force in zip(sides, (left, right), strict=True):
                numbers["peak_landing_force_n"] = float(largest(force[late]))
                numbers["landing_impulse_100ms_n_s"] = impulse_after(
                    force, edges, found.stop, 0.1, rate
                )
    out: Numbers = {}
    for key, value in sides[0].items():
        other = sides[1][key]
        stem = key.removesuffix("_n_s").removesuffix("_n")
        out[f"left_{key}"], out[f"right_{key}"] = value, other
        out[f"{stem}_asymmetry_percent"] = asymmetry(value, other, method.asymmetry)
    return out


def _side(
    force: FloatArray, phases: Phases, weighing: Weighing, edges: Edges, rate: float
) -> Numbers:
    """Return the numbers of one foot."""
    weight = mean_of(force[weighing.start : weighing.stop])
    loaded = edges.last_loaded
    out = {
        "body_weight_n": weight,
        "mean_unweighting_force_n": _impulse(force, phases.onset, phases.slowest, loaded)
        / (phases.slowest.sample - phases.onset.sample),
        "force_at_zero_velocity_n": _at(force, phases.lowest),
    }
    spans = (
        ("braking", phases.braking, phases.lowest),
        ("propulsion", phases.propulsion, phases.push_end),
    )
    for phase, begin, end in spans:
        samples = end.sample - begin.sample
        mean = _impulse(force, begin, end, loaded) / samples
        first, last = math.ceil(begin.sample), min(math.floor(end.sample), loaded)
        out[f"mean_{phase}_force_n"] = mean
        out[f"peak_{phase}_force_n"] = float(largest(force[first : max(last, first) + 1]))
        out[f"{phase}_impulse_n_s"] = mean * samples / rate
    return out


def _at(force: FloatArray, state: State) -> float:
    k = int(state.sample)
    here = float(force[k])
    return here + (float(force[k + 1]) - here) * (state.sample - k)


def _impulse(force: FloatArray, begin: State, end: State, loaded: int) -> float:
    """Return the integral of a force between two states, in N times samples.

    Straight lines between samples; after the last loaded sample a straight line to zero.
    """
    first, last = math.ceil(begin.sample), min(math.floor(end.sample), loaded)
    part = force[first : last + 1]
    if part.size == 0:
        return _at(force, begin) * (end.sample - begin.sample)
    ends = (float(part[0]), float(part[-1]))
    inner = float(np.add.reduce(part)) - 0.5 * (ends[0] + ends[1])
    head = 0.5 * (_at(force, begin) + ends[0]) * (first - begin.sample)
    closing = 0.0 if end.sample > loaded else _at(force, end)
    return inner + head + 0.5 * (ends[1] + closing) * (end.sample - last)
