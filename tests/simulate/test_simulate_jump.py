"""Simulated recordings: what is asked for is what comes out."""

from __future__ import annotations

import numpy as np
import pytest

from cmjlab.errors import ArgumentError
from cmjlab.simulate.jump import RecordingSettings, simulate_jump
from cmjlab.simulate.profile import PROFILES, exact_force


@pytest.mark.parametrize("name", PROFILES)
def test_a_clean_recording_is_the_exact_force_on_the_grid(name: str) -> None:
    sim = simulate_jump(name, seed=3)
    rec = sim.recording
    time = rec.time_s - sim.events["onset"]
    assert np.abs(rec.total_n - exact_force(PROFILES[name], time)).max() < 1e-9
    before = sim.events["onset"]
    assert before >= 2.0
    assert rec.duration_s - sim.events["rest"] >= 1.5


def test_noise_and_sway_have_the_wanted_size() -> None:
    how = RecordingSettings(quiet_before_s=200.0)
    clean = simulate_jump(settings=how, seed=5).recording.total_n
    noisy = simulate_jump(settings=how, noise_sd_n=2.0, seed=5).recording.total_n
    swaying = simulate_jump(settings=how, sway_sd_n=3.0, seed=5).recording.total_n
    assert np.std(noisy - clean) == pytest.approx(2.0, rel=0.02)
    assert np.std((swaying - clean)[:200_000]) == pytest.approx(3.0, rel=0.05)
    both = simulate_jump(settings=how, noise_sd_n=2.0, sway_sd_n=3.0, seed=5).recording.total_n
    assert np.abs((noisy - clean) + (swaying - clean) - (both - clean)).max() < 1e-9


def test_sway_is_absent_in_flight() -> None:
    sim = simulate_jump(sway_sd_n=5.0, seed=2)
    t = sim.recording.time_s
    flying = (t > sim.events["takeoff"]) & (t < sim.events["landing"])
    assert np.abs(sim.recording.total_n[flying]).max() < 1e-9


def test_seeds() -> None:
    one = simulate_jump(noise_sd_n=1, sway_sd_n=1, seed=9).recording.force_n
    same = simulate_jump(noise_sd_n=1, sway_sd_n=1, seed=9).recording.force_n
    other = simulate_jump(noise_sd_n=1, sway_sd_n=1, seed=10).recording.force_n
    assert np.array_equal(one, same)
    assert not np.array_equal(one[:2000], other[:2000])


def test_plates_and_asymmetry() -> None:
    how = RecordingSettings(
        asymmetry_standing_percent=-3, asymmetry_braking_percent=6, asymmetry_propulsion_percent=4,
        quiet_after_s=2,
    )  # fmt: skip
    sim = simulate_jump(settings=how, rate_hz=20_000, seed=1)
    rec, e = sim.recording, sim.events
    left, right, t = rec.plate("left"), rec.plate("right"), rec.time_s
    standing = t < 1.5
    share = 100 * (right - left)[standing].sum() / (right + left)[standing].sum()
    assert share == pytest.approx(-3)
    for phase, start, end in (
        ("braking", "peak_downward_velocity", "zero_velocity"),
        ("propulsion", "zero_velocity", "takeoff"),
    ):
        inside = (t >= e[start]) & (t < e[end])
        found = 100 * (right - left)[inside].sum() / (right + left)[inside].sum()
        # a sum over samples of 50 µs: good to about a thousandth of the value
        assert found == pytest.approx(sim.truth[f"mean_{phase}_force_asymmetry_percent"], rel=2e-3)
        peak = max(right[inside])
        assert peak == pytest.approx(sim.truth[f"right_peak_{phase}_force_n"], abs=0.05)
        gross = np.sum(left[inside]) / rec.rate_hz
        assert gross == pytest.approx(sim.truth[f"left_{phase}_impulse_n_s"], abs=0.1)
    assert np.abs(np.diff(left)).max() < 15  # no step where the share changes


def test_one_plate_offset_resolution_and_grid() -> None:
    how = RecordingSettings(plates=1, offset_n=12.0, resolution_n=0.5, grid_offset=0.25)
    sim = simulate_jump("light", settings=how, noise_sd_n=0.2, rate_hz=500, seed=1)
    rec = sim.recording
    assert rec.plates == ("total",)
    assert sim.events["onset"] == pytest.approx(2.0 + 0.25 / 500)
    assert np.abs(rec.total_n * 2 - np.round(rec.total_n * 2)).max() < 1e-9
    t = rec.time_s
    flying = (t > sim.events["takeoff"]) & (t < sim.events["landing"])
    assert rec.total_n[flying].mean() == pytest.approx(12.0, abs=0.1)


@pytest.mark.parametrize(
    ("arguments", "text"),
    [
        ({"rate_hz": 0.0}, "rate_hz: found 0 Hz, allowed is 10 to 100000 Hz"),
        ({"noise_sd_n": -1.0}, "noise_sd_n: found -1 N"),
        ({"profile": "typicall"}, "Did you mean 'typical'"),
    ],
)
def test_errors_say_what_is_allowed(arguments: dict[str, object], text: str) -> None:
    with pytest.raises(ArgumentError, match=text):
        simulate_jump(**arguments)
