"""Left and right foot: how the total is shared, and the exact asymmetries that follow."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from functools import partial

import numpy as np
from numpy.typing import NDArray

from cmjlab.simulate.profile import Profile, exact_force, true_events
from cmjlab.simulate.search import largest

FloatArray = NDArray[np.float64]

#: Phases with an asymmetry of their own, in the order of time.
LIMB_PHASES = ("standing", "unweighting", "braking", "propulsion", "landing")

#: Seconds over which the share moves from one phase's value to the next.
BLEND_S = 0.06

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
    """Return exact limb metrics: forces and net impulses of each foot, and the asymmetries.

    Asymmetry is 100 (right − left) / (right + left). Net impulses are above the weight that
    stood on that foot before the jump. Integrals by Gauss–Legendre quadrature on panels
    between all kinks (error below 1e-10 N); peaks by golden-section search.
    """
    events = true_events(profile)

    def force_of(foot: str, time: FloatArray) -> FloatArray:
        share = right_share(time, events, asymmetry_percent=asymmetry_percent)
        return exact_force(profile, time) * (share if foot == "right" else 1 - share)

    standing = asymmetry_percent["standing"] / 100
    feet: dict[str, dict[str, float]] = {}
    for foot, share in (("left", (1 - standing) / 2), ("right", (1 + standing) / 2)):
        weight = profile.body_weight_n * share
        on_foot = partial(force_of, foot)
        numbers = {"body_weight_n": weight}
        for phase, start, end in (
            ("unweighting", "onset", "peak_downward_velocity"),
            ("braking", "peak_downward_velocity", "zero_velocity"),
            ("propulsion", "zero_velocity", "takeoff"),
        ):
            span = (events[start], events[end])
            impulse = _integral(on_foot, events, span)
            numbers[f"mean_{phase}_force_n"] = impulse / (span[1] - span[0])
            if phase != "unweighting":
                numbers[f"peak_{phase}_force_n"] = _peak(on_foot, span)
                numbers[f"{phase}_impulse_n_s"] = impulse - weight * (span[1] - span[0])
        at_lowest = force_of(foot, np.array([events["zero_velocity"]]))
        numbers["force_at_zero_velocity_n"] = float(at_lowest[0])
        landing = (events["landing"], events["landing"] + PEAK_WITHIN_S)
        numbers["peak_landing_force_n"] = _peak(on_foot, landing)
        feet[foot] = numbers
    out: dict[str, float] = {}
    for key, left in feet["left"].items():
        right = feet["right"][key]
        stem = key.removesuffix("_n_s").removesuffix("_n")
        out[f"left_{key}"], out[f"right_{key}"] = left, right
        out[f"{stem}_asymmetry_percent"] = 100 * (right - left) / (right + left)
    return out


def _integral(
    force: Callable[[FloatArray], FloatArray], events: Mapping[str, float],
    span: tuple[float, float],
) -> float:  # fmt: skip
    """Return the impulse (N·s) of a force over a span."""
    start, end = span
    kinks = [event + shift for event in events.values() for shift in _KINKS]
    edges = np.array([start, *sorted(k for k in kinks if start < k < end), end])
    nodes, weights = np.polynomial.legendre.leggauss(24)
    half = np.diff(edges) / 2
    time = (edges[:-1] + half)[:, None] + half[:, None] * nodes
    values = force(time.ravel()).reshape(time.shape)
    return float(np.sum(half[:, None] * weights * values))


def _peak(force: Callable[[FloatArray], FloatArray], span: tuple[float, float]) -> float:
    start, end = span

    def along(x: FloatArray) -> FloatArray:
        return force(start + np.ravel(x) * (end - start)).reshape(np.shape(x))

    return float(largest(along, ()).value)
