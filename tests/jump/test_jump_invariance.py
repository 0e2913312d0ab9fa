"""Invariances and identities that hold for every jump, whatever its shape."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from cmjlab.catalog import METRICS
from cmjlab.jump.analysis import analyse
from cmjlab.jump.measure import measure
from cmjlab.jump.signal import prepare
from cmjlab.method import Method
from cmjlab.recording import Recording
from cmjlab.simulate.jump import RecordingSettings, SimulatedJump, simulate_jump
from cmjlab.simulate.profile import Profile

FEW = settings(
    max_examples=20, deadline=None, suppress_health_check=[HealthCheck.too_slow], derandomize=True
)
TWO = RecordingSettings(asymmetry_braking_percent=7.0, asymmetry_propulsion_percent=-4.0)

profiles = st.builds(
    Profile,
    mass_kg=st.floats(45.0, 120.0),
    unweighting=st.floats(0.45, 0.85),
    braking=st.floats(1.0, 1.7),
    depth_m=st.floats(0.20, 0.40),
    takeoff_velocity_m_per_s=st.floats(2.0, 3.0),
    push_exponent=st.floats(4.0, 9.0),
)
sims = st.builds(
    lambda profile, noise, seed: simulate_jump(profile, noise_sd_n=noise, settings=TWO, seed=seed),
    profiles,
    st.sampled_from([0.0, 1.0, 2.0]),
    st.integers(0, 10_000),
)


def _same(
    a: dict[str, float], b: dict[str, float], *, rel: float = 1e-9, skip: tuple[str, ...] = ()
) -> None:
    for key, value in a.items():
        if key in skip or math.isnan(value):
            continue
        assert math.isclose(value, b[key], rel_tol=rel, abs_tol=rel), (key, value, b[key])


@FEW
@given(sims, st.floats(-100.0, 1000.0))
def test_shift_in_time(sim: SimulatedJump, shift: float) -> None:
    a = measure(sim.recording)
    b = measure(sim.recording.replace(start_s=shift))
    _same(dict(a.metrics), dict(b.metrics), rel=1e-12)
    for name, time in a.events.items():
        assert math.isclose(b.events[name] - shift, time, abs_tol=1e-9)


@FEW
@given(sims, st.floats(0.4, 2.0))
def test_scaling_mass_and_force(sim: SimulatedJump, factor: float) -> None:
    """Twice the athlete with twice the force moves the same; thresholds in newtons scale too."""
    method = Method()
    scaled = method.replace(takeoff_newton=method.takeoff_newton * factor)
    rec = sim.recording
    a = measure(rec, method).metrics
    b = measure(rec.replace(force_n=rec.force_n * factor), scaled).metrics
    for key, value in a.items():
        unit = METRICS[key].unit
        grows = unit in ("N", "N·s", "W", "J", "N/s", "N/m", "W/s", "kg", "kg·m/s")
        wanted = value * factor if grows else value
        if not math.isnan(value):
            assert math.isclose(b[key], wanted, rel_tol=1e-6, abs_tol=1e-6), key


@FEW
@given(sims)
def test_swapping_the_plates_turns_asymmetries_round(sim: SimulatedJump) -> None:
    rec = sim.recording
    a = measure(rec).metrics
    b = measure(rec.replace(force_n=rec.force_n[:, ::-1])).metrics
    for key, value in a.items():
        if key.endswith("asymmetry_percent"):
            assert math.isclose(b[key], -value, abs_tol=1e-8), key
        elif key.startswith("left_"):
            assert b["right_" + key.removeprefix("left_")] == value
        elif not key.startswith("right_") and not math.isnan(value):
            assert math.isclose(b[key], value, rel_tol=1e-9, abs_tol=1e-9), key


@FEW
@given(sims, st.floats(0.1, 5.0), st.floats(0.1, 5.0))
def test_more_quiet_standing_changes_nothing(
    sim: SimulatedJump, before_s: float, after_s: float
) -> None:
    """Padding with body weight: exact for a noise-free recording."""
    clean = simulate_jump(sim.profile, settings=TWO, seed=3)
    rec = clean.recording
    first, last = rec.force_n[:1], rec.force_n[-1:]
    long = np.concatenate(
        [
            np.repeat(first, round(before_s * 1000), 0),
            rec.force_n,
            np.repeat(last, round(after_s * 1000), 0),
        ]
    )
    a, b = measure(rec), measure(rec.replace(force_n=long))
    _same(dict(a.metrics), dict(b.metrics), rel=1e-7)
    shift = round(before_s * 1000) / 1000
    for name in ("onset", "takeoff", "landing", "zero_velocity"):
        assert math.isclose(b.events[name] - shift, a.events[name], abs_tol=1e-7)


@FEW
@given(profiles)
def test_twice_the_sampling_rate(profile: Profile) -> None:
    how = RecordingSettings(grid_offset=0.25)
    half = measure(simulate_jump(profile, rate_hz=1000.0, settings=how).recording).metrics
    full = measure(simulate_jump(profile, rate_hz=2000.0, settings=how).recording).metrics
    assert math.isclose(half["jump_height_m"], full["jump_height_m"], abs_tol=5e-4)
    assert math.isclose(
        half["countermovement_depth_m"], full["countermovement_depth_m"], abs_tol=1e-4
    )
    assert math.isclose(half["time_to_takeoff_s"], full["time_to_takeoff_s"], abs_tol=2e-3)
    assert math.isclose(half["flight_time_s"], full["flight_time_s"], abs_tol=1e-3)


def test_a_file_in_kilonewtons_that_nobody_converted_is_refused() -> None:
    """The jump is found, since no rule counts on newtons; a body mass of 80 g is not possible."""
    rec = simulate_jump("typical", noise_sd_n=1.0, seed=1).recording
    jump = measure(rec.replace(force_n=rec.force_n / 1000.0))
    assert jump.check("impossible").status == "fail"
    assert not jump.accepted


@FEW
@given(sims)
def test_identities(sim: SimulatedJump) -> None:
    """J_brake = −J_unweight, ΣJ = m v, ΣW = ΔE, and the events are in order."""
    found = analyse(prepare(sim.recording), Method(), {}).complete()
    assert found is not None
    m = measure(sim.recording).metrics
    mass, g = m["body_mass_kg"], found.path.gravity
    total = m["unweighting_impulse_n_s"] + m["braking_impulse_n_s"] + m["propulsion_impulse_n_s"]
    assert math.isclose(total, mass * m["takeoff_velocity_m_per_s"], rel_tol=1e-9)
    # the start of braking and the zero of velocity lie between samples: 1e-4 is theirs
    assert math.isclose(m["braking_impulse_n_s"], -m["unweighting_impulse_n_s"], rel_tol=1e-4)
    work = m["unweighting_work_j"] + m["braking_work_j"] + m["propulsion_work_j"]
    energy = mass * (m["takeoff_velocity_m_per_s"] ** 2 / 2 + g * m["takeoff_rise_m"])
    assert math.isclose(work, energy, rel_tol=2e-3)
    e = measure(sim.recording).events
    order = ["weighing_start", "weighing_end", "onset", "minimum_force", "peak_downward_velocity",
             "zero_velocity", "takeoff", "landing"]  # fmt: skip
    times = [e[name] for name in order]
    assert all(a <= b for a, b in zip(times, times[1:], strict=False)), times
    power = found.path.power[: found.edges.last_loaded - found.path.base + 1]
    top = found.path.base + int(power.argmax())
    fast = found.path.base + int(found.path.velocity[: power.shape[0]].argmax())
    assert found.phases.lowest.sample < top <= fast <= found.edges.last_loaded


@FEW
@given(sims)
def test_mean_force_from_still_to_still_is_body_weight(sim: SimulatedJump) -> None:
    found = analyse(prepare(sim.recording), Method(), {}).complete()
    assert found is not None
    assert abs(found.rest.weight / sim.truth["body_weight_n"] - 1.0) < 2e-3
    assert abs(found.rest.velocity) < 0.05


@FEW
@given(sims)
def test_numbers_belong_together(sim: SimulatedJump) -> None:
    m = measure(sim.recording).metrics
    assert math.isclose(
        m["unweighting_duration_s"] + m["braking_duration_s"] + m["propulsion_duration_s"],
        m["time_to_takeoff_s"],
        abs_tol=1e-9,
    )
    assert math.isclose(
        m["unloading_duration_s"] + m["yielding_duration_s"],
        m["unweighting_duration_s"],
        abs_tol=1e-9,
    )
    for phase in ("braking", "propulsion"):
        both = m[f"left_mean_{phase}_force_n"] + m[f"right_mean_{phase}_force_n"]
        assert math.isclose(both, m[f"mean_{phase}_force_n"], rel_tol=2e-3)
        sides = m[f"left_{phase}_impulse_n_s"] + m[f"right_{phase}_impulse_n_s"]
        whole = m[f"{phase}_impulse_n_s"] + m["body_weight_n"] * m[f"{phase}_duration_s"]
        assert math.isclose(sides, whole, rel_tol=2e-3)
    assert math.isclose(
        m["left_body_weight_n"] + m["right_body_weight_n"], m["body_weight_n"], rel_tol=1e-9
    )
    assert m["peak_force_n"] == max(m["peak_braking_force_n"], m["peak_propulsion_force_n"])


@pytest.mark.parametrize("profile", ["typical", "light", "slow_deep"])
def test_two_plates_and_their_sum_give_the_same(profile: str) -> None:
    rec = simulate_jump(profile, noise_sd_n=1.0, settings=TWO, seed=8).recording
    both, one = measure(rec), measure(Recording(rec.total_n, rec.rate_hz))
    for key, value in one.metrics.items():
        if not math.isnan(value):
            assert value == both.metrics[key], key
