"""Events that a person fixes: they hold, the others follow, and the detected ones are kept."""

from __future__ import annotations

import math

import pytest

from cmjlab.catalog import MOVABLE_EVENTS
from cmjlab.errors import ArgumentError
from cmjlab.jump.measure import measure
from cmjlab.jump_types import EVENTS
from cmjlab.simulate.jump import simulate_jump
from cmjlab.simulate.spoil import land_beside

SIM = simulate_jump("typical", noise_sd_n=1.0, seed=6)
REC = SIM.recording.replace(start_s=100.0)
AUTO = measure(REC)


def test_without_a_person_detected_and_used_are_the_same() -> None:
    assert tuple(AUTO.events) == EVENTS
    assert dict(AUTO.events) == dict(AUTO.detected)
    assert AUTO.check("event_moved").status == "pass"
    assert AUTO.check("event_moved").value == 0.0


@pytest.mark.parametrize("name", MOVABLE_EVENTS)
def test_a_fixed_event_holds_and_is_noted(name: str) -> None:
    wanted = AUTO.events[name] + (-0.0125 if name != "weighing_start" else 0.2)
    jump = measure(REC, events={name: wanted})
    grid = 0.00051 if name.startswith("weighing") else 1e-9  # windows are whole samples
    assert abs(jump.events[name] - wanted) <= grid
    assert dict(jump.detected) == dict(AUTO.events)
    check = jump.check("event_moved")
    assert check.status == "note"
    assert math.isclose(check.value, abs(wanted - AUTO.events[name]), abs_tol=0.0006)
    assert "ms" in check.reason


def test_the_others_follow_a_moved_onset() -> None:
    later = measure(REC, events={"onset": AUTO.events["onset"] + 0.1})
    assert later.events["takeoff"] == AUTO.events["takeoff"]
    assert later.metrics["body_weight_n"] == AUTO.metrics["body_weight_n"]
    shorter = AUTO.metrics["time_to_takeoff_s"] - later.metrics["time_to_takeoff_s"]
    assert math.isclose(shorter, 0.1, abs_tol=1e-9)
    # force before it is thrown away: the drop is smaller and the height larger
    assert later.metrics["countermovement_depth_m"] < AUTO.metrics["countermovement_depth_m"]
    assert later.metrics["jump_height_m"] > AUTO.metrics["jump_height_m"]


def test_a_moved_weighing_window_weighs_there() -> None:
    window = {"weighing_start": 100.25, "weighing_end": 100.75}
    jump = measure(REC, events=window)
    mean = float(REC.total_n[250:750].mean())
    assert math.isclose(jump.metrics["body_weight_n"], mean, rel_tol=1e-12)
    assert jump.check("still_weighing").status == "warn"  # half the wanted length


def test_moved_takeoff_and_landing() -> None:
    events = {"takeoff": AUTO.events["takeoff"] - 0.010, "landing": AUTO.events["landing"] + 0.010}
    jump = measure(REC, events=events)
    longer = jump.metrics["flight_time_s"] - AUTO.metrics["flight_time_s"]
    assert math.isclose(longer, 0.020, abs_tol=1e-9)
    # 10 ms before take-off the force is already below body weight: the body was faster there
    assert 2.6 < jump.metrics["takeoff_velocity_m_per_s"] < 2.6 + 0.010 * 9.80665


def test_a_person_can_name_a_flight_that_no_rule_found() -> None:
    rec = land_beside(SIM).recording
    events = {"takeoff": SIM.events["takeoff"], "landing": SIM.events["landing"]}
    jump = measure(rec, events=events)
    assert math.isclose(
        jump.metrics["flight_time_s"], SIM.truth["flight_time_s"], abs_tol=1e-6
    ) or ("flight_time_s" in jump.voided)
    assert abs(jump.metrics["jump_height_m"] - SIM.truth["jump_height_m"]) < 0.003


def test_events_out_of_order_fail() -> None:
    for late in (AUTO.events["zero_velocity"] + 0.01, AUTO.events["takeoff"] + 0.01):
        jump = measure(REC, events={"onset": late})
        assert not jump.accepted
        assert jump.check("event_moved").status == "note"
        check = jump.check("event_order")
        assert check.status == "fail"
        assert "as fixed" in check.reason
        assert all(math.isnan(v) for v in jump.metrics.values())


def test_an_onset_inside_the_dip_is_seen_by_the_heights() -> None:
    jump = measure(REC, events={"onset": AUTO.events["minimum_force"] + 0.05})
    assert jump.check("height_agreement").status == "fail"


@pytest.mark.parametrize(
    ("events", "words"),
    [
        ({"zero_velocity": 102.0}, ["zero_velocity", "weighing_start"]),
        ({"onset": 2.0}, ["events['onset']", "found 2 s", "100.0 to 105.7"]),
        ({"takeoff": math.nan}, ["finite"]),
        ({"take_off": 101.0}, ["take_off", "Did you mean 'takeoff'"]),
    ],
)
def test_impossible_events_are_named(events: dict[str, float], words: list[str]) -> None:
    with pytest.raises(ArgumentError) as error:
        measure(REC, events=events)
    for word in words:
        assert word in str(error.value)


def test_moving_an_event_to_where_it_was_changes_no_number() -> None:
    same = measure(REC, events={"onset": AUTO.events["onset"]})
    for key, value in AUTO.metrics.items():
        assert math.isclose(same.metrics[key], value, rel_tol=1e-9, abs_tol=1e-9)
