"""Jumps as they come in a laboratory: fast athletes, light athletes, plates zeroed too late."""

from __future__ import annotations

import math

import numpy as np
import pytest

from cmjlab.errors import ArgumentError
from cmjlab.jump.measure import measure
from cmjlab.jump.split import split_jumps
from cmjlab.method import Method
from cmjlab.recording import Recording
from cmjlab.simulate import other_movements
from cmjlab.simulate.jump import RecordingSettings, simulate_jump
from cmjlab.simulate.profile import Profile


def _profile(random: np.random.Generator, unweighting: float, mass_kg: float) -> Profile:
    low = max(1.2, unweighting + 0.3)
    return Profile(
        mass_kg=mass_kg,
        unweighting=unweighting,
        braking=float(random.uniform(low, max(low, 2.0))),
        depth_m=float(random.uniform(0.20, 0.40)),
        takeoff_velocity_m_per_s=float(random.uniform(2.2, 3.0)),
    )


@pytest.mark.parametrize("left_percent", [15, 10, 8, 5, 3])
@pytest.mark.parametrize("noise_n", [0.0, 3.0])
def test_unloading_to_a_few_percent_of_body_weight_is_a_countermovement(
    left_percent: int, noise_n: float
) -> None:
    random = np.random.default_rng(left_percent)
    for seed in range(6):
        profile = _profile(random, 1 - left_percent / 100, float(random.uniform(45, 100)))
        sim = simulate_jump(profile, noise_sd_n=noise_n, seed=seed)
        jump = measure(sim.recording)
        assert jump.accepted, jump.flags
        assert abs(jump.metrics["jump_height_m"] - sim.truth["jump_height_m"]) < 0.006
        depth = jump.metrics["countermovement_depth_m"] - sim.truth["countermovement_depth_m"]
        assert abs(depth) < 0.006


@pytest.mark.parametrize("seed", range(10))
def test_drop_jumps_hops_and_steps_stay_refused_with_their_reason(seed: int) -> None:
    profile = _profile(np.random.default_rng(seed), 0.7, 70.0)
    drop = measure(other_movements.drop_jump(profile, seed=seed))
    assert not drop.accepted
    assert "drop jump" in drop.check("countermovement").reason
    sim = simulate_jump(profile, noise_sd_n=1.0, seed=seed)
    small = simulate_jump(
        Profile(mass_kg=70.0, takeoff_velocity_m_per_s=0.6, depth_m=0.10), seed=seed
    )
    hop = measure(other_movements.hop_first(sim, small))
    assert not hop.accepted
    assert any("hop" in c.reason.lower() for c in hop.checks if c.status == "fail"), hop.flags


def _zeroed_with_athlete(seed: int) -> tuple[Recording, float]:
    sim = simulate_jump("typical", noise_sd_n=1.0, seed=seed)
    force = sim.recording.force_n - 0.5 * sim.truth["body_weight_n"]
    return sim.recording.replace(force_n=force), sim.truth["jump_height_m"]


def test_a_plate_zeroed_with_the_athlete_on_it_is_named() -> None:
    recording, _ = _zeroed_with_athlete(1)
    jump = measure(recording)
    assert not jump.accepted
    reason = jump.check("no_flight").reason
    assert "zeroed with the athlete on them" in reason
    assert "-785 N" in reason
    assert 'offset_removal = "flight"' in reason


def test_the_remedy_for_a_plate_zeroed_with_the_athlete_works() -> None:
    for seed in range(5):
        recording, height = _zeroed_with_athlete(seed)
        jump = measure(recording, Method(offset_removal="flight"))
        assert jump.accepted, jump.flags
        assert abs(jump.metrics["jump_height_m"] - height) < 0.003


def test_a_large_offset_can_be_taken_off() -> None:
    """An unloaded level of 200 N hides the flight until it is known."""
    sim = simulate_jump("light", noise_sd_n=1.0, seed=2)
    jump = measure(
        sim.recording.replace(force_n=sim.recording.force_n + 100.0),
        Method(offset_removal="flight"),
    )
    assert jump.accepted, jump.flags
    assert abs(jump.metrics["body_weight_n"] - sim.truth["body_weight_n"]) < 1.0


@pytest.mark.parametrize("mass_kg", [25.0, 32.0, 40.0])
def test_plate_noise_is_no_movement_of_a_light_athlete(mass_kg: float) -> None:
    random = np.random.default_rng(int(mass_kg))
    accepted = 0
    for seed in range(20):
        profile = Profile(
            mass_kg=mass_kg,
            unweighting=float(random.uniform(0.4, 0.8)),
            braking=float(random.uniform(1.1, 1.7)),
            depth_m=float(random.uniform(0.18, 0.32)),
            takeoff_velocity_m_per_s=float(random.uniform(1.7, 2.5)),
        )
        jump = measure(simulate_jump(profile, noise_sd_n=5.0, seed=seed).recording)
        assert jump.check("still_weighing").status != "fail"
        accepted += jump.accepted
    assert accepted >= 19


def test_a_light_athlete_who_moves_is_still_seen() -> None:
    profile = Profile(mass_kg=30.0, takeoff_velocity_m_per_s=2.0, depth_m=0.22)
    for seed in range(5):
        sim = simulate_jump(profile, noise_sd_n=5.0, sway_sd_n=15.0, seed=seed)
        assert measure(sim.recording).check("still_weighing").status == "fail"


def test_impulse_of_a_foot_is_that_of_the_force_it_applied() -> None:
    """Standing 55/45 and pushing 50/50 is symmetric in the push, by force and by impulse."""
    how = RecordingSettings(asymmetry_standing_percent=10.0)
    sim = simulate_jump("typical", settings=how)
    metrics = measure(sim.recording).metrics
    assert metrics["body_weight_asymmetry_percent"] == pytest.approx(10.0, abs=0.05)
    for key in ("propulsion_impulse", "mean_propulsion_force"):
        assert abs(metrics[f"{key}_asymmetry_percent"]) < 0.05
    weight, time = sim.truth["body_weight_n"], sim.truth["propulsion_duration_s"]
    closed_form = 0.5 * (sim.truth["propulsion_impulse_n_s"] + weight * time)
    assert metrics["left_propulsion_impulse_n_s"] == pytest.approx(closed_form, rel=2e-3)


@pytest.mark.parametrize(
    ("factor", "words"), [(0.001, "body mass"), (0.15, "body mass"), (9.81, "body mass")]
)
def test_impossible_numbers_are_never_shown(factor: float, words: str) -> None:
    recording = simulate_jump("typical", noise_sd_n=0.5, seed=1).recording
    jump = measure(recording.replace(force_n=recording.force_n * factor))
    assert jump.check("impossible").status == "fail"
    assert words in jump.check("impossible").reason
    assert all(math.isnan(v) for v in jump.metrics.values())
    assert set(jump.voided) == set(jump.metrics)


def test_body_weight_from_other_jumps_where_the_athlete_does_not_stand_still() -> None:
    method = Method(body_weight="session")
    how = RecordingSettings(quiet_before_s=0.25)
    sim = simulate_jump("typical", noise_sd_n=1.0, seed=3, settings=how)
    weight = sim.truth["body_weight_n"]
    alone = measure(sim.recording, method)
    assert not alone.accepted
    helped = measure(sim.recording, method, body_weight_n=weight + 1.0, body_weight_se_n=1.0)
    assert helped.accepted, helped.flags
    assert helped.metrics["body_weight_n"] == weight + 1.0
    assert "other jumps" in helped.check("still_weighing").reason
    error = helped.metrics["jump_height_m"] - sim.truth["jump_height_m"]
    assert abs(error) < 3 * helped.metrics["jump_height_se_m"]
    still = simulate_jump("typical", noise_sd_n=1.0, seed=4)
    own = measure(still.recording, method, body_weight_n=weight + 30.0)
    assert abs(own.metrics["body_weight_n"] - weight) < 2.0  # not needed, so not used
    with pytest.raises(ArgumentError, match='body_weight="session"'):
        measure(sim.recording, body_weight_n=weight)


def test_parts_of_a_row_of_jumps_show_where_they_begin() -> None:
    sims = [simulate_jump("typical", noise_sd_n=1.0, seed=i) for i in range(2)]
    parts = split_jumps(other_movements.several_jumps(sims))
    assert parts[1].start_s == pytest.approx(sims[0].events["landing"] - 0.03, abs=0.01)
