"""Left and right foot: how the total is shared, and the exact asymmetries that follow."""

from __future__ import annotations

from collections.abc import Callable, Mapping

import numpy as np
from numpy.typing import NDArray

from cmjlab.simulate.closed_form import IMPACT_S
from cmjlab.simulate.profile import Profile, force_on, timeline
from cmjlab.simulate.search import largest

FloatArray = NDArray[np.float64]

#: Phases with an asymmetry of their own, in the order of time.
LIMB_PHASES = ("standing", "unweighting", "braking", "propulsion", "landing")

#: Seconds over which the share moves from one phase's value to the next.
BLEND_S = 0.06

_NODES, _WEIGHTS = np.polynomial.legendre.leggauss(24)
_KINKS = (-BLEND_S / 2, 0.0, BLEND_S / 2, BLEND_S)

#: The landing peak is looked for within this time after landing.
PEAK_WITHIN_S = 0.5


def right_share(
    time_s: FloatArray, events: Mapping[str, float], *, asymmetry_percent: Mapping[str, float]
) -> FloatArray:
    """Return the right foot's share (0 to 1) of the total at each time.

    The share is constant within a phase and moves along a raised cosine of :data:`BLEND_S`
    across phase borders, so that each plate's force stays continuous.

    Parameters
    ----------
    time_s : ndarray, shape (n,)
        Times on the clock of ``events``.
    events : mapping
        Exact events, see :func:`~cmjlab.simulate.profile.true_events`.
    asymmetry_percent : mapping
        100 (right − left) / (right + left) for each of :data:`LIMB_PHASES`.
    """
    borders = (  # standing is constant up to the onset, and again from rest on
        events["onset"] + BLEND_S / 2,
        events["peak_downward_velocity"],
        events["zero_velocity"],
        (events["takeoff"] + events["landing"]) / 2,
        events["rest"] - BLEND_S / 2,
    )
    values = [asymmetry_percent[phase] for phase in LIMB_PHASES]
    values.append(asymmetry_percent["standing"])
    percent = np.full(np.shape(time_s), float(values[0]))
    for border, before, after in zip(borders, values[:-1], values[1:], strict=True):
        x = np.clip((time_s - border) / BLEND_S + 0.5, 0.0, 1.0)
        percent += (after - before) * (1 - np.cos(np.pi * x)) / 2
    return (1 + percent / 100) / 2


def limb_metrics(profile: Profile, asymmetry_percent: Mapping[str, float]) -> dict[str, float]:
    """Return exact limb metrics: forces and impulses of each foot, and the asymmetries.

    Asymmetry is 100 (right − left) / (right + left). Impulses are of all the force that a foot
    applied over the phase. Integrals by Gauss–Legendre quadrature on panels
    between all kinks (error below 1e-10 N); peaks by golden-section search.
    """
    line = timeline(profile)
    events = line.events

    def feet(time: FloatArray) -> FloatArray:
        """Return force of left and right; the last axis of ``time`` is the foot."""
        right = right_share(time, events, asymmetry_percent=asymmetry_percent)
        return force_on(line, time) * np.where([True, False], 1 - right, right)

    standing = asymmetry_percent["standing"] / 100
    weight = profile.body_weight_n * np.array([1 - standing, 1 + standing]) / 2
    both = {"body_weight_n": weight}
    for phase, start, end in (
        ("unweighting", "onset", "peak_downward_velocity"),
        ("braking", "peak_downward_velocity", "zero_velocity"),
        ("propulsion", "zero_velocity", "takeoff"),
    ):
        span = (events[start], events[end])
        length = span[1] - span[0]
        impulse = _integral(feet, events, span)
        both[f"mean_{phase}_force_n"] = impulse / length
        if phase != "unweighting":
            both[f"peak_{phase}_force_n"] = _peak(feet, span)
            both[f"{phase}_impulse_n_s"] = impulse
    both["force_at_zero_velocity_n"] = feet(np.full(2, events["zero_velocity"]))
    both["peak_landing_force_n"] = _peak(
        feet, (events["landing"], events["landing"] + PEAK_WITHIN_S)
    )
    impact = events["landing"] + IMPACT_S  # the force has a kink where the impact pulse ends
    both["landing_impulse_100ms_n_s"] = _integral(
        feet, events, (events["landing"], impact)
    ) + _integral(feet, events, (impact, events["landing"] + 0.1))
    out: dict[str, float] = {}
    for key, (left, right) in both.items():
        stem = key.removesuffix("_n_s").removesuffix("_n")
        out[f"left_{key}"], out[f"right_{key}"] = float(left), float(right)
        out[f"{stem}_asymmetry_percent"] = float(100 * (right - left) / (right + left))
    return out


def _integral(
    feet: Callable[[FloatArray], FloatArray], events: Mapping[str, float],
    span: tuple[float, float],
) -> FloatArray:  # fmt: skip
    """Return the impulse (N·s) of each foot over a span."""
    start, end = span
    kinks = [event + shift for event in events.values() for shift in _KINKS]
    edges = np.array([start, *sorted(k for k in kinks if start < k < end), end])
    half = np.diff(edges)[:, None] / 2
    time = edges[:-1, None] + half + half * _NODES
    values = feet(np.repeat(time[..., None], 2, axis=-1))
    return np.asarray(np.sum((half * _WEIGHTS)[..., None] * values, axis=(0, 1)))


def _peak(feet: Callable[[FloatArray], FloatArray], span: tuple[float, float]) -> FloatArray:
    """Return the largest force of each foot in a span."""
    start, end = span
    return largest(lambda x: feet(start + x * (end - start)), (2,)).value
