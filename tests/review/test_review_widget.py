"""The review window without a browser: what its controls do, and what they show."""

from __future__ import annotations

import sys

import pytest
from report_kit import kit_study

import cmjlab as cj
from cmjlab.errors import MissingExtraError
from cmjlab.review import page
from cmjlab.review.widget import KEYS

pytest.importorskip("ipywidgets")
NASTY = '<img src=x onerror="alert(1)"> & Zoë'


@pytest.fixture
def study(tmp_path):
    return kit_study(tmp_path, sessions=("base1", "post"), athletes=2)


@pytest.fixture
def panel(study):
    return cj.review_jumps(study, who="T1").panel


def _log(study):
    return cj.Study.open(study.folder).decisions


def test_window_is_a_widget_that_shows_the_first_jump(study):
    import ipywidgets

    box = cj.review_jumps(study, who="T1")
    assert isinstance(box, ipywidgets.VBox)
    assert "Jump 1 of 6" in box.panel.heading.value
    assert 'alt="Vertical force against time.' in box.panel.picture.value
    assert "data:image/png;base64," in box.panel.picture.value


def test_keys_act_at_once_and_the_field_is_empty_again(panel, study):
    panel.controls["reason"].value = "seen"
    for letter in "arun":
        panel.controls["keys"].value = letter
        assert panel.controls["keys"].value == ""
    assert _log(study)["action"].to_list() == ["accept", "reject", "undo"]
    assert "Jump 2 of 6" in panel.heading.value
    panel.controls["keys"].value = "P"
    assert "Jump 1 of 6" in panel.heading.value
    panel.controls["keys"].value = "x"
    assert "no key x" in panel.message.value
    assert set(KEYS) == set("nparuemd")


def test_every_button_says_its_key(panel):
    buttons = [c for c in panel.controls.values() if type(c).__name__ == "Button"]
    assert sorted(b.description[-2] for b in buttons) == sorted(KEYS)
    assert all(b.tooltip for b in buttons)


def test_nothing_is_written_without_a_reason(panel, study):
    panel.controls["accept"].click()
    assert "a decision needs it" in panel.message.value
    assert 'role="alert"' in panel.message.value
    assert _log(study).empty


def test_effect_move_and_undo_of_a_move(panel, study):
    own = panel.controls
    assert own["time"].step == pytest.approx(1 / 500)
    own["time"].value -= 0.02
    own["effect"].click()
    assert "+20.0 ms" in panel.moved.value
    assert _log(study).empty
    own["reason"].value = "arms"
    own["move"].click()
    assert "Moved by hand (onset)" in panel.moved.value
    assert _log(study)["event"].to_list() == ["onset"]
    own["undo_move"].click()
    assert panel.moved.value == ""
    own["event"].value = "landing"
    assert own["time"].value == pytest.approx(panel.review.jump.events["landing"], abs=1e-4)
    own["time"].value = 99.0
    own["move"].click()
    assert "found 99" in panel.message.value
    assert len(_log(study)) == 2


def test_jump_and_list_are_chosen(panel):
    panel.controls["jump"].value = 3
    assert "Jump 4 of 6" in panel.heading.value
    panel.controls["show"].value = "left_out"
    assert "No jump is left out." in panel.heading.value
    panel.controls["next"].click()
    assert "choose another" in panel.message.value
    panel.controls["show"].value = "all"
    assert "of 6" in panel.heading.value


def test_markup_in_reasons_and_people_is_shown_not_run(panel, study):
    panel.controls["who"].value = NASTY
    panel.controls["reason"].value = NASTY
    panel.controls["reject"].click()
    shown = panel.log.value + panel.heading.value + panel.message.value
    assert "<img" not in shown
    assert shown.count("&lt;img src=x onerror=&quot;alert(1)&quot;&gt; &amp; Zoë") >= 3
    assert _log(study)["who"].to_list() == [NASTY]


def test_a_file_that_cannot_be_read_is_said_in_place_of_the_figure(tmp_path):
    study = kit_study(tmp_path, sessions=("base1", "post"), athletes=2)
    file = study.files["file"].iloc[0]
    (study.folder / "recordings" / file).write_text("nothing\n", encoding="utf-8")
    panel = cj.review_jumps(study.reload(), who="T1").panel
    panel.review.find(file)
    panel.draw()
    assert "<img" not in panel.picture.value
    assert 'role="alert"' in panel.picture.value
    assert "Cannot be used" in panel.heading.value
    panel.controls["next"].click()
    assert "<img" in panel.picture.value


def test_without_ipywidgets_the_extra_is_named(study, monkeypatch):
    monkeypatch.setitem(sys.modules, "ipywidgets", None)
    with pytest.raises(MissingExtraError, match=r"cmjlab\[lab\].*Without it use cmjlab\.Review"):
        cj.review_jumps(study)


def test_a_message_is_read_out_and_escaped():
    assert page.message("a < b") == '<p role="status">a &lt; b</p>'
