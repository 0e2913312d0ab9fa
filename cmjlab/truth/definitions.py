"""Truth by the definitions that a Method names: the same word, another formula, another truth."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np

from cmjlab.errors import ArgumentError
from cmjlab.method import Method
from cmjlab.simulate.profile import Profile, solution


def truth_by_method(
    truth: Mapping[str, float], profile: Profile, method: Method
) -> dict[str, float]:
    """Return exact metrics with the definitions that the method names.

    Covers rate of force development (with its window), quasi-stiffness and the share
    difference of asymmetries; metrics whose truth depends on another choice are left out.

    Raises
    ------
    ArgumentError
        When the method assumes another gravity than the profile.
    """
    if method.gravity_m_per_s2 != profile.gravity_m_per_s2:
        raise ArgumentError(
            f"method: gravity is {method.gravity_m_per_s2} m/s², that of the profile"
            f" {profile.gravity_m_per_s2}; the truth would differ. Use the same for both."
        )
    out = dict(truth)
    out["braking_rfd_steepest_n_per_s"] = _steepest(profile, method.rfd_window_s)
    out["braking_rfd_n_per_s"] = out[f"braking_rfd_{method.braking_rfd}_n_per_s"]
    out["braking_stiffness_n_per_m"] = out[f"braking_stiffness_{method.braking_stiffness}_n_per_m"]
    mass = out["body_mass_kg"]
    for key in ("braking_rfd_n_per_s", "braking_stiffness_n_per_m"):
        out[f"{key}_per_kg"] = out[key] / mass
    for key in [k for k in out if k.endswith("_asymmetry_percent")]:
        if method.asymmetry != "share_difference":
            del out[key]
    if (method.stable_percent, method.stable_s) != (5.0, 1.0):
        del out["time_to_stabilisation_s"]
    moved = []
    if method.phase_model != "velocity":
        moved = ["braking", "propulsion", "unweighting", "minimum_power"]
    elif method.propulsion_start_m_per_s > 0:
        moved = ["propulsion"]
    return {k: v for k, v in out.items() if not any(word in k for word in moved)}


def _steepest(profile: Profile, window_s: float) -> float:
    """Return the steepest mean slope over a window: symmetric around the middle of the rise."""
    length = float(solution(profile).loading_s)
    span = (profile.unweighting + profile.braking) * profile.body_weight_n
    width = min(window_s, length)
    return float(span * np.sin(np.pi * width / (2 * length)) / width)
