"""Velocity and power against load, on numbers whose line and parabola are known exactly."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest
from matplotlib.text import Text
from scipy import stats

import cmjlab as cj
from cmjlab.errors import ArgumentError, StatsError
from cmjlab.plots.load_profile import load_profile_figure
from cmjlab.simulate.profile import Profile
from cmjlab.stats.individual.load_line import fit_line, fit_peak

MEAN = "mean_propulsion_velocity_m_per_s"


def _jumps(loads, *, top: float = 35.0, noise: float = 0.0, seed: int = 0) -> pd.DataFrame:
    """Return jumps with velocity 1.6 - 0.012 load and powers that top out at ``top`` kg."""
    loads = np.asarray(loads, dtype=float)
    rng = np.random.default_rng(seed)
    speed = 1.6 - 0.012 * loads + noise * rng.normal(size=loads.size)
    power = 2400.0 - 0.3 * (loads - top) ** 2 + 200 * noise * rng.normal(size=loads.size)
    return pd.DataFrame({
        "athlete": "A01", "session": "base1", "load_kg": loads, MEAN: speed,
        "peak_upward_velocity_m_per_s": 1.7 * speed, "jump_height_m": 0.1 * speed,
        "mean_propulsion_power_w": power, "peak_propulsion_power_w": 1.8 * power,
    })  # fmt: skip


LOADS = np.repeat([0.0, 20.0, 40.0, 60.0], 3)


def test_line_and_parabola_are_found():
    result = cj.load_profile(_jumps(LOADS, noise=0.001))
    assert result.value("velocity_at_zero_load") == pytest.approx(1.6, abs=0.003)
    assert result.value("velocity_per_load") == pytest.approx(-0.012, abs=1e-4)
    assert result.value("load_at_zero_velocity") == pytest.approx(1.6 / 0.012, rel=0.01)
    assert result.value("line_r2") > 0.999
    for power in ("mean_propulsion_power_w", "peak_propulsion_power_w"):
        assert result.value("load_at_peak_power", metric=power) == pytest.approx(35.0, abs=0.2)


def test_the_table_has_a_row_per_load():
    table = cj.load_profile(_jumps(LOADS)).points["loads"]
    assert table["load_kg"].tolist() == [0.0, 20.0, 40.0, 60.0]
    assert table["n_jumps"].tolist() == [3, 3, 3, 3]
    assert table[MEAN].to_numpy() == pytest.approx(1.6 - 0.012 * table["load_kg"])


def test_line_agrees_with_another_program():
    frame = _jumps(LOADS, noise=0.05, seed=2)
    other = stats.linregress(frame["load_kg"], frame[MEAN])
    result = cj.load_profile(frame)
    slope, start = result.row("velocity_per_load"), result.row("velocity_at_zero_load")
    half = stats.t.ppf(0.975, len(frame) - 2)
    assert slope["estimate"] == pytest.approx(other.slope)
    assert slope["ci_high"] == pytest.approx(other.slope + half * other.stderr)
    assert start["ci_low"] == pytest.approx(other.intercept - half * other.intercept_stderr)
    assert result.value("line_r2") == pytest.approx(other.rvalue**2)


def test_intervals_hold_the_truth_as_often_as_they_say():
    """Limits by Fieller's theorem of end and turn, in simulated profiles."""
    ends, turns, runs = 0, 0, 600
    load = LOADS
    rng = np.random.default_rng(5)
    for _ in range(runs):
        line = fit_line(load, 1.6 - 0.012 * load + 0.06 * rng.normal(size=load.size), 0.95)
        ends += line.end.low <= 1.6 / 0.012 <= line.end.high
        power = 2400 - 0.3 * (load - 35) ** 2 + 40 * rng.normal(size=load.size)
        _, turn = fit_peak(load, power, 0.95)
        turns += turn.low <= 35.0 <= turn.high
    assert ends / runs == pytest.approx(0.95, abs=0.03)
    assert turns / runs == pytest.approx(0.95, abs=0.03)


def test_peak_beyond_the_loads_is_said_not_reached():
    result = cj.load_profile(_jumps(LOADS, top=120.0, noise=0.001))
    row = result.row("load_at_peak_power", metric="peak_propulsion_power_w")
    assert np.isnan(row["estimate"])
    assert "not reached within the loads tested (0 to 60 kg)" in row["text"]
    assert any("not reached within the loads tested" in str(s) for s in result.sentences)


def test_a_flat_power_is_no_peak():
    frame = _jumps(LOADS)
    rng = np.random.default_rng(1)
    frame["peak_propulsion_power_w"] = 4000.0 + rng.normal(0, 50, len(frame))
    result = cj.load_profile(frame)
    assert np.isnan(result.value("load_at_peak_power", metric="peak_propulsion_power_w"))


def test_few_loads_are_said():
    one = cj.load_profile(_jumps([20.0] * 4))
    assert np.isnan(one.value("velocity_at_zero_load"))
    assert "at least 2 different loads" in one.row("velocity_per_load")["text"]
    two = cj.load_profile(_jumps([0.0, 0.0, 40.0, 40.0], noise=0.01))
    assert two.has_note("load_two_points")
    assert np.isfinite(two.value("load_at_zero_velocity"))


def test_velocity_that_rises_has_no_end():
    frame = _jumps(LOADS, noise=0.01)
    frame[MEAN] = 1.0 + 0.002 * frame["load_kg"] + 0.01 * np.arange(len(frame)) % 0.02
    assert np.isnan(cj.load_profile(frame).value("load_at_zero_velocity"))


def test_whose_jumps_is_never_guessed():
    both = pd.concat([_jumps(LOADS), _jumps(LOADS).assign(athlete="A02")])
    with pytest.raises(StatsError, match="A01, A02"):
        cj.load_profile(both)
    assert cj.load_profile(both, "A02").settings["athlete"] == "A02"
    with pytest.raises(StatsError, match="A03"):
        cj.load_profile(both, "A03")
    with pytest.raises(ArgumentError, match="velocity"):
        cj.load_profile(_jumps(LOADS), velocity="jump_height_m")


def test_jumps_that_are_not_accepted_are_left_out():
    frame = _jumps(LOADS, noise=0.001).assign(accepted=True)
    frame.loc[0, ["accepted", MEAN]] = [False, 9.0]
    result = cj.load_profile(frame)
    assert result.value("velocity_at_zero_load") == pytest.approx(1.6, abs=0.01)
    assert result.has_note("load_not_accepted")


def test_simulated_jumps_of_known_mass_lie_on_their_line():
    """Take-off velocity falls in a straight line with the load; power is that of the system."""
    body, rows, truth = 75.0, [], {}
    for number, load in enumerate([0.0, 20.0, 40.0, 60.0]):
        speed = 2.7 - 0.015 * load
        profile = Profile(mass_kg=body + load, takeoff_velocity_m_per_s=speed, depth_m=0.28)
        sim = cj.simulate_jump(profile, seed=number)
        truth[load] = sim.truth
        jump = cj.measure(sim.recording, load_kg=load)
        assert jump.metrics["body_mass_kg"] == pytest.approx(body, abs=0.02)
        rows.append({"athlete": "A01", "session": "s1", "load_kg": load, **jump.metrics})
    result = cj.load_profile(pd.DataFrame(rows), velocity="takeoff_velocity_m_per_s")
    assert result.value("velocity_at_zero_load") == pytest.approx(2.7, abs=1e-3)
    assert result.value("velocity_per_load") == pytest.approx(-0.015, abs=1e-4)
    assert result.value("load_at_zero_velocity") == pytest.approx(180.0, abs=0.5)
    for row in result.points["loads"].to_dict("records"):
        exact = truth[row["load_kg"]]
        assert row["peak_propulsion_power_w"] == pytest.approx(
            exact["peak_propulsion_power_w"], rel=1e-3
        )
        mean = exact["push_distance_m"] / exact["propulsion_duration_s"]
        assert row[MEAN] == pytest.approx(mean, rel=2e-3)
        assert row["system_mass_kg"] == pytest.approx(body + row["load_kg"], abs=0.02)


def test_figure_shows_the_numbers():
    result = cj.load_profile(_jumps(LOADS, noise=0.01))
    figure = load_profile_figure(result)
    left, right = figure.axes
    assert left.get_ylabel().endswith("(m/s)")
    assert right.get_ylabel().endswith("(W)")
    line = next(x for x in left.lines if x.get_label() == "line")
    start = result.value("velocity_at_zero_load")
    assert line.get_ydata()[0] == pytest.approx(start)
    assert max(line.get_xdata()) == 60.0  # not beyond what was tested
    assert "A01" in figure.alt_text
    flat = load_profile_figure(cj.load_profile(_jumps(LOADS, top=120.0, noise=0.01)))
    assert not any(x.get_label() == "parabola" for x in flat.axes[1].lines)
    flat.draw_without_rendering()
    title = next(t for t in flat.axes[1].findobj(Text) if "not reached" in t.get_text())
    assert title.get_window_extent().x1 <= flat.bbox.width
    assert "Mean propulsion velocity (m/s)" in left.get_ylabel()
