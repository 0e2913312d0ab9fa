"""Method: validated, hashable, stable keys, TOML, presets with their sources."""

from __future__ import annotations

import subprocess
import sys
import tomllib

import pytest
import tomli_w

from cmjlab.errors import ArgumentError
from cmjlab.jump.measure import measure
from cmjlab.method import PRESETS, Method
from cmjlab.method_limits import Limits
from cmjlab.simulate.jump import simulate_jump


def test_every_setting_says_what_it_is_and_where_its_default_comes_from() -> None:
    for kind in (Method, Limits):
        for row in kind.describe():
            assert row["help"], row["name"]
            assert row["source"], row["name"]
    for name, unit in ((r["name"], r["unit"]) for r in Method.describe()):
        if name.endswith(("_s", "_hz", "_percent", "_newton", "_sd", "per_s2")):
            assert unit, name


def test_round_trip_through_toml() -> None:
    method = Method(
        onset_rule="percent",
        onset_percent=5,
        limits=Limits(offset_warn_n=2.0),
        filter="butterworth",
    )
    text = tomli_w.dumps(method.to_dict())
    again = Method.from_dict(tomllib.loads(text))
    assert again == method
    assert hash(again) == hash(method)
    assert again.key == method.key
    assert again.limits.offset_warn_n == 2.0
    assert Method.from_dict({"limits": {"offset_warn_n": 2}}).limits.offset_warn_n == 2.0


def test_the_key_is_the_same_in_every_process_and_moves_with_every_setting() -> None:
    code = "from cmjlab.method import Method; print(Method().key)"
    out = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert out.stdout.strip() == Method().key
    others = [
        Method(onset_sd=4.0),
        Method(limits=Limits(rest_fail_percent=0.6)),
        *(Method.preset(name) for name in PRESETS if name != "recommended"),
    ]
    keys = {m.key for m in others}
    assert len(keys) == len(others)
    assert Method().key not in keys
    assert Method.preset("recommended") == Method()


@pytest.mark.parametrize("name", PRESETS)
def test_presets_name_their_source_and_measure(name: str) -> None:
    assert PRESETS[name]["source"]
    assert PRESETS[name]["about"]
    sim = simulate_jump("typical", noise_sd_n=1.0, seed=2)
    jump = measure(sim.recording, Method.preset(name))
    assert abs(jump.metrics["jump_height_m"] - sim.truth["jump_height_m"]) < 0.02
    assert jump.method.key == Method.preset(name).key


@pytest.mark.parametrize(
    ("settings", "words"),
    [
        ({"onset_rule": "sds"}, ["onset_rule", "'sds'", "id you mean 'sd'"]),
        ({"onset_sd": 0.2}, ["onset_sd", "0.2", "1.0 to 20.0 SD"]),
        ({"onset_direction": "either"}, ["onset_search 'forward'"]),
        ({"weighing_minimum_s": 2.0}, ["weighing_minimum_s (2 s)", "weighing_duration_s (1 s)"]),
        ({"minimum_flight_s": 0.5, "maximum_flight_s": 0.5}, ["minimum_flight_s"]),
        ({"weigh_before_offset": True}, ["weigh_before_offset", "offset_removal"]),
        ({"onset_rule": "fit", "onset_search": "forward"}, ["onset_rule 'fit'"]),
        ({"filter_order": 3}, ["filter_order", "2, 4, 6, 8"]),
        ({"limits": {"still_warn_percent": 2.0}}, ["still_warn_percent (2)", "above"]),
        ({"onset_shif_s": 0.0}, ["no setting 'onset_shif_s'", "id you mean 'onset_shift_s'"]),
    ],
)
def test_wrong_settings_are_named(settings: dict[str, object], words: list[str]) -> None:
    with pytest.raises(ArgumentError) as error:
        Method.from_dict(settings)
    for word in words:
        assert word in str(error.value), str(error.value)


def test_an_unknown_preset_lists_the_known_ones() -> None:
    with pytest.raises(ArgumentError, match=r"owen_2014.*Did you mean 'owen_2014'"):
        Method.preset("owen2014")


@pytest.mark.parametrize(
    "settings",
    [
        {"weighing": "last"},
        {"weighing": "start", "weighing_duration_s": 0.8},
        {"body_weight": "rest_to_rest"},
        {"onset_rule": "newton"},
        {"onset_rule": "percent", "onset_shift_s": 0.0},
        {"onset_rule": "sd"},
        {"onset_rule": "sd", "onset_search": "forward"},
        {"onset_rule": "sd", "onset_search": "forward", "onset_direction": "either"},
        {"takeoff_rule": "newton", "takeoff_newton": 20.0},
        {"takeoff_rule": "flight_sd", "event_placing": "linear"},
        {"event_placing": "linear"},
        {"event_placing": "none"},
        {"filter": "butterworth"},
        {"filter": "butterworth", "filter_order": 2, "filter_cutoff_hz": 200.0},
        {"integration": "simpson"},
        {"integration_start": "weighing_end"},
        {"offset_removal": "flight"},
        {"offset_removal": "minimum"},
    ],
)
def test_every_option_measures_the_same_jump(settings: dict[str, object]) -> None:
    """No option may move the height of a clean jump by more than its known bias (8 mm)."""
    sim = simulate_jump("typical", noise_sd_n=1.0, seed=2)
    jump = measure(sim.recording, Method.from_dict(settings))
    assert abs(jump.metrics["jump_height_m"] - sim.truth["jump_height_m"]) < 0.008
    assert abs(jump.metrics["time_to_takeoff_s"] - sim.truth["time_to_takeoff_s"]) < 0.05
    plain = measure(sim.recording)
    assert jump.metrics != plain.metrics


def test_phase_models_move_only_their_phases() -> None:
    sim = simulate_jump("typical", noise_sd_n=0.5, seed=2)
    base = measure(sim.recording).metrics
    down = measure(sim.recording, Method(phase_model="downward")).metrics
    least = measure(sim.recording, Method(phase_model="minimum_force")).metrics
    net = measure(sim.recording, Method(phase_model="net_force")).metrics
    for other in (down, least, net):
        assert other["jump_height_m"] == base["jump_height_m"]
        assert other["unweighting_duration_s"] == base["unweighting_duration_s"]
    assert down["braking_duration_s"] == base["downward_duration_s"]
    assert abs(down["braking_impulse_n_s"]) < 0.2  # down and stopped: no net impulse
    wanted = base["yielding_duration_s"] + base["braking_duration_s"]
    assert abs(least["braking_duration_s"] - wanted) < 1e-9
    assert net["propulsion_duration_s"] < base["propulsion_duration_s"]
    assert net["propulsion_impulse_n_s"] > base["propulsion_impulse_n_s"]


@pytest.mark.parametrize(
    ("field", "values", "key"),
    [
        ("braking_rfd", ("mean", "from_minimum", "steepest"), "braking_rfd_{}_n_per_s"),
        (
            "braking_stiffness",
            ("line", "regression", "peak", "depth"),
            "braking_stiffness_{}_n_per_m",
        ),
    ],
)
def test_definitions_by_name(field: str, values: tuple[str, ...], key: str) -> None:
    sim = simulate_jump("typical", seed=2)
    main = key.replace("_{}", "")
    found = []
    for value in values:
        m = measure(sim.recording, Method.from_dict({field: value})).metrics
        assert m[main] == m[key.format(value)]
        found.append(m[main])
    assert len({round(v, 3) for v in found}) == len(values)


def test_asymmetry_formula_is_a_choice() -> None:
    from cmjlab.simulate.jump import RecordingSettings

    how = RecordingSettings(asymmetry_braking_percent=10.0)
    rec = simulate_jump("typical", settings=how, seed=2).recording
    key = "mean_braking_force_asymmetry_percent"
    share = measure(rec).metrics[key]
    index = measure(rec, Method(asymmetry="symmetry_index")).metrics[key]
    assert abs(index - 2.0 * share) < 1e-9
