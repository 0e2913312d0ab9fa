"""Each fault changes what it says and nothing else."""

from __future__ import annotations

import numpy as np
import pytest

from cmjlab.errors import ArgumentError
from cmjlab.jump.measure import measure
from cmjlab.simulate import other_movements, spoil
from cmjlab.simulate.faults import OTHER_MOVEMENTS, simulate_fault
from cmjlab.simulate.jump import SimulatedJump, simulate_jump


@pytest.fixture(scope="module")
def clean() -> SimulatedJump:
    return simulate_jump(noise_sd_n=1.0, seed=4)


@pytest.mark.parametrize("name", spoil.FAULTS)
def test_every_fault_changes_the_recording_and_not_the_truth(
    name: str, clean: SimulatedJump
) -> None:
    before = clean.recording.force_n.copy()
    spoiled = spoil.FAULTS[name](clean)
    same = spoiled.recording.force_n.shape == before.shape
    assert not (same and np.array_equal(spoiled.recording.force_n, before))
    assert np.array_equal(clean.recording.force_n, before)
    assert spoiled.truth == clean.truth
    assert spoiled.events == clean.events


def _span(sim: SimulatedJump, start: str, end: str) -> np.ndarray:
    t = sim.recording.time_s
    return sim.recording.total_n[(t >= sim.events[start]) & (t < sim.events[end])]


@pytest.mark.parametrize("name", ["early_movement", "preload", "double_dip"])
def test_movements_before_the_jump_end_at_rest(name: str, clean: SimulatedJump) -> None:
    spoiled = spoil.FAULTS[name](clean)
    extra = spoiled.recording.total_n - clean.recording.total_n
    velocity = np.cumsum(extra) / clean.recording.rate_hz / clean.profile.mass_kg
    assert abs(velocity[-1]) < 1e-3
    position = np.cumsum(velocity) / clean.recording.rate_hz
    assert abs(position[-1]) < 1e-3
    wanted = {"early_movement": -0.008, "preload": 0.008, "double_dip": -0.10}[name]
    assert position[np.argmax(np.abs(position))] == pytest.approx(wanted, rel=0.01)
    assert np.array_equal(
        _span(spoiled, "onset", "rest"), _span(clean, "onset", "rest")
    )  # the jump itself is the same


def test_sizes(clean: SimulatedJump) -> None:
    total = clean.recording.total_n
    assert np.allclose(spoil.offset(clean, newton=7).recording.total_n - total, 7)
    drifted = spoil.drift(clean, newton=9).recording.total_n - total
    assert drifted[0] == pytest.approx(0, abs=1e-9)
    assert drifted[-1] == pytest.approx(9)
    assert spoil.clip(clean, newton=1200).recording.total_n.max() == pytest.approx(1200)
    assert _span(spoil.clip_landing(clean), "onset", "takeoff").max() == pytest.approx(
        _span(clean, "onset", "takeoff").max()
    )
    assert np.isnan(spoil.lose_samples(clean, samples=5).recording.total_n).sum() == 5
    gated = spoil.zero_gated(clean).recording.force_n
    assert np.all((gated == 0) | (gated >= 20))
    spiked = _span(spoil.spike_in_flight(clean), "takeoff", "landing")
    assert np.sum(spiked > 300) == 3
    assert np.std(_span(spoil.noisy_flight(clean), "takeoff", "landing")) > 12


def test_out_of_sync_moves_the_right_plate_only(clean: SimulatedJump) -> None:
    late = spoil.out_of_sync(clean, delay_s=0.010).recording
    assert np.array_equal(late.plate("left"), clean.recording.plate("left"))
    assert np.array_equal(late.plate("right")[10:], clean.recording.plate("right")[:-10])


def test_ends(clean: SimulatedJump) -> None:
    end = spoil.stop_in_flight(clean).recording.duration_s
    assert clean.events["takeoff"] < end < clean.events["landing"]
    assert spoil.step_off(clean).recording.total_n[-500:].max() < 1
    assert spoil.land_beside(clean).recording.total_n[-500:].max() < 6
    half = spoil.one_foot_beside(clean).recording.total_n[-500:].mean()
    assert half == pytest.approx(clean.profile.body_weight_n / 2, rel=0.01)
    short = spoil.start_late(clean).recording
    assert short.start_s == pytest.approx(clean.events["onset"] - 0.1, abs=0.0011)


def test_movements_that_are_no_countermovement_jump() -> None:
    standing = other_movements.squat_and_stand(noise_sd_n=0).total_n
    assert standing.min() > 100  # never leaves the plate
    assert standing.mean() == pytest.approx(80 * 9.80665, rel=1e-4)
    squat = other_movements.squat_jump(noise_sd_n=0).total_n
    assert _flights(squat, 1000) == 1
    drop = other_movements.drop_jump(noise_sd_n=0).total_n
    assert np.all(drop[:1000] == 0)
    assert _flights(drop[1500:], 1000) == 1
    two = other_movements.several_jumps([simulate_jump(seed=1), simulate_jump(seed=2)])
    assert _flights(two.total_n, 1000) == 2
    hop = simulate_jump(
        simulate_jump().profile.replace(depth_m=0.1, takeoff_velocity_m_per_s=1.0), seed=3
    )
    assert _flights(other_movements.hop_first(simulate_jump(seed=1), hop).total_n, 1000) == 2
    assert abs(other_movements.empty_plate().total_n.mean()) < 0.1


def _flights(total: np.ndarray, rate: float) -> int:
    below = np.concatenate([[0], (total < 5).astype(int), [0]])
    starts, ends = np.flatnonzero(np.diff(below) == 1), np.flatnonzero(np.diff(below) == -1)
    return int(np.sum((ends - starts) / rate > 0.15))


def test_a_squat_jump_starts_from_rest_and_ends_at_rest() -> None:
    rec = other_movements.squat_jump(noise_sd_n=0, rate_hz=10_000)
    mass = 80.0
    velocity = np.cumsum(rec.total_n / mass - 9.80665) / rec.rate_hz
    assert abs(velocity[-1]) < 5e-3
    assert abs(np.sum(velocity) / rec.rate_hz) < 5e-3
    holding = slice(int(2.8 * rec.rate_hz), int(4.1 * rec.rate_hz))
    assert np.abs(velocity[holding]).max() < 1e-3


#: Faults that leave every number of the jump right and so need no flag.
HARMLESS = {"spike_in_flight", "stop_after_landing"}


@pytest.mark.parametrize("fault", [*spoil.FAULTS, *OTHER_MOVEMENTS])
def test_a_fault_by_its_name_is_flagged(fault: str) -> None:
    assert not measure(simulate_jump(noise_sd_n=1.0).recording).flags
    assert bool(measure(simulate_fault(fault)).flags) == (fault not in HARMLESS)


def test_the_jump_to_spoil_can_be_given_and_an_unknown_fault_is_answered() -> None:
    slow = simulate_jump("slow_deep", seed=2)
    assert simulate_fault("offset", slow).total_n == pytest.approx(slow.recording.total_n + 20)
    with pytest.raises(ArgumentError, match=r"allowed are .*'squat_jump'.*Did you mean 'clip'"):
        simulate_fault("clop")
