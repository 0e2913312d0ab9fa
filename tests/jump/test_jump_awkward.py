"""Awkward input: a Jump with failed checks or a clear JumpError, never anything else."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from hypothesis.extra import numpy as arrays

from cmjlab.catalog import METRICS
from cmjlab.errors import JumpError
from cmjlab.jump.measure import measure
from cmjlab.jump.split import split_jumps
from cmjlab.method import Method
from cmjlab.recording import Recording
from cmjlab.simulate.jump import RecordingSettings, simulate_jump

RATE = 1000.0
METHODS = (
    Method(),
    Method(filter="butterworth"),
    Method(offset_removal="minimum"),
    Method(offset_removal="flight", body_weight="rest_to_rest"),
    Method(weighing="last", onset_rule="sd"),
    Method(weighing="start", onset_rule="sd", onset_search="forward", onset_direction="either"),
    Method(event_placing="none", integration="simpson", integration_start="weighing_end"),
)


def _sound(recording: Recording, method: Method | None = None) -> None:
    """The contract: a Jump whose nan have reasons, or a JumpError with a remedy."""
    try:
        jump = measure(recording, method or Method())
    except JumpError:
        return
    assert set(jump.metrics) == set(METRICS)
    for key, value in jump.metrics.items():
        assert not math.isinf(value), key
        assert not math.isnan(value) or jump.voided[key]
    if jump.accepted:
        assert math.isfinite(jump.metrics["jump_height_m"])


CLEAN = simulate_jump("typical", noise_sd_n=1.0, seed=1).recording.total_n


@pytest.mark.parametrize(
    "force",
    [
        np.zeros(3000),
        np.full(3000, 700.0),
        np.full(3000, -700.0),
        -CLEAN,
        CLEAN[:10],
        np.full(3000, np.nan),
        np.full(3000, np.inf),
        np.where(np.arange(CLEAN.size) % 2, np.nan, CLEAN),
        np.where(np.arange(CLEAN.size) > 2500, np.inf, CLEAN),
        np.where(np.arange(CLEAN.size) < 500, -np.inf, CLEAN),
        np.full(8, 1e300),
        CLEAN * 1e-12,
        CLEAN * 1e12,
        np.tile([0.0, 700.0], 2000),
        np.r_[np.zeros(500), np.full(500, 700.0), np.zeros(500)],
        np.random.default_rng(1).normal(0, 1, 4000),
        np.random.default_rng(2).normal(700, 300, 4000),
        np.linspace(0, 2000, 4000),
        CLEAN[::-1],
        CLEAN[2000:],
        CLEAN[2500:],
        CLEAN[:2790],
        CLEAN[:3315],
        CLEAN - 100.0,
        CLEAN + 300.0,
    ],
    ids=lambda f: f"{f.size}-{f[0]:.3g}-{f[-1]:.3g}",
)
def test_nothing_breaks(force: np.ndarray) -> None:
    for method in METHODS:
        _sound(Recording(force, RATE), method)
    halves = np.column_stack([0.5 * force, 0.5 * force])
    _sound(Recording(halves, RATE, ("left", "right")))


@settings(
    max_examples=150, deadline=None, suppress_health_check=[HealthCheck.too_slow], derandomize=True
)
@given(
    arrays.arrays(
        np.float64,
        st.integers(8, 400),
        elements=st.sampled_from([0.0, 5.0, 700.0, 701.0, 1500.0, -20.0, math.nan, math.inf]),
    ),
    st.sampled_from([50.0, 200.0, 1000.0]),
    st.sampled_from(METHODS),
)
def test_random_forces_of_few_values(force: np.ndarray, rate: float, method: Method) -> None:
    _sound(Recording(force, rate), method)


@settings(
    max_examples=80, deadline=None, suppress_health_check=[HealthCheck.too_slow], derandomize=True
)
@given(st.lists(st.tuples(st.floats(-100, 3000), st.integers(1, 600)), min_size=1, max_size=12))
def test_staircases(steps: list[tuple[float, int]]) -> None:
    """Any sequence of levels: flights where there are none, pushes without standing, …"""
    force = np.concatenate([np.full(n, level) for level, n in steps])
    if force.size < 8:
        return
    _sound(Recording(force, RATE))
    parts = split_jumps(Recording(force, RATE))
    begins = [round(p.start_s * RATE) for p in parts]
    ends = [b + p.n_samples for b, p in zip(begins, parts, strict=True)]
    assert (begins[0], ends[-1]) == (0, force.size)  # nothing is lost: parts overlap or touch
    assert all(b <= e for b, e in zip(begins[1:], ends, strict=False))


@settings(
    max_examples=60, deadline=None, suppress_health_check=[HealthCheck.too_slow], derandomize=True
)
@given(st.integers(0, 3500), st.integers(8, 5000), st.integers(0, 3))
def test_any_part_of_a_recording(start: int, length: int, seed: int) -> None:
    sim = simulate_jump("light", noise_sd_n=1.0, seed=seed)
    part = sim.recording.force_n[start : start + length]
    if part.shape[0] >= 8:
        _sound(sim.recording.replace(force_n=part))


@pytest.mark.parametrize(
    ("recording", "words"),
    [
        (np.zeros(100), "Recording is needed, found ndarray"),
        (Recording(np.zeros(5), RATE), "5 samples, at least 8"),
        (Recording(np.full(100, np.nan), RATE), "0 of 100 samples are numbers"),
        (None, "found NoneType"),
    ],
)
def test_unusable_input_says_why(recording: Recording, words: str) -> None:
    for function in (measure, split_jumps):
        with pytest.raises(JumpError, match=words):
            function(recording)


def test_a_wrong_method_says_what_is_needed() -> None:
    with pytest.raises(JumpError, match="a cmjlab Method is needed, found dict"):
        measure(Recording(CLEAN, RATE), {})  # type: ignore[arg-type]


def test_a_filter_that_cannot_be_says_why() -> None:
    method = Method(filter="butterworth", filter_cutoff_hz=100.0)
    with pytest.raises(JumpError, match="not below half the sampling rate"):
        measure(Recording(CLEAN[::5], 200.0), method)


def test_fifty_hertz_is_refused_for_all_but_flight_time() -> None:
    sim = simulate_jump("typical", rate_hz=50.0, noise_sd_n=1.0, seed=2)
    jump = measure(sim.recording)
    assert not jump.accepted
    assert jump.check("sampling").status == "fail"
    assert abs(jump.metrics["flight_time_s"] - sim.truth["flight_time_s"]) < 0.02


def test_ten_minutes_of_standing_before_the_jump() -> None:
    how = RecordingSettings(quiet_before_s=600.0)
    sim = simulate_jump("typical", noise_sd_n=1.0, settings=how, seed=2)
    jump = measure(sim.recording)
    assert jump.accepted
    assert abs(jump.metrics["jump_height_m"] - sim.truth["jump_height_m"]) < 0.002
    assert jump.events["weighing_start"] > 585.0  # not from minutes ago


def test_lost_samples_are_bridged_and_said(capsys: pytest.CaptureFixture[str]) -> None:
    force = np.array(CLEAN)
    force[[700, 1500]] = np.nan
    jump = measure(Recording(force, RATE))
    whole = measure(Recording(CLEAN, RATE))
    assert jump.check("dropped_samples").status == "warn"
    assert jump.accepted
    difference = jump.metrics["jump_height_m"] - whole.metrics["jump_height_m"]
    assert abs(difference) < 1e-3
    assert capsys.readouterr().out == ""


def test_the_recording_is_not_touched() -> None:
    rec = Recording(CLEAN, RATE)
    before = rec.force_n.copy()
    measure(rec, Method(offset_removal="flight", filter="butterworth"))
    assert np.array_equal(rec.force_n, before)


def test_memory_stays_below_twenty_copies() -> None:
    import tracemalloc

    how = RecordingSettings(quiet_before_s=60.0)
    rec = simulate_jump("typical", noise_sd_n=1.0, settings=how, seed=2).recording
    measure(rec)
    tracemalloc.start()
    measure(rec)
    peak = tracemalloc.get_traced_memory()[1]
    tracemalloc.stop()
    assert peak < 20 * rec.total_n.nbytes
