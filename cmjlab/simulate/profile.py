"""Profile: one exact countermovement jump, and six of them by plain names.

A profile fixes body mass, depth, take-off velocity and the shape of the force; times,
velocities and all metrics follow in closed form (:mod:`cmjlab.simulate.closed_form`).
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import NamedTuple

import numpy as np
from numpy.typing import ArrayLike, NDArray

from cmjlab.checks import one_of
from cmjlab.settings import Settings, setting
from cmjlab.simulate.closed_form import (
    LANDING_S,
    Motion,
    Parameters,
    Solution,
    flight_motion,
    landing_motion,
    loading_motion,
    push_motion,
    solve,
    unloading_motion,
)
from cmjlab.simulate.onset_shapes import ONSET_SHAPES
from cmjlab.units import STANDARD_GRAVITY


@dataclass(frozen=True, eq=False)
class Profile(Settings):
    """An exact countermovement jump; the defaults are the profile "typical".

    Examples
    --------
    >>> import cmjlab as cj
    >>> deep = cj.simulate.Profile(depth_m=0.36)
    >>> deep
    Profile(depth_m=0.36)
    >>> round(cj.simulate_jump(deep).truth["countermovement_depth_m"], 2)
    0.36
    """

    mass_kg: float = setting(80.0, "body mass", unit="kg", low=20.0, high=200.0)
    unweighting: float = setting(
        0.65, "share of body weight taken off at minimum force", low=0.05, high=0.98
    )
    braking: float = setting(1.35, "net force at zero velocity, in body weights", low=0.1, high=4.0)
    depth_m: float = setting(0.30, "countermovement depth", unit="m", low=0.03, high=0.8)
    takeoff_velocity_m_per_s: float = setting(
        2.60, "upward velocity at take-off", unit="m/s", low=0.5, high=5.0
    )
    push_exponent: float = setting(
        6.0, "how late and how suddenly the force falls before take-off", low=2.0, high=40.0
    )
    push_dip: float = setting(
        0.0,
        "dip of the force in the middle of the push, in body weights: above 0 two peaks,"
        " below 0 one late peak",
        low=-2.0,
        high=2.0,
    )
    landing_drop_m: float = setting(
        0.0, "centre of mass lower at landing than at take-off", unit="m", low=-0.05, high=0.3
    )
    impact_share: float = setting(
        0.6, "share of the landing speed taken by the impact peak", low=0.2, high=0.8
    )
    onset_shape: str = setting(
        "quadratic", "how the force leaves body weight", allowed=tuple(ONSET_SHAPES)
    )
    gravity_m_per_s2: float = setting(
        STANDARD_GRAVITY, "acceleration of free fall", unit="m/s²", low=9.7, high=9.9
    )

    def _contradictions(self) -> list[str]:
        problems = []
        if self.braking <= self.unweighting:
            problems.append("braking must be larger than unweighting: else the drop never stops")
        n, b = self.push_exponent, self.braking
        if b - (1 + b) / (n + 1) - self.push_dip / 2 <= 0:
            problems.append("the push has no net impulse: raise braking or lower push_dip")
        if not problems and self.landing_drop_m < 0:
            needed = self.takeoff_velocity_m_per_s**2 + 2 * self.gravity_m_per_s2 * (
                self.landing_drop_m
            )
            if needed <= 0:
                problems.append("landing_drop_m: the body does not rise that high")
        if not problems and not force_stays_positive(self.parameters):
            problems.append("the force becomes negative or the push turns back: lower push_dip")
        return problems

    @property
    def parameters(self) -> Parameters:
        """The numbers of this profile as the closed form takes them."""
        return Parameters(
            self.mass_kg, self.unweighting, self.braking, self.depth_m,
            self.takeoff_velocity_m_per_s, self.push_exponent, self.push_dip,
            self.landing_drop_m, self.impact_share, self.gravity_m_per_s2, self.onset_shape,
        )  # fmt: skip

    @property
    def body_weight_n(self) -> float:
        """Body weight in newtons."""
        return self.mass_kg * self.gravity_m_per_s2


def force_stays_positive(p: Parameters) -> bool:
    """True when force in contact is nowhere negative and the push never turns back."""
    solution = solve(p)
    x = np.linspace(0, 1, 401)
    push = push_motion(p, solution, x * solution.push_s)
    landing = landing_motion(p, solution, x * LANDING_S)
    least = min(push.acceleration.min(), landing.acceleration.min())
    return bool(least > -p.gravity - 1e-9 and push.velocity[1:].min() > 0)


def true_events(profile: Profile, onset_s: float = 0.0) -> dict[str, float]:
    """Return the exact event times in seconds when the movement begins at ``onset_s``.

    Keys: onset, minimum_force, peak_downward_velocity, zero_velocity, takeoff, landing, and
    "rest", the instant at which standing still begins again.
    """
    s = solve(profile.parameters)
    lowest = s.unloading_s + s.loading_s
    takeoff = s.time_to_takeoff_s
    times: dict[str, float] = {
        "onset": 0.0,
        "minimum_force": float(s.unloading_s),
        "peak_downward_velocity": float(s.unloading_s + s.turning_s),
        "zero_velocity": float(lowest),
        "takeoff": float(takeoff),
        "landing": float(takeoff + s.flight_s),
        "rest": float(takeoff + s.flight_s + LANDING_S),
    }
    return {name: onset_s + value for name, value in times.items()}


def motion(profile: Profile, time_s: ArrayLike) -> Motion:
    """Return the exact motion of the centre of mass.

    Parameters
    ----------
    profile : Profile
        The jump.
    time_s : array_like, shape (n,)
        Seconds from the true onset; negative: standing before the jump.

    Returns
    -------
    Motion
        Arrays of shape (n,).
    """
    return motion_on(timeline(profile), np.atleast_1d(np.asarray(time_s, dtype=np.float64)))


class Timeline(NamedTuple):
    """A solved profile: parameters, durations, and event times from the true onset."""

    parameters: Parameters
    solution: Solution
    events: dict[str, float]


def timeline(profile: Profile) -> Timeline:
    """Return a profile solved once, for repeated evaluation."""
    return Timeline(profile.parameters, solve(profile.parameters), true_events(profile))


def motion_on(line: Timeline, time_s: NDArray[np.float64]) -> Motion:
    """Return the exact motion at times (from the true onset) of any shape."""
    t, e = time_s, line.events
    out = Motion(np.zeros_like(t), np.zeros_like(t), np.zeros_like(t))
    for start, end, piece in (
        (0.0, e["minimum_force"], unloading_motion),
        (e["minimum_force"], e["zero_velocity"], loading_motion),
        (e["zero_velocity"], e["takeoff"], push_motion),
        (e["takeoff"], e["landing"], flight_motion),
        (e["landing"], e["rest"], landing_motion),
    ):
        inside = (t >= start) & (t < end)
        if inside.any():
            values = piece(line.parameters, line.solution, t[inside] - start)
            for whole, part in zip(out, values, strict=True):
                whole[inside] = part
    return out


def exact_force(profile: Profile, time_s: ArrayLike) -> NDArray[np.float64]:
    """Return the exact ground reaction force in newtons, shape (n,); see :func:`motion`."""
    times = np.atleast_1d(np.asarray(time_s, dtype=np.float64))
    return force_on(timeline(profile), times)


def force_on(line: Timeline, time_s: NDArray[np.float64]) -> NDArray[np.float64]:
    """Return the exact force at times of any shape; rounding below 0 N in flight is cut off."""
    p = line.parameters
    return np.maximum(p.mass_kg * (motion_on(line, time_s).acceleration + p.gravity), 0.0)


def solution(profile: Profile) -> Solution:
    """Return durations and junction values of a profile."""
    return solve(profile.parameters)


#: Six profiles that differ in what matters to an analysis; values invented but plausible.
PROFILES: dict[str, Profile] = {
    "typical": Profile(),
    "light": Profile(
        mass_kg=62.0, unweighting=0.60, braking=1.20, depth_m=0.25, takeoff_velocity_m_per_s=2.20
    ),
    "fast_stiff": Profile(
        unweighting=0.80, braking=1.70, depth_m=0.24, takeoff_velocity_m_per_s=2.65
    ),
    "slow_deep": Profile(
        unweighting=0.45, braking=1.05, depth_m=0.36, takeoff_velocity_m_per_s=2.55, push_exponent=8
    ),
    "two_peaked": Profile(push_exponent=12, push_dip=0.6, takeoff_velocity_m_per_s=2.55),
    "late_peaked": Profile(
        mass_kg=74.0, unweighting=0.55, braking=1.00, depth_m=0.32,
        takeoff_velocity_m_per_s=2.60, push_exponent=8, push_dip=-0.4,
    ),
}  # fmt: skip


#: The profile "typical" with other onsets: rules must not be fitted to one shape.
ONSET_PROFILES: dict[str, Profile] = {
    "ramp_onset": Profile(onset_shape="linear"),
    "abrupt_onset": Profile(onset_shape="abrupt"),
    "creeping_onset": Profile(onset_shape="creeping"),
    "rise_first_onset": Profile(onset_shape="rise_first"),
}


def named_profile(profile: str | Profile) -> Profile:
    """Return a profile by its name, or the profile itself."""
    if isinstance(profile, Profile):
        return profile
    known = {**PROFILES, **ONSET_PROFILES}
    return known[one_of("profile", profile, known)]
