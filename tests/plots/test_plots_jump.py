"""The figure of one jump: what is marked is where the jump has it, and everything is named."""

from __future__ import annotations

import dataclasses
import itertools
import math

import numpy as np
import pytest
from matplotlib.text import Text

from cmjlab.files.read import read_recording
from cmjlab.jump.measure import measure
from cmjlab.method import Method
from cmjlab.plots.jump import jump_alt_text, jump_figure, jump_title
from cmjlab.recording import Recording
from cmjlab.simulate.jump import RecordingSettings, SimulatedJump, simulate_jump
from cmjlab.simulate.profile import Profile
from cmjlab.simulate.spoil import drift, offset, restless_standing, start_late
from cmjlab.units import STANDARD_GRAVITY


@pytest.fixture(scope="module")
def recording() -> Recording:
    made = simulate_jump("typical", noise_sd_n=1.0, seed=3).recording
    return made.replace(athlete="A07", session="base1", trial="02")


@pytest.fixture(scope="module")
def jump(recording):
    return measure(recording, Method())


def _texts(figure) -> list[str]:
    out = [t.get_text() for axes in figure.axes for t in axes.texts]
    for axes in figure.axes:
        legend = axes.get_legend()
        out += [t.get_text() for t in legend.get_texts()] if legend else []
    return out


def test_every_phase_and_event_is_named(jump):
    texts = " ".join(_texts(jump_figure(jump))).replace("\n", " ")
    for word in ("weighing", "unweighting", "braking", "propulsion", "flight", "landing"):
        assert word in texts
    for word in ("onset", "minimum force", "peak downward velocity", "zero velocity", "take-off"):
        assert word in texts
    for word in ("left plate", "right plate", "both plates", "body weight"):
        assert word in texts


def test_axes_carry_units(jump):
    labels = [a.get_ylabel().replace("\n", " ") for a in jump_figure(jump).axes]
    assert "Vertical force (N)" in labels
    assert "Velocity (m/s)" in labels
    assert any("(cm)" in label for label in labels)
    assert any(a.get_xlabel().endswith("(s)") for a in jump_figure(jump).axes)


def test_marks_stand_at_the_events(jump):
    force = next(a for a in jump_figure(jump).axes if a.get_ylabel() == "Vertical force (N)")
    marks = sorted(float(line.get_xdata()[0]) for line in force.lines if len(line.get_xdata()) == 1)
    keys = (
        "onset",
        "minimum_force",
        "peak_downward_velocity",
        "zero_velocity",
        "takeoff",
        "landing",
    )
    assert marks == pytest.approx(sorted(jump.events[k] for k in keys))


def test_limbs_differ_in_line_style_not_only_in_colour(jump):
    force = next(a for a in jump_figure(jump).axes if a.get_ylabel() == "Vertical force (N)")
    lines = {line.get_label(): line for line in force.lines}
    assert lines["left plate"].get_linestyle() != lines["right plate"].get_linestyle()


def test_title_and_alt_text_say_who_and_how_high(jump):
    height = f"{100 * jump.metrics['jump_height_m']:.1f} cm"
    for text in (jump_title(jump), jump_alt_text(jump)):
        assert "Athlete A07, session base1, trial 02" in text
        assert height in text
    assert jump_figure(jump).alt_text == jump_alt_text(jump)


def test_moved_event_is_said_on_the_figure(recording, jump):
    moved = measure(recording, Method(), events={"onset": jump.events["onset"] - 0.040})
    texts = " ".join(_texts(jump_figure(moved))).replace("\n", " ")
    assert "(moved by hand, -40 ms)" in texts
    assert texts.count("moved by hand") == 1  # what follows from it was moved by nobody


def test_flags_stand_in_words(recording):
    noisy = recording.replace(
        force_n=recording.force_n + np.random.default_rng(1).normal(0, 8, recording.force_n.shape)
    )
    spoiled = measure(noisy, Method())
    assert spoiled.flags
    text = " ".join(_texts(jump_figure(spoiled))).replace("\n", " ")
    worst = min(spoiled.flags, key=lambda c: ("fail", "warn", "note").index(c.status))
    assert worst.reason[:25] in text


def test_recording_without_a_jump_is_drawn_as_force_only():
    standing = Recording(np.full(3000, 700.0), 1000.0, athlete="A01")
    figure = jump_figure(measure(standing, Method()))
    figure.svg()
    assert "no height" in jump_title(measure(standing, Method()))
    assert "Velocity" not in " ".join(a.get_ylabel() for a in figure.axes)


def test_lost_samples_do_not_stop_the_figure(recording):
    force = recording.force_n.copy()
    force[100:105] = np.nan
    jump_figure(measure(recording.replace(force_n=force), Method())).svg()


# ---- nothing overprints, whatever the jump ------------------------------------------------


def _simulated(plates: int = 2, *, noise: float = 1.0, **profile: float) -> SimulatedJump:
    return simulate_jump(
        Profile(**profile), noise_sd_n=noise, seed=3, settings=RecordingSettings(plates=plates)
    )


def _leaving_for(height_m: float) -> float:
    return float((2 * STANDARD_GRAVITY * height_m) ** 0.5)


#: Name -> shape of the jump.
SHAPES = {
    "typical": {},
    "low": {"takeoff_velocity_m_per_s": _leaving_for(0.12), "depth_m": 0.15},
    "high": {"takeoff_velocity_m_per_s": _leaving_for(0.60), "depth_m": 0.40, "braking": 1.6},
    "fast": {"depth_m": 0.08, "takeoff_velocity_m_per_s": 2.2, "unweighting": 0.95, "braking": 2.6},
    "slow and deep": {"depth_m": 0.55, "unweighting": 0.30, "braking": 0.8},
}
#: Name -> what spoils the recording.
SPOILED = {
    "starts late": start_late,
    "restless": lambda sim: restless_standing(sim, sd_n=60.0),
    "plate not zeroed": lambda sim: offset(sim, newton=200.0),
    "drift": lambda sim: drift(sim, newton=150.0),
}


def _drawn(figure) -> list:
    """Return every text that is seen, with its box in pixels."""
    figure.draw_without_rendering()
    ticks = {t for axes in figure.axes for t in [*_ticks(axes.xaxis), *_ticks(axes.yaxis)]}
    seen = {t for axes in figure.axes for t in _seen_ticks(axes)}
    found = []
    for text in figure.findobj(Text):
        hidden = not text.get_visible() or (text in ticks and text not in seen)
        if text.get_text().strip() and not hidden:
            found.append((text, Text.get_window_extent(text)))
    return found


def _ticks(axis) -> list:
    ticks = [*axis.get_major_ticks(), *axis.get_minor_ticks()]
    return [label for tick in ticks for label in (tick.label1, tick.label2)]


def _seen_ticks(axes) -> list:
    if not axes.axison:
        return []
    seen = []
    for axis in (axes.xaxis, axes.yaxis):
        low, high = sorted(axis.get_view_interval())
        seen += [t.label1 for t in axis.get_major_ticks() if low <= t.get_loc() <= high]
    return seen


def _clashes(figure) -> list[tuple[str, str]]:
    drawn = _drawn(figure)
    return [
        (one.get_text(), other.get_text())
        for (one, box), (other, beside) in itertools.combinations(drawn, 2)
        if min(box.x1, beside.x1) - max(box.x0, beside.x0) > 0.5
        and min(box.y1, beside.y1) - max(box.y0, beside.y0) > 0.5
    ]


def _outside(figure) -> list[str]:
    width, height = figure.bbox.width, figure.bbox.height
    return [
        text.get_text()
        for text, box in _drawn(figure)
        if box.x0 < -0.5 or box.y0 < -0.5 or box.x1 > width + 0.5 or box.y1 > height + 0.5
    ]


def _neat(figure) -> None:
    assert _clashes(figure) == []
    assert _outside(figure) == []
    small = [t.get_text() for t, _ in _drawn(figure) if t.get_fontsize() < 8.0]
    assert small == []


def test_the_fast_jump_of_these_tests_is_fast():
    jump = measure(_simulated(**SHAPES["fast"]).recording)
    assert jump.metrics["time_to_takeoff_s"] < 0.36


@pytest.mark.parametrize("plates", [1, 2])
@pytest.mark.parametrize("shape", SHAPES)
def test_no_text_overprints_another(shape, plates):
    _neat(jump_figure(measure(_simulated(plates, **SHAPES[shape]).recording)))


@pytest.mark.parametrize("fault", SPOILED)
def test_no_text_overprints_in_a_rejected_jump(fault):
    jump = measure(SPOILED[fault](_simulated()).recording)
    assert not jump.accepted
    _neat(jump_figure(jump))
    assert "not accepted" in jump_title(jump)


def test_no_text_overprints_with_long_names_and_moved_events(recording, jump):
    named = recording.replace(
        athlete="Academy-Player-0000017", session="pre_season_retest", trial="countermovement 02"
    )
    moved = {"onset": jump.events["onset"] - 0.040, "takeoff": jump.events["takeoff"] + 0.004}
    _neat(jump_figure(measure(named, Method(), events=moved)))


@pytest.mark.parametrize(
    "name", ["c06_three_jumps", "c09b_noisy", "c10_stops_in_flight", "c11_no_flight", "c12_clipped_1500",
             "c13_tucked_landing"]
)  # fmt: skip
def test_no_text_overprints_in_files(name, reference_data):
    _neat(jump_figure(measure(read_recording(reference_data / "cases" / f"{name}.csv"))))


def test_no_text_overprints_in_a_recording_of_a_course(reference_data):
    force = np.loadtxt(reference_data / "jumps" / "GRFZjump.txt")
    _neat(jump_figure(measure(Recording(force, 600.0))))


def _by_label(figure, words: str):
    for axes in figure.axes:
        if axes.get_ylabel().replace("\n", " ") == words:
            return axes
    raise AssertionError(f"no panel {words!r}")


def test_one_plate_is_not_called_both():
    for plates, words in (
        (("total",), "total force"),
        (("left",), "left plate"),
        (("plate_1",), "plate 1"),
    ):
        force = _simulated(1).recording.force_n
        texts = _texts(jump_figure(measure(Recording(force, 1000.0, plates))))
        assert words in texts
        assert "both plates" not in texts
        assert texts.count(words) == 1


def test_more_than_two_plates_are_not_called_both():
    force = np.repeat(_simulated(1).recording.force_n / 3, 3, axis=1)
    texts = _texts(
        jump_figure(measure(Recording(force, 1000.0, ("plate_1", "plate_2", "plate_3"))))
    )
    assert "all plates" in texts
    assert "both plates" not in texts


def test_power_stands_beside_force_velocity_and_displacement(jump):
    figure = jump_figure(jump)
    power = _by_label(figure, "Power (W)")
    _by_label(figure, "Velocity (m/s)")
    _by_label(figure, "Displacement (cm)")
    curve = max(power.lines, key=lambda line: len(line.get_xdata()))
    assert curve.get_ydata().max() == pytest.approx(
        jump.metrics["peak_propulsion_power_w"], rel=1e-3
    )
    assert curve.get_xdata().max() <= jump.events["takeoff"] + 1e-9
    assert any("peak" in t.get_text() for t in power.texts)


def test_no_word_is_broken_over_lines(jump):
    for axes in jump_figure(jump).axes:
        assert "-\n" not in axes.get_ylabel()


def test_time_of_each_phase_stands_with_its_name(jump):
    texts = " ".join(_texts(jump_figure(jump))).replace("\n", " ")
    for name, first, last in (
        ("unweighting", "onset", "peak_downward_velocity"),
        ("braking", "peak_downward_velocity", "zero_velocity"),
        ("propulsion", "zero_velocity", "takeoff"),
        ("flight", "takeoff", "landing"),
    ):
        took = 1000 * (jump.events[last] - jump.events[first])
        assert f"{name} {took:.0f} ms" in texts


def test_jump_without_height_draws_no_motion():
    """What a height cannot be had from is no velocity, power or displacement either."""
    jump = measure(_simulated(2).recording)
    metrics = {**jump.metrics, "jump_height_m": math.nan}
    figure = jump_figure(dataclasses.replace(jump, metrics=metrics))
    labels = " ".join(axes.get_ylabel() for axes in figure.axes)
    for word in ("Velocity", "Power", "Displacement"):
        assert word not in labels
    assert "are not drawn" in " ".join(_texts(figure)).replace("\n", " ")


def test_motion_ends_where_it_is_not_known(reference_data):
    jump = measure(read_recording(reference_data / "cases" / "c10_stops_in_flight.csv"))
    velocity = _by_label(jump_figure(jump), "Velocity (m/s)")
    curve = max(velocity.lines, key=lambda line: len(line.get_xdata()))
    assert curve.get_xdata().max() <= jump.events["takeoff"] + 1e-9


def test_these_tests_see_texts_that_overprint(jump):
    figure = jump_figure(jump)
    force = _by_label(figure, "Vertical force (N)")
    force.text(jump.events["landing"], 0.0, "one")
    force.text(jump.events["landing"], 5.0, "two")
    assert ("one", "two") in _clashes(figure)
