"""The figure of one jump: what is marked is where the jump has it, and everything is named."""

from __future__ import annotations

import numpy as np
import pytest

from cmjlab.jump.measure import measure
from cmjlab.method import Method
from cmjlab.plots.jump import jump_alt_text, jump_figure, jump_title
from cmjlab.recording import Recording
from cmjlab.simulate.jump import simulate_jump


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
