"""The shape of the push: measured against exact values, and what is too short has no value."""

from __future__ import annotations

import math

import numpy as np
import pytest

from cmjlab.jump.measure import measure
from cmjlab.method import Method
from cmjlab.simulate.jump import RecordingSettings, SimulatedJump, simulate_jump
from cmjlab.simulate.profile import Profile

PROFILES = ("typical", "light", "fast_stiff", "slow_deep", "two_peaked", "late_peaked")
UNEVEN = RecordingSettings(asymmetry_standing_percent=4.0, asymmetry_landing_percent=9.0)
#: metric -> largest error: noise-free and with noise of 2 N; percent of the truth.
PERCENT = {
    "jump_momentum_kg_m_per_s": (0.05, 0.5),
    "positive_net_impulse_n_s": (0.05, 0.4),
    "mean_propulsion_velocity_m_per_s": (0.05, 0.3),
    "braking_to_propulsion_duration_ratio": (0.1, 1.0),
    "braking_to_propulsion_impulse_ratio": (0.1, 1.0),
    "braking_to_propulsion_mean_force_ratio": (0.1, 0.5),
    "propulsion_impulse_50ms_n_s": (0.02, 0.5),
    "propulsion_impulse_100ms_n_s": (0.02, 0.5),
    "power_development_rate_w_per_s": (0.5, 4.0),
    # the placed landing is up to 0.7 ms late, which counts here
    "landing_stiffness_n_per_m": (0.7, 1.5),
    "landing_impulse_50ms_n_s": (3.0, 3.5),
    "landing_impulse_100ms_n_s": (0.5, 0.8),
    "left_landing_impulse_100ms_n_s": (0.5, 0.8),
    "right_landing_impulse_100ms_n_s": (0.5, 0.8),
}


@pytest.mark.parametrize("noise", [0.0, 2.0])
@pytest.mark.parametrize("profile", PROFILES)
def test_against_exact_values(profile: str, noise: float) -> None:
    for seed in range(3):
        sim = simulate_jump(profile, noise_sd_n=noise, settings=UNEVEN, seed=seed)
        found = measure(sim.recording).metrics
        for key, limits in PERCENT.items():
            error = 100.0 * (found[key] / sim.truth[key] - 1.0)
            assert abs(error) <= limits[noise > 0], (key, error)
        assert found["force_peaks"] == sim.truth["force_peaks"]
        assert abs(found["force_valley_n"] - sim.truth["force_valley_n"]) < (4.0 if noise else 0.2)
        late = found["time_to_peak_power_s"] - sim.truth["time_to_peak_power_s"]
        assert abs(late) < 0.030
        asymmetry = found["landing_impulse_100ms_asymmetry_percent"]
        assert asymmetry == pytest.approx(9.0, abs=0.05)


def test_peak_force_is_where_the_force_is_largest() -> None:
    sim = simulate_jump("late_peaked", seed=2)
    jump = measure(sim.recording)
    at = jump.events["onset"] + jump.metrics["time_to_peak_force_s"]
    force = np.interp(at, np.arange(sim.recording.n_samples) / 1000.0, sim.recording.total_n)
    assert force == pytest.approx(jump.metrics["peak_force_n"], abs=0.01)


def test_a_valley_is_no_matter_of_the_phase_model() -> None:
    """Where braking begins at the onset, the drop itself is still no valley."""
    recording = simulate_jump("two_peaked", noise_sd_n=1.0, seed=1).recording
    usual = measure(recording).metrics["force_valley_n"]
    for model in ("downward", "minimum_force", "net_force"):
        metrics = measure(recording, Method(phase_model=model)).metrics
        assert metrics["force_valley_n"] == usual
        assert metrics["force_peaks"] == 2.0


def _short() -> SimulatedJump:
    """Simulate a jump whose push lasts less than 0.1 s."""
    hard = Profile(braking=3.8, depth_m=0.10, takeoff_velocity_m_per_s=1.9, push_exponent=10.0)
    return simulate_jump(hard, noise_sd_n=1.0, seed=1)


def test_what_is_longer_than_the_push_is_not_known_and_says_so() -> None:
    sim = _short()
    assert 0.05 < sim.truth["propulsion_duration_s"] < 0.1
    jump = measure(sim.recording)
    assert math.isfinite(jump.metrics["propulsion_impulse_50ms_n_s"])
    key = "propulsion_impulse_100ms_n_s"
    assert math.isnan(jump.metrics[key])
    assert math.isnan(sim.truth[key])
    assert jump.voided[key]


def test_a_contact_that_ends_early_has_no_early_impulse() -> None:
    sim = simulate_jump("typical", noise_sd_n=1.0, seed=1)
    landing = sim.events["landing"]
    for rest, known in ((0.07, "landing_impulse_50ms_n_s"), (0.03, "")):
        stop = int((landing + rest) * 1000)
        cut = sim.recording.replace(force_n=sim.recording.force_n[:stop])
        jump = measure(cut)
        for key in ("landing_impulse_50ms_n_s", "landing_impulse_100ms_n_s"):
            assert math.isfinite(jump.metrics[key]) == (key == known), (rest, key)
        for side in ("left", "right"):
            assert math.isnan(jump.metrics[f"{side}_landing_impulse_100ms_n_s"])


@pytest.mark.parametrize("rate", [200.0, 500.0, 2000.0])
def test_other_rates(rate: float) -> None:
    sim = simulate_jump("two_peaked", rate_hz=rate, noise_sd_n=1.0, seed=3)
    found = measure(sim.recording).metrics
    assert found["force_peaks"] == 2.0
    assert found["force_valley_n"] == pytest.approx(sim.truth["force_valley_n"], abs=5.0)
    key = "propulsion_impulse_100ms_n_s"
    assert found[key] == pytest.approx(sim.truth[key], rel=0.01)
