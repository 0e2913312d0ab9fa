"""Left and right foot: how the total is shared, and the exact asymmetries that follow."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np
from numpy.typing import NDArray

from cmjlab.simulate.profile import Profile, exact_force, true_events

FloatArray = NDArray[np.float64]

#: Phases with an asymmetry of their own, in the order of time.
LIMB_PHASES = ("standing", "unweighting", "braking", "propulsion", "landing")

#: Seconds over which the share moves from one phase's value to the next.
BLEND_S = 0.06


def right_share(
    time_s: FloatArray, events: Mapping[str, float], asymmetry_percent: Mapping[str, float]
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
    borders = (
        events["onset"],
        events["peak_downward_velocity"],
        events["zero_velocity"],
        (events["takeoff"] + events["landing"]) / 2,
        events["rest"],
    )
    values = [asymmetry_percent[phase] for phase in LIMB_PHASES]
    values.append(asymmetry_percent["standing"])
    percent = np.full(np.shape(time_s), float(values[0]))
    for border, before, after in zip(borders, values[:-1], values[1:], strict=True):
        x = np.clip((time_s - border) / BLEND_S + 0.5, 0.0, 1.0)
        percent += (after - before) * (1 - np.cos(np.pi * x)) / 2
    return (1 + percent / 100) / 2


def limb_metrics(profile: Profile, asymmetry_percent: Mapping[str, float]) -> dict[str, float]:
    """Return exact limb metrics: mean force of each foot in a phase, and the asymmetries.

    Integrals by Gauss–Legendre quadrature on panels between all kinks (error below 1e-10 N).
    """
    events = true_events(profile)
    out: dict[str, float] = {
        "body_weight_asymmetry_percent": float(asymmetry_percent["standing"]),
    }
    for phase, start, end in (
        ("unweighting", events["onset"], events["peak_downward_velocity"]),
        ("braking", events["peak_downward_velocity"], events["zero_velocity"]),
        ("propulsion", events["zero_velocity"], events["takeoff"]),
    ):
        right, total = _impulses(profile, events, asymmetry_percent, (start, end))
        seconds = end - start
        out[f"left_mean_{phase}_force_n"] = (total - right) / seconds
        out[f"right_mean_{phase}_force_n"] = right / seconds
        out[f"mean_{phase}_force_asymmetry_percent"] = 100 * (2 * right - total) / total
    return out


def _impulses(
    profile: Profile,
    events: Mapping[str, float],
    asymmetry_percent: Mapping[str, float],
    span: tuple[float, float],
) -> tuple[float, float]:
    """Return the right foot's and the total impulse (N·s) over a span."""
    start, end = span
    kinks = [event + shift for event in events.values() for shift in (-BLEND_S / 2, 0, BLEND_S / 2)]
    edges = np.array([start, *sorted(k for k in kinks if start < k < end), end])
    nodes, weights = np.polynomial.legendre.leggauss(24)
    half = np.diff(edges) / 2
    time = (edges[:-1] + half)[:, None] + half[:, None] * nodes
    force = exact_force(profile, time.ravel()).reshape(time.shape)
    share = right_share(time, events, asymmetry_percent)
    weight = half[:, None] * weights
    return float(np.sum(weight * force * share)), float(np.sum(weight * force))
