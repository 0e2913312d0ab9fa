"""Recordings made from what real people reported as faults; truth from their generator.

Unless stated: body weight 750.0 N, g 9.80665, onset 1.500 s, take-off 2.300 s, height
0.2411 m, flight 0.4435 s, lowest velocity −1.165 m/s, depth 0.422 m, peak push 1887.8 N.
"""

from __future__ import annotations

import math
from pathlib import Path

import numpy as np
import pytest

from cmjlab.jump.measure import measure
from cmjlab.jump.split import split_jumps
from cmjlab.jump_types import Jump
from cmjlab.method import Method
from cmjlab.recording import Recording


def _read(cases: Path, name: str) -> Recording:
    return Recording(np.loadtxt(cases / name, delimiter=",", skiprows=1)[:, 1], 1000.0)


def _jump(cases: Path, name: str, method: Method | None = None) -> Jump:
    return measure(_read(cases, name), method or Method())


def _is_right(jump: Jump, *, height: float = 0.002, onset: float = 0.035) -> None:
    m = jump.metrics
    assert abs(m["body_weight_n"] - 750.0) < 1.0
    assert abs(m["jump_height_m"] - 0.2411) < height
    assert abs(jump.events["onset"] - 1.5) < onset
    assert abs(jump.events["takeoff"] - 2.3) < 0.001
    assert abs(m["peak_downward_velocity_m_per_s"] - 1.165) < 0.006
    assert abs(m["countermovement_depth_m"] - 0.422) < 0.004


def test_clean(cases: Path) -> None:
    jump = _jump(cases, "c00_clean.csv")
    _is_right(jump)
    assert jump.accepted
    assert abs(jump.metrics["flight_time_s"] - 0.4435) < 0.001
    assert abs(jump.metrics["peak_force_n"] - 1887.8) < 6.0


def test_plate_not_zeroed(cases: Path) -> None:
    """28 N: flagged; the height is 7 % low until the flight level is subtracted."""
    jump = _jump(cases, "c01_zero_offset_28N.csv")
    assert not jump.accepted
    assert jump.check("unloaded_offset").status == "fail"
    assert abs(jump.check("unloaded_offset").value - 28.0) < 0.2
    assert abs(jump.metrics["jump_height_m"] - 0.224) < 0.002
    mended = _jump(cases, "c01_zero_offset_28N.csv", Method(offset_removal="flight"))
    _is_right(mended)
    assert mended.accepted
    assert abs(mended.metrics["body_mass_kg"] - 76.479) < 0.05


def test_drifting_plate(cases: Path) -> None:
    """Slope 5.1 N/s: 0.25 m must not pass as good."""
    jump = _jump(cases, "c02_linear_drift_20N.csv")
    assert not jump.accepted
    assert jump.check("weighing_slope").status in ("warn", "fail")
    assert abs(jump.check("weighing_slope").value - 100 * 5.1 / 752) < 0.15
    assert jump.check("unloaded_offset").status == "fail"


def test_restless_first_second(cases: Path) -> None:
    jump = _jump(cases, "c03_fidget_quiet.csv")
    assert jump.events["weighing_start"] > 0.75
    assert abs(jump.metrics["body_weight_n"] - 749.9) < 1.2
    assert abs(jump.metrics["jump_height_m"] - 0.241) < 0.004
    check = jump.check("still_weighing")
    assert check.status == "warn"
    assert "was not still" in check.reason


def test_early_wobble_is_not_the_onset(cases: Path) -> None:
    """A wobble at 0.55–1.20 s; a forward search from the start takes it for the jump."""
    jump = _jump(cases, "c05_early_wobble.csv")
    assert abs(jump.events["onset"] - 1.5) < 0.035
    assert abs(jump.metrics["time_to_takeoff_s"] - 0.8) < 0.035
    assert abs(jump.metrics["jump_height_m"] - 0.2411) < 0.004
    assert jump.check("early_movement").status in ("warn", "fail")
    naive = _jump(cases, "c05_early_wobble.csv", Method(onset_search="forward", onset_rule="sd"))
    assert naive.events["onset"] < 0.7


def test_three_jumps(cases: Path) -> None:
    recording = _read(cases, "c06_three_jumps.csv")
    assert measure(recording).check("several_flights").status == "fail"
    parts = split_jumps(recording)
    jumps = [measure(part) for part in parts]
    assert [part.jump for part in parts] == [1, 2, 3]
    for jump, velocity, takeoff, flight in zip(
        jumps, (1.9196, 2.1747, 1.7070), (2.300, 6.592, 10.936), (0.392, 0.444, 0.348), strict=True
    ):
        assert jump.check("several_flights").status == "pass"
        assert abs(jump.metrics["takeoff_velocity_m_per_s"] - velocity) < 0.01
        assert abs(jump.events["takeoff"] - takeoff) < 0.001
        assert abs(jump.events["landing"] - jump.events["takeoff"] - flight) < 0.0015
    for part in parts:  # each holds all of the contact before and after its jump
        first = round(part.start_s * part.rate_hz)
        assert np.array_equal(part.total_n, recording.total_n[first : first + part.n_samples])
    assert parts[0].n_samples + parts[1].n_samples > round(parts[1].start_s * 1000)


def test_spike_in_flight(cases: Path) -> None:
    jump = _jump(cases, "c08_spike_in_flight.csv")
    _is_right(jump)
    assert abs(jump.events["landing"] - 2.744) < 0.001


def test_coarse_converter(cases: Path) -> None:
    """Steps of 5 N: the standing SD is exactly 0, the onset threshold must not be."""
    jump = _jump(cases, "c09_quantised_5N.csv")
    _is_right(jump)
    assert jump.check("clipping").status == "pass"
    assert jump.check("dropped_samples").status == "pass"
    assert jump.accepted


def test_noisy_plate(cases: Path) -> None:
    """12 N noise and 10 N hum: right within 1 cm, and said to be noisy."""
    jump = _jump(cases, "c09b_noisy.csv")
    assert abs(jump.metrics["flight_time_s"] - 0.4435) < 0.01
    assert abs(jump.metrics["jump_height_m"] - 0.2411) < 0.01
    assert jump.check("flight_noise").status == "fail"


def test_recording_stops_in_the_air(cases: Path) -> None:
    jump = _jump(cases, "c10_stops_in_flight.csv")
    _is_right(jump)
    assert jump.accepted
    for key in ("flight_time_s", "jump_height_flight_m", "peak_landing_force_n"):
        assert math.isnan(jump.metrics[key])
        assert "in flight" in jump.voided[key]
    assert math.isnan(jump.events["landing"])
    assert jump.check("rest_to_rest").status == "not_assessed"


def test_feet_never_leave(cases: Path) -> None:
    jump = _jump(cases, "c11_no_flight.csv")
    assert not jump.accepted
    assert jump.check("no_flight").status == "fail"
    assert all(math.isnan(v) for v in jump.metrics.values())


def test_clipped_amplifier(cases: Path) -> None:
    jump = _jump(cases, "c12_clipped_1500.csv")
    assert not jump.accepted
    check = jump.check("clipping")
    assert check.status == "fail"
    assert check.scope == "jump"
    assert abs(jump.metrics["jump_height_m"] - 0.1225) < 0.001


def test_tucked_landing(cases: Path) -> None:
    """Both heights are named (0.241 and 0.311 m); flight time is not used."""
    jump = _jump(cases, "c13_tucked_landing.csv")
    _is_right(jump)
    check = jump.check("height_agreement")
    assert check.status == "fail"
    assert "31.1 cm" in check.reason
    assert math.isnan(jump.metrics["jump_height_flight_m"])


@pytest.mark.parametrize("cutoff_hz", [50.0, 25.0, 10.0])
def test_a_filter_costs_height_but_moves_no_event(cases: Path, cutoff_hz: float) -> None:
    raw = _jump(cases, "c00_clean.csv")
    smooth = _jump(cases, "c00_clean.csv", Method(filter="butterworth", filter_cutoff_hz=cutoff_hz))
    assert smooth.events["takeoff"] == raw.events["takeoff"]
    assert smooth.events["landing"] == raw.events["landing"]
    lost = raw.metrics["jump_height_m"] - smooth.metrics["jump_height_m"]
    assert 0.0 < lost < 0.05
