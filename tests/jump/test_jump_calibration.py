"""What the committed tables of onset and weighing say, and that a fresh small run agrees."""

from __future__ import annotations

import csv
import importlib.util
from pathlib import Path
from types import ModuleType

import pytest
from places import CALIBRATION

HERE = CALIBRATION


def _rows(name: str) -> list[dict[str, str]]:
    with (HERE / name).open(encoding="utf-8", newline="") as handle:
        return list(csv.DictReader(handle))


@pytest.fixture(scope="module")
def script() -> ModuleType:
    spec = importlib.util.spec_from_file_location("onset_and_weight", HERE / "onset_and_weight.py")
    assert spec is not None
    assert spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


def _onset(start: str, noise: str, sway: str, rule: str) -> dict[str, str]:
    wanted = (start, noise, sway, rule)
    return next(
        r
        for r in _rows("onset_rules.csv")
        if (r["start"], r["noise_n"], r["sway_n"], r["rule"]) == wanted
    )


CELLS = [("1.0", "0.0"), ("5.0", "0.0"), ("1.0", "3.0")]


def test_the_fitted_onset_beats_five_sd_minus_thirty_ms_but_for_named_cells() -> None:
    """Root mean square error of time to take-off; the exceptions are named, not hidden.

    Under sway of 3 N the quadratic start (for which 30 ms were made) is found a little worse;
    a rise before the drop is outside both rules.
    """
    worse = []
    for start in ("quadratic", "linear", "abrupt", "creeping"):
        for noise, sway in CELLS:
            rule = float(_onset(start, noise, sway, "5 SD - 30 ms")["time_ms_rms"])
            fit = float(_onset(start, noise, sway, "fit")["time_ms_rms"])
            if fit >= rule:
                worse.append((start, noise, sway))
            else:
                assert fit < 0.5 * rule
    assert worse == [("quadratic", "1.0", "3.0")]
    worst = _onset("quadratic", "1.0", "3.0", "fit")
    assert float(worst["time_ms_rms"]) < 13.0


def test_counting_a_rise_before_the_drop_saves_height_and_depth() -> None:
    """A rise of 3 % of body weight, ignored: 8 mm of height and 20 mm of depth are lost."""
    for rule in ("5 SD - 30 ms", "fit"):
        ignored = _onset("rise_first", "1.0", "0.0", rule)
        counted = _onset("rise_first", "1.0", "0.0", f"{rule}, rise")
        assert float(ignored["height_mm_rms"]) > 7.0
        assert float(ignored["depth_mm_rms"]) > 18.0
        assert float(counted["height_mm_rms"]) < 0.5
        assert float(counted["depth_mm_rms"]) < 0.5
        assert float(counted["time_ms_rms"]) < 0.2 * float(ignored["time_ms_rms"])
        for start in ("quadratic", "linear", "abrupt", "creeping"):  # no price elsewhere
            for noise, sway in CELLS:
                plain = _onset(start, noise, sway, rule)
                with_rise = _onset(start, noise, sway, f"{rule}, rise")
                assert float(with_rise["time_ms_rms"]) < float(plain["time_ms_rms"]) + 3.0


def test_a_fixed_shift_suits_one_way_of_starting_only() -> None:
    """30 ms are right for a quadratic start, 28–30 ms too much for ramp and sudden ones."""
    for start, low, high in (("quadratic", 0, 12), ("linear", 20, 32), ("abrupt", 29, 32)):
        bias = float(_onset(start, "1.0", "0.0", "5 SD - 30 ms")["time_ms_bias"])
        assert low <= bias <= high
        assert abs(float(_onset(start, "1.0", "0.0", "fit")["time_ms_bias"])) < 5


def test_the_onset_rule_hardly_moves_height_and_depth() -> None:
    for row in _rows("onset_rules.csv"):
        if row["start"] == "quadratic" and row["rule"] in ("5 SD - 30 ms", "fit"):
            assert abs(float(row["height_mm_bias"])) < 1.0
            assert abs(float(row["depth_mm_bias"])) < 1.0


def test_momentum_balance_halves_the_error_of_height_under_sway() -> None:
    for noise, sway in (("1.0", "1.0"), ("1.0", "3.0"), ("2.0", "5.0")):
        rows = {
            r["rule"]: r
            for r in _rows("body_weight_rules.csv")
            if (r["noise_n"], r["sway_n"]) == (noise, sway)
        }
        window, balance = rows["stillest 1 s"], rows["rest to rest"]
        assert float(balance["height_mm_rms"]) < 0.5 * float(window["height_mm_rms"])
        assert float(balance["weight_n_rms"]) < 0.2 * float(window["weight_n_rms"])
        assert float(balance["depth_mm_rms"]) < 0.75 * float(window["depth_mm_rms"])


def test_a_fresh_run_with_other_seeds_agrees(script: ModuleType) -> None:
    sims = [
        script.simulate_jump(p, noise_sd_n=1.0, sway_sd_n=3.0, settings=script.HOW, seed=s)
        for p in script.PROFILES
        for s in range(90_000, 90_005)
    ]
    found = {
        name: script.summary(script.errors(sims, script.WEIGHT_METHODS[name])[:, 1:2], ("h",))
        for name in ("stillest 1 s", "rest to rest")
    }
    assert 3.5 < found["stillest 1 s"]["h_rms"] < 9.0
    assert found["rest to rest"]["h_rms"] < 4.2


@pytest.mark.slow
def test_the_tables_come_out_again(script: ModuleType, tmp_path: Path) -> None:
    for name, rows in (
        ("onset_rules.csv", script.onset_rows(20, 70_000)),
        ("body_weight_rules.csv", script.weight_rows(50, 80_000)),
    ):
        script.write(tmp_path / name, list(rows))
        assert (tmp_path / name).read_text("utf-8") == (HERE / name).read_text("utf-8"), name
