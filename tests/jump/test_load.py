"""A jump with a load: motion of athlete and load, mass and relative numbers of the athlete."""

from __future__ import annotations

import pytest

from cmjlab.catalog import METRICS
from cmjlab.errors import ArgumentError
from cmjlab.jump.measure import measure
from cmjlab.jump.metrics import PER_MASS
from cmjlab.method import Method
from cmjlab.plots.jump import jump_figure, jump_title
from cmjlab.simulate.jump import SimulatedJump, simulate_jump
from cmjlab.simulate.profile import Profile
from cmjlab.simulate.spoil import start_late
from cmjlab.units import STANDARD_GRAVITY

SYSTEM, LOAD = 110.0, 40.0


@pytest.fixture(scope="module")
def sim() -> SimulatedJump:
    return simulate_jump(Profile(mass_kg=SYSTEM, depth_m=0.28, takeoff_velocity_m_per_s=2.1))


def test_mass_is_the_athletes_and_motion_that_of_both(sim):
    jump = measure(sim.recording, load_kg=LOAD)
    exact = {"jump_height_m": 1e-4, "takeoff_velocity_m_per_s": 1e-4, "push_distance_m": 1e-4}
    for key, share in exact.items():
        assert jump.metrics[key] == pytest.approx(sim.truth[key], rel=10 * share)
    assert jump.metrics["body_mass_kg"] == pytest.approx(SYSTEM - LOAD, abs=0.01)
    assert jump.metrics["body_weight_n"] == pytest.approx(
        (SYSTEM - LOAD) * STANDARD_GRAVITY, abs=0.1
    )
    assert jump.system_mass_kg == pytest.approx(SYSTEM, abs=0.01)
    assert jump.metrics["peak_propulsion_power_w"] == pytest.approx(
        sim.truth["peak_propulsion_power_w"], rel=1e-3
    )


def test_only_mass_and_what_is_divided_by_it_differ_from_the_jump_without_load(sim):
    plain, loaded = measure(sim.recording), measure(sim.recording, load_kg=LOAD)
    own = {"body_mass_kg", "body_weight_n", *PER_MASS.values()}
    for key in METRICS:
        if key not in own:
            assert loaded.metrics[key] == pytest.approx(plain.metrics[key], nan_ok=True), key
    for key, relative in PER_MASS.items():
        assert loaded.metrics[relative] == pytest.approx(
            loaded.metrics[key] / loaded.metrics["body_mass_kg"], nan_ok=True
        )
    assert loaded.events == pytest.approx(plain.events)
    assert [c.status for c in loaded.checks] == [c.status for c in plain.checks]


def test_no_load_is_no_change(sim):
    plain, zero = measure(sim.recording), measure(sim.recording, load_kg=0.0)
    assert plain.metrics == pytest.approx(zero.metrics, nan_ok=True)
    assert plain.system_mass_kg == plain.metrics["body_mass_kg"]


@pytest.mark.parametrize("load", [-1.0, SYSTEM + 1.0, 500.0, float("nan")])
def test_impossible_loads_are_refused(sim, load):
    with pytest.raises(ArgumentError, match="load_kg"):
        measure(sim.recording, load_kg=load)


def test_a_load_that_leaves_no_person_fails(sim):
    jump = measure(sim.recording, load_kg=SYSTEM - 5.0)
    assert not jump.accepted
    assert jump.check("impossible").status == "fail"


def test_weight_of_other_jumps_is_the_athletes(sim):
    late = start_late(sim).recording
    body = (SYSTEM - LOAD) * STANDARD_GRAVITY
    jump = measure(late, Method(body_weight="session"), body_weight_n=body, load_kg=LOAD)
    assert jump.accepted
    assert jump.system_mass_kg == pytest.approx(SYSTEM)
    assert jump.metrics["jump_height_m"] == pytest.approx(sim.truth["jump_height_m"], abs=0.003)


def test_the_figure_tells_the_load(sim):
    jump = measure(sim.recording, load_kg=LOAD)
    assert "load 40 kg" in jump_title(jump)
    labels = [line.get_label() for axes in jump_figure(jump).axes for line in axes.lines]
    assert "athlete and load" in labels
