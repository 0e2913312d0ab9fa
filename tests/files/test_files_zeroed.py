"""Plates that were zeroed with the athlete on them: read as they are, and named as such."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from cmjlab.files.inspect import inspect_file
from cmjlab.files.read import read_recording
from cmjlab.files.zeroed import zeroed_with_athlete
from cmjlab.layout import Layout
from cmjlab.recording import Recording
from cmjlab.simulate.jump import RecordingSettings, simulate_jump

CODE = "zeroed_with_athlete"


def _write(path: Path, force: np.ndarray, rate: float, header: str) -> Path:
    rows = [
        ",".join([f"{k / rate:.5f}", *(f"{v:.3f}" for v in np.atleast_1d(row))])
        for k, row in enumerate(force)
    ]
    path.write_text("\n".join([header, *rows]) + "\n")
    return path


def _codes(recording: Recording) -> set[str]:
    return {n.code for n in recording.notes}


@pytest.mark.parametrize("rate", [100.0, 1000.0])
@pytest.mark.parametrize("standing", [0.5, 2.0, 60.0])
@pytest.mark.parametrize(("noise", "sway"), [(0.0, 0.0), (5.0, 6.0)])
def test_one_zeroed_plate(
    rate: float, standing: float, noise: float, sway: float, tmp_path: Path
) -> None:
    settings = RecordingSettings(quiet_before_s=standing)
    jump = simulate_jump(rate_hz=rate, noise_sd_n=noise, sway_sd_n=sway, settings=settings, seed=3)
    weight = jump.truth["body_weight_n"]
    force = (jump.recording.total_n - weight).round(3)
    path = _write(tmp_path / "a.csv", force, rate, "Time [s],Fz [N]")
    found = read_recording(path)
    np.testing.assert_array_equal(found.total_n, force)
    assert CODE in _codes(found)
    assert "sign_reversed" not in _codes(found)
    text = next(n.text for n in found.notes if n.code == CODE)
    assert f"flight about −{weight:.0f} N" in text or abs(weight % 1 - 0.5) < 0.2
    assert 'offset_removal = "flight" under [method]' in text
    assert "--set offset_removal=flight" in text


@pytest.mark.parametrize("unit", ["N", "kN", ""])
def test_two_zeroed_plates_without_a_unit_or_in_kilonewtons(unit: str, tmp_path: Path) -> None:
    jump = simulate_jump()
    weight = jump.truth["body_weight_n"]
    net = jump.recording.total_n - weight
    factor = 1e-3 if unit == "kN" else 1.0
    force = np.column_stack([0.45 * net, 0.55 * net]) * factor
    header = f"Time [s],Left Fz [{unit}],Right Fz [{unit}]".replace(" []", "")
    found = read_recording(_write(tmp_path / "a.csv", force, 1000.0, header))
    assert found.plates == ("left", "right")
    assert np.abs(found.total_n - net).max() <= 1.01e-3 / factor
    assert CODE in _codes(found)
    assert "force_level" not in _codes(found)
    assert ("unit_assumed" in _codes(found)) == (unit == "")


def test_only_one_of_two_plates_was_zeroed_under_load(tmp_path: Path) -> None:
    jump = simulate_jump()
    half = 0.5 * jump.recording.total_n
    force = np.column_stack([half - 0.5 * jump.truth["body_weight_n"], half]).round(3)
    path = _write(tmp_path / "a.csv", force, 1000.0, "Time [s],Left Fz [N],Right Fz [N]")
    found = read_recording(path)
    np.testing.assert_array_equal(found.force_n, force)
    text = next(n.text for n in found.notes if n.code == CODE)
    assert "'Left Fz [N]'" in text
    assert "'Right Fz [N]'" not in text


def test_zeroed_and_pushing_down_negative(tmp_path: Path) -> None:
    jump = simulate_jump()
    net = (jump.recording.total_n - jump.truth["body_weight_n"]).round(3)
    path = _write(tmp_path / "a.csv", -net, 1000.0, "Time [s],Fz [N]")
    found = read_recording(path)
    np.testing.assert_array_equal(found.total_n, net)
    assert {CODE, "sign_reversed"} <= _codes(found)
    kept = read_recording(path, layout=Layout(sign=1))
    np.testing.assert_array_equal(kept.total_n, -net)


def test_the_vertical_of_three_components_is_found(tmp_path: Path) -> None:
    jump = simulate_jump(noise_sd_n=1.0)
    net = jump.recording.total_n - jump.truth["body_weight_n"]
    force = np.column_stack([0.05 * net + 4.0, net, -0.1 * net - 9.0]).round(3)
    header = "time,ground_force_vx,ground_force_vy,ground_force_vz"
    found = read_recording(_write(tmp_path / "a.mot", force, 1000.0, header))
    np.testing.assert_array_equal(found.total_n, force[:, 1])
    assert CODE in _codes(found)


def test_inspect_tells_it_and_its_layout_reads_the_same(tmp_path: Path) -> None:
    jump = simulate_jump()
    net = (jump.recording.total_n - jump.truth["body_weight_n"]).round(3)
    path = _write(tmp_path / "a.csv", net, 1000.0, "Time [s],Fz [N]")
    seen = inspect_file(path)
    assert CODE in {n.code for n in seen.assumptions}
    assert "sign" not in seen.layout_toml()
    assert seen.standing_n < 5.0


@pytest.mark.parametrize("profile", ["typical", "light", "fast_stiff", "slow_deep"])
@pytest.mark.parametrize("sign", [1.0, -1.0])
@pytest.mark.parametrize("empty_s", [0.0, 20.0])
def test_a_plate_zeroed_without_load_is_not_named_so(
    profile: str, sign: float, empty_s: float, tmp_path: Path
) -> None:
    total = simulate_jump(profile, noise_sd_n=5.0, seed=1).recording.total_n
    empty = np.random.default_rng(1).normal(0.0, 5.0, int(1000 * empty_s))
    force = sign * np.concatenate([empty, total + 0.0, empty])
    found = read_recording(_write(tmp_path / "a.csv", force, 1000.0, "Time [s],Fz [N]"))
    assert CODE not in _codes(found)
    assert ("sign_reversed" in _codes(found)) == (sign < 0)
    assert found.total_n.max() > 1500.0


def test_levels_are_those_of_the_file() -> None:
    values = np.concatenate([np.full(800, 2.0), np.linspace(0.0, 900.0, 60), np.full(50, -700.0)])
    found = zeroed_with_athlete(values)
    assert found is not None
    assert (found.flight, found.standing, found.weight) == (-700.0, 2.0, 702.0)
    turned = zeroed_with_athlete(-values)
    assert turned is not None
    assert (turned.flight, turned.standing, turned.weight) == (700.0, -2.0, -702.0)
    assert zeroed_with_athlete(np.where(values == -700.0, np.nan, values)) is None
    assert zeroed_with_athlete(np.full(50, np.nan)) is None
