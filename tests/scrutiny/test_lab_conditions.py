"""Noise, steps, sway and protocol that a lab's recordings show, against what was put in."""

from __future__ import annotations

import numpy as np
import pytest

from cmjlab.errors import StatsError
from cmjlab.files.read import read_recording
from cmjlab.jump.measure import measure
from cmjlab.method import Method
from cmjlab.recording import Recording
from cmjlab.scrutiny.lab.conditions import conditions_of, fine_variance, seen_of_sway, slow_variance
from cmjlab.scrutiny.lab.plate_steps import step_of
from cmjlab.scrutiny.lab.seen import lab_of_jumps, looked_at
from cmjlab.simulate.jump import RecordingSettings, simulate_jump
from cmjlab.simulate.noise import SWAY_BAND_HZ, sway

PROFILES = ("typical", "slow_deep", "fast_stiff")


def lab(rate, noise, sway_n, *, step=0.0, before=2.0, method=None):
    settings = RecordingSettings(resolution_n=step, quiet_before_s=before)
    jumps = [
        measure(
            simulate_jump(
                PROFILES[i % 3], rate_hz=rate, noise_sd_n=noise, sway_sd_n=sway_n, settings=settings,
                seed=1000 + i,
            ).recording,
            method or Method(),
        )
        for i in range(40)
    ]  # fmt: skip
    return lab_of_jumps(jumps, method or Method())


@pytest.mark.parametrize("rate", [1000.0, 500.0, 200.0])
@pytest.mark.parametrize(("noise", "sway_n"), [(0.6, 2.0), (2.0, 4.0), (5.0, 8.0)])
def test_noise_within_5_and_sway_within_15_percent(rate, noise, sway_n):
    found, _ = lab(rate, noise, sway_n)
    assert found.noise_sd_n == pytest.approx(noise, rel=0.05)
    assert found.sway_sd_n == pytest.approx(sway_n, rel=0.15)
    assert found.rates_hz == (rate,)
    assert (found.noise_from, found.plates) == ("flight", 2)
    assert found.standing_s == pytest.approx(2.0, abs=0.03)
    assert found.after_s == pytest.approx(1.5, abs=0.05)
    assert found.notes == ()


def test_longer_standing_and_another_place_of_the_window_give_the_same_sway():
    assert lab(500.0, 1.0, 3.0, before=5.0)[0].sway_sd_n == pytest.approx(3.0, rel=0.15)
    last = Method(weighing="last")
    assert lab(500.0, 1.0, 3.0, method=last)[0].sway_sd_n == pytest.approx(3.0, rel=0.15)


def test_no_sway_is_none_and_never_taken_from_noise():
    found, _ = lab(500.0, 3.0, 0.0)
    assert found.sway_sd_n < 0.3
    assert found.noise_sd_n == pytest.approx(3.0, rel=0.05)


def test_a_step_is_told_from_the_noise():
    found, _ = lab(500.0, 1.0, 2.0, step=0.5)
    assert found.step_n == pytest.approx(0.5, rel=1e-6)
    assert found.noise_sd_n == pytest.approx(1.0, rel=0.05)
    coarse, _ = lab(500.0, 0.1, 2.0, step=1.0)
    assert coarse.step_n == pytest.approx(1.0, rel=1e-6)
    assert coarse.noise_sd_n == 0.0
    assert {n.code for n in coarse.notes} >= {"lab_noise_below_step"}


def test_each_plate_has_its_share_of_the_noise():
    _, table = lab(500.0, 2.0, 1.0)
    plates = np.array(table["plate_fine_var"].tolist())
    assert plates.mean(axis=0) == pytest.approx([2.0, 2.0], rel=0.06)  # 2² shared by two


def test_a_flight_set_to_zero_shows_no_noise_and_standing_does():
    jumps = []
    for i in range(10):
        rec = simulate_jump(rate_hz=500.0, noise_sd_n=1.5, sway_sd_n=2.0, seed=i).recording
        force = np.where(rec.force_n.sum(axis=1, keepdims=True) < 20, 0.0, rec.force_n)
        jumps.append(measure(rec.replace(force_n=force)))
    found, _ = lab_of_jumps(jumps, Method())
    assert found.noise_from == "standing"
    assert found.noise_sd_n == pytest.approx(1.5, rel=0.06)
    assert [n.code for n in found.notes] == ["lab_flight_shows_no_noise"]


def test_hum_is_said_to_be_no_white_noise():
    jumps = []
    for i in range(10):
        rec = simulate_jump(rate_hz=1000.0, noise_sd_n=0.5, sway_sd_n=1.0, seed=i).recording
        hum = 4.0 * np.sin(2 * np.pi * 50 * np.arange(rec.n_samples) / 1000 + i)
        jumps.append(measure(rec.replace(force_n=rec.force_n + hum[:, None] / 2)))
    found, _ = lab_of_jumps(jumps, Method())
    assert "lab_noise_not_white" in {n.code for n in found.notes}
    assert found.noise_sd_n == pytest.approx(np.hypot(0.5, 4 / 2**0.5), rel=0.1)
    assert found.sway_sd_n == pytest.approx(1.0, rel=0.25)  # blocks of 20 ms hold a whole period


def test_third_differences_of_white_noise_have_twenty_times_its_variance():
    noise = np.random.default_rng(1).normal(0, 3.0, 200_000)
    assert fine_variance(noise) == pytest.approx(9.0, rel=0.02)
    ramp = 50.0 * np.linspace(0, 1, 500) ** 2
    assert fine_variance(ramp) < 1e-9


def test_what_a_whole_standing_shows_of_sway_is_all_of_it():
    time = np.arange(60_000) / 500.0
    force = sway(time, 2.0, random=np.random.default_rng(3))
    assert slow_variance(force, 500.0) == pytest.approx(4.0, rel=0.06)
    # One window of 1 s: power f^-1/2 over the band, less what its mean takes: 1 - sinc²(f).
    f = np.linspace(*SWAY_BAND_HZ, 5000)
    seen = np.sum(f**-0.5 * (1 - np.sinc(f) ** 2)) / np.sum(f**-0.5)
    rng = np.random.default_rng(4)
    mean = np.mean([slow_variance(sway(time[:500], 1.0, random=rng), 500.0) for _ in range(1500)])
    assert mean == pytest.approx(seen, rel=0.04)
    assert seen_of_sway(2.0, 1.0, stillest=True) < seen_of_sway(2.0, 1.0, stillest=False) < 1.0


@pytest.mark.parametrize("step", [0.01, 0.2, 0.4883, 3.0])
def test_steps_are_found_also_where_values_were_stored_with_decimals(step):
    noise = np.random.default_rng(2).normal(300.0, 2 * step + 0.5, 900)
    assert step_of(np.round(np.round(noise / step) * step, 4)) == pytest.approx(step, rel=1e-3)


def test_values_without_steps_have_none():
    noise = np.random.default_rng(2).normal(300.0, 2.0, 900)
    assert np.isnan(step_of(noise))
    assert np.isnan(step_of(np.zeros(500)))


@pytest.mark.parametrize("name", ["jump1.txt", "jump2.txt"])
def test_real_jumps_show_a_plausible_lab(reference_data, name):
    """450 Hz (CC BY 4.0, Duarte & Watanabe 2021); the flight's SD is that of numpy on the file."""
    force = np.loadtxt(reference_data / "jumps" / name, skiprows=1)[:, 1]
    jump = measure(Recording(force, 450.0))
    found = conditions_of(jump)
    e = jump.events
    take, land = (round(e[k] * 450) for k in ("takeoff", "landing"))
    middle = force[take + round(0.35 * (land - take)) : take + round(0.85 * (land - take))]
    assert found.flight_var**0.5 == pytest.approx(middle.std(), rel=0.5, abs=0.3)
    assert 0.0 <= found.flight_var**0.5 < 10.0
    assert 0.1 < found.standing_s < 10.0
    assert abs(found.slow_var) < 30.0**2


def test_a_real_squat_jump_on_two_plates_shows_its_plates(reference_data):
    rec = read_recording(reference_data / "forces" / "sj_BFR013.csv.gz")
    quiet = rec.force_n[: int(0.5 * rec.rate_hz)]
    assert len(rec.plates) == 2
    for plate in quiet.T:
        assert 0.0 < fine_variance(plate) ** 0.5 < 3.0


def test_too_few_jumps_and_no_window_are_refused(kit):
    jumps = kit.measure()
    with pytest.raises(StatsError, match="need 5 or more"):
        looked_at(kit, jumps.head(3), 60)
    rec = simulate_jump(rate_hz=500.0).recording
    still = Recording(np.full((50, 1), 700.0), 500.0, ("total",))
    assert rec.n_samples > still.n_samples
    empty = measure(still)
    with pytest.raises(StatsError, match="neither a flight nor a weighing window"):
        lab_of_jumps([empty] * 5, Method())
