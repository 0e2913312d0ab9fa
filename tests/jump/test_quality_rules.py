"""Every quality rule fires on a recording that is spoiled its way, and not on a clean one."""

from __future__ import annotations

import math
from collections.abc import Callable

import numpy as np
import pytest

from cmjlab.catalog import CHECKS, METRICS, SCOPES, STATUSES
from cmjlab.jump.measure import measure
from cmjlab.jump_types import Jump
from cmjlab.method import Method
from cmjlab.recording import Recording
from cmjlab.simulate import other_movements, spoil
from cmjlab.simulate.jump import RecordingSettings, SimulatedJump, simulate_jump
from cmjlab.simulate.profile import named_profile

JUMP_RULES = [code for code, rule in CHECKS.items() if rule.level == "jump"]


@pytest.fixture(scope="module")
def clean() -> SimulatedJump:
    return simulate_jump("typical", noise_sd_n=1.0, seed=3)


def _slow(sim: SimulatedJump) -> Recording:
    return simulate_jump("typical", rate_hz=150.0, noise_sd_n=1.0, seed=3).recording


def _bent(sim: SimulatedJump) -> Recording:
    bent = named_profile("typical").replace(landing_drop_m=0.16)
    return simulate_jump(bent, noise_sd_n=1.0, seed=3).recording


def _one_foot(sim: SimulatedJump) -> Recording:
    how = RecordingSettings(asymmetry_standing_percent=80.0)
    rec = simulate_jump("typical", noise_sd_n=1.0, settings=how, seed=3).recording
    left = rec.force_n[:, 0] - 0.02 * rec.total_n
    return rec.replace(force_n=np.column_stack([left, rec.force_n[:, 1]]))


def _rebound(sim: SimulatedJump) -> Recording:
    """A hop 0.5 s after landing, put in as a second short flight with its push."""
    force = np.array(sim.recording.force_n)
    start = round(1000 * (sim.events["landing"] + 0.5))
    force[start : start + 200] = 2.0 * sim.truth["body_weight_n"] / 2
    force[start + 200 : start + 400] = 0.0
    return sim.recording.replace(force_n=force)


def _hop(sim: SimulatedJump) -> Recording:
    """The plates are unloaded for 60 ms shortly before the onset."""
    force = np.array(sim.recording.force_n)
    start = round(1000 * (sim.events["onset"] - 0.25))
    force[start : start + 60] = 0.0
    return sim.recording.replace(force_n=force)


def _sway(sim: SimulatedJump) -> Recording:
    return simulate_jump("light", noise_sd_n=1.0, sway_sd_n=7.0, seed=5).recording


def _several(sim: SimulatedJump) -> Recording:
    return other_movements.several_jumps([sim, sim])


def _strong(sim: SimulatedJump) -> Recording:
    deep = named_profile("slow_deep").replace(depth_m=0.64)
    return simulate_jump(deep, noise_sd_n=1.0, seed=3).recording


Spoiler = Callable[[SimulatedJump], Recording]


def _fault(name: str) -> Spoiler:
    return lambda sim: spoil.FAULTS[name](sim).recording


#: rule -> (how to spoil, status, scope)
SPOILED: dict[str, tuple[Spoiler, str, str]] = {
    "no_flight": (lambda sim: other_movements.squat_and_stand(), "fail", "jump"),
    "several_flights": (_several, "fail", "jump"),
    "countermovement": (lambda sim: other_movements.squat_jump(), "fail", "jump"),
    "double_dip": (_fault("double_dip"), "fail", "jump"),
    "still_weighing": (_fault("start_late"), "fail", "jump"),
    "weighing_slope": (_fault("restless_standing"), "fail", "jump"),
    "unloaded_offset": (_fault("offset"), "fail", "jump"),
    "flight_noise": (_fault("noisy_flight"), "fail", "jump"),
    "zero_gated": (_fault("zero_gated"), "note", "jump"),
    "early_movement": (_fault("early_movement"), "fail", "jump"),
    "clipping": (_fault("clip"), "fail", "jump"),
    "dropped_samples": (_fault("lose_samples"), "fail", "jump"),
    "sampling": (_slow, "fail", "jump"),
    "height_uncertainty": (_sway, "warn", "jump"),
    "rest_to_rest": (_fault("hand_support"), "fail", "jump"),
    "impossible": (
        lambda sim: sim.recording.replace(force_n=sim.recording.force_n / 9.81),
        "fail",
        "jump",
    ),
    "plausibility": (_strong, "warn", "jump"),
    "height_agreement": (_bent, "fail", "flight"),
    "off_plate_landing": (_fault("land_beside"), "fail", "flight"),
    "step_off": (_fault("step_off"), "fail", "landing"),
    "rebound": (_rebound, "fail", "landing"),
    "plate_sync": (_fault("out_of_sync"), "fail", "jump"),
    "plate_load": (_one_foot, "fail", "limbs"),
}


def test_the_table_below_covers_every_rule() -> None:
    by_hand = {"event_moved", "event_order"}  # need a person's events: tested in test_jump_events
    assert set(SPOILED) | by_hand == set(JUMP_RULES)


@pytest.mark.parametrize("code", SPOILED)
def test_the_rule_fires_on_its_spoiled_recording(code: str, clean: SimulatedJump) -> None:
    how, status, scope = SPOILED[code]
    check = measure(how(clean)).check(code)
    assert (check.status, check.scope) == (status, scope), check
    assert check.reason.endswith(".")


@pytest.mark.parametrize("profile", ["typical", "light", "fast_stiff", "slow_deep", "two_peaked", "late_peaked"])  # fmt: skip
def test_no_rule_fires_on_a_clean_recording(profile: str) -> None:
    for noise, sway, seed in ((0.5, 0.0, 1), (2.0, 0.0, 2), (1.0, 1.0, 3)):
        sim = simulate_jump(profile, noise_sd_n=noise, sway_sd_n=sway, seed=seed)
        jump = measure(sim.recording)
        assert jump.flags == ()
        assert [c.code for c in jump.checks] == JUMP_RULES
        assert all(c.status == "pass" for c in jump.checks), jump.checks


def _all_jumps(clean: SimulatedJump) -> list[Jump]:
    faults = [fault(clean).recording for fault in spoil.FAULTS.values()]
    others = [
        other_movements.drop_jump(),
        other_movements.empty_plate(),
        other_movements.squat_jump(),
        other_movements.squat_and_stand(),
    ]
    spoiled = [how(clean) for how, _, _ in SPOILED.values()]
    return [measure(rec) for rec in faults + others + spoiled]


def test_every_report_is_complete_and_in_words(clean: SimulatedJump) -> None:
    """All rules report; nan never stands without a reason; a voided metric says which fault."""
    for jump in _all_jumps(clean):
        assert [c.code for c in jump.checks] == JUMP_RULES
        for check in jump.checks:
            assert check.status in STATUSES
            assert check.scope in SCOPES
            assert check.unit == CHECKS[check.code].unit
            assert check.reason[0].isupper(), check
            assert check.reason.endswith("."), check
            if check.status == "warn":
                assert not math.isnan(check.value)
        assert set(jump.metrics) == set(METRICS)
        nan = {key for key, value in jump.metrics.items() if math.isnan(value)}
        assert set(jump.voided) == nan
        assert all(jump.voided.values())


def test_a_wrong_height_is_never_accepted_without_a_flag(clean: SimulatedJump) -> None:
    """Over all faults: 1 cm wrong means a fail of scope jump; 3 mm wrong means a flag."""
    for name, fault in spoil.FAULTS.items():
        jump = measure(fault(clean).recording)
        error = abs(jump.metrics["jump_height_m"] - clean.truth["jump_height_m"])
        if math.isnan(error) or error > 0.010:
            assert not jump.accepted, name
        if error > 0.003:
            assert jump.flags, name


@pytest.mark.parametrize(
    "name",
    ["spike_in_flight", "empty_plate_first", "zero_gated", "hum", "stop_in_flight", "land_beside",
     "stop_after_landing", "step_off", "one_foot_beside", "clip_landing"],
)  # fmt: skip
def test_faults_that_leave_the_push_alone_keep_the_jump(name: str, clean: SimulatedJump) -> None:
    jump = measure(spoil.FAULTS[name](clean).recording)
    assert jump.accepted, jump.flags
    assert abs(jump.metrics["jump_height_m"] - clean.truth["jump_height_m"]) < 0.0015


def test_a_failed_landing_voids_landing_and_flight_only(clean: SimulatedJump) -> None:
    jump = measure(spoil.land_beside(clean).recording)
    for key, metric in METRICS.items():
        if metric.scope in ("flight", "landing"):
            assert math.isnan(jump.metrics[key])
    assert not math.isnan(jump.metrics["left_mean_braking_force_n"])
    off = measure(spoil.step_off(clean).recording)
    assert math.isnan(off.metrics["peak_landing_force_n"])
    assert "unloaded" in off.voided["peak_landing_force_n"]
    assert not math.isnan(off.metrics["jump_height_flight_m"])


def test_height_disagreement_is_put_down_to_posture_or_weighing(clean: SimulatedJump) -> None:
    posture = measure(_bent(clean)).check("height_agreement")
    assert posture.scope == "flight"
    assert "legs were bent" in posture.reason
    wrong = measure(spoil.hand_support(clean, share=0.02).recording)
    weighing = wrong.check("height_agreement")
    assert weighing.status == "fail"
    assert weighing.scope == "jump"
    assert "weighing" in weighing.reason
    assert not math.isnan(wrong.metrics["jump_height_flight_m"])
    short = measure(spoil.stop_after_landing(spoil.hand_support(clean, share=0.02)).recording)
    assert short.check("rest_to_rest").status == "not_assessed"
    assert "stays open" in short.check("height_agreement").reason


def test_not_countermovement_jumps_are_told_apart(clean: SimulatedJump) -> None:
    squat = measure(other_movements.squat_jump()).check("countermovement")
    assert "squat jump" in squat.reason
    drop = measure(other_movements.drop_jump()).check("countermovement")
    assert drop.status == "fail"
    assert "drop jump" in drop.reason
    hop = measure(_hop(clean)).check("double_dip")
    assert hop.status == "fail"
    assert "hop" in hop.reason


def test_scopes_of_lost_samples(clean: SimulatedJump) -> None:
    def lose(event: str, after_s: float, samples: int) -> tuple[str, str, bool]:
        rec = spoil.lose_samples(clean, event=event, after_s=after_s, samples=samples).recording
        jump = measure(rec)
        check = jump.check("dropped_samples")
        return check.status, check.scope, jump.accepted

    assert lose("onset", -0.6, 1) == ("warn", "jump", True)
    assert lose("onset", -0.6, 10) == ("fail", "jump", False)
    assert lose("takeoff", -0.02, 1) == ("fail", "jump", False)  # at an event
    assert lose("takeoff", 0.2, 8) == ("fail", "flight", True)
    assert lose("landing", 0.3, 8) == ("fail", "landing", True)


def test_a_rate_from_rounded_times_is_not_too_slow(clean: SimulatedJump) -> None:
    assert measure(clean.recording.replace(rate_hz=999.2)).check("sampling").status == "pass"
    assert measure(clean.recording.replace(rate_hz=990.0)).check("sampling").status == "warn"


def test_an_asymmetry_that_is_not_defined_says_so(clean: SimulatedJump) -> None:
    """A plate that is lifted a little in the push reads below zero: there is no symmetry angle."""
    force = np.array(clean.recording.force_n)
    total = force.sum(axis=1)
    t = np.arange(total.size) / clean.recording.rate_hz
    pushing = (t > clean.events["zero_velocity"] - 0.01) & (t < clean.events["takeoff"])
    force[pushing, 0] = -2.0
    force[:, 1] = total - force[:, 0]
    rec = clean.recording.replace(force_n=force)
    jump = measure(rec, Method(asymmetry="symmetry_angle"))
    key = "propulsion_impulse_asymmetry_percent"
    assert jump.metrics["left_propulsion_impulse_n_s"] < 0.0
    assert math.isnan(jump.metrics[key])
    assert jump.voided[key] == "It is not defined for this jump."


def test_limits_are_settings(clean: SimulatedJump) -> None:
    rec = spoil.offset(clean, newton=8.0).recording
    assert measure(rec).check("unloaded_offset").status == "warn"
    strict = Method.from_dict({"limits": {"offset_fail_n": 6.0}})
    assert measure(rec, strict).check("unloaded_offset").status == "fail"
    loose = Method.from_dict({"limits": {"offset_warn_n": 9.0}})
    assert measure(rec, loose).check("unloaded_offset").status == "pass"


def test_a_plate_fault_cannot_hide_behind_the_other_foot() -> None:
    """Clipping of one plate is seen although the sum is smooth."""
    sim = simulate_jump("typical", noise_sd_n=1.0, seed=3)
    force = np.array(sim.recording.force_n)
    force[:, 0] = np.minimum(force[:, 0], 800.0)
    jump = measure(sim.recording.replace(force_n=force))
    assert jump.check("clipping").status == "fail"


def test_catalog_rules_are_complete() -> None:
    study = {code for code, rule in CHECKS.items() if rule.level == "study"}
    assert study == {"weight_vs_session", "outlier_within_session", "far_below_own_best"}
    for rule in CHECKS.values():
        assert rule.label
        assert rule.test
        assert rule.remedy
        assert rule.source
        assert rule.scope in SCOPES
