"""The frozen analysis plan: written once, compared afterwards, guarded by its key."""

from __future__ import annotations

import datetime as dt
import json

import pytest

from cmjlab.errors import StudyError
from cmjlab.keys import key_of
from cmjlab.study.folder.create import create_study, sessions_from_text, template_toml
from cmjlab.study.frozen_plan import FILE_NAME, freeze, plan_state
from cmjlab.study.study import Study

DAY = dt.date(2026, 9, 1)


@pytest.fixture
def folder(tmp_path):
    sessions = sessions_from_text("base1:baseline, post:post")
    return create_study(tmp_path / "block", settings=template_toml("Block", sessions))


def _edit(folder, old, new):
    path = folder / "study.toml"
    text = path.read_text(encoding="utf-8")
    assert old in text
    path.write_text(text.replace(old, new), encoding="utf-8")


def test_as_planned_and_changed_since(folder):
    assert plan_state(Study.read(folder)) is None
    freeze(Study.read(folder), today=DAY)
    state = plan_state(Study.read(folder))
    assert state.changes == ()
    assert str(state.sentence) == (
        f"The analysis plan was written down on 2026-09-01 (key {state.key[:12]})."
        " The analysis is as planned."
    )
    _edit(folder, 'title = "Block"', 'title = "Another"')
    state = plan_state(Study.read(folder))
    assert list(map(str, state.changes)) == ["title (declared “Block”, now “Another”)"]
    assert str(state.sentence).endswith(
        "Changed since then: title (declared “Block”, now “Another”)."
    )


def test_written_once(folder):
    freeze(Study.read(folder), today=DAY)
    before = (folder / FILE_NAME).read_bytes()
    with pytest.raises(StudyError, match="frozen already"):
        freeze(Study.read(folder))
    assert (folder / FILE_NAME).read_bytes() == before


def test_a_change_by_hand_is_found(folder):
    path = freeze(Study.read(folder), today=DAY)
    whole = json.loads(path.read_text(encoding="utf-8"))
    whole["declared"]["plan"]["primary_metric"] = "time_to_takeoff_s"
    path.write_text(json.dumps(whole), encoding="utf-8")
    with pytest.raises(StudyError, match="does not fit its key"):
        plan_state(Study.read(folder))


def test_recordings_after_the_block_are_told(folder):
    (folder / "athletes.csv").write_text("athlete\nA1\n", encoding="utf-8")
    name = "sub-A1_ses-post_run-01.csv"
    (folder / "recordings" / name).write_text("time,force\n0,1\n", encoding="utf-8")
    freeze(Study.read(folder), today=DAY)
    said = str(plan_state(Study.read(folder)).sentence)
    assert "when 1 recording after the block was there already" in said


@pytest.mark.parametrize("content", ["", "{}", "[1]", "not json"])
def test_another_file_of_that_name(folder, content):
    (folder / FILE_NAME).write_text(content, encoding="utf-8")
    with pytest.raises(StudyError, match="not a frozen plan"):
        plan_state(Study.read(folder))


def test_a_choice_that_a_later_version_brought_is_no_change_of_the_plan(folder):
    """A plan of an older version lacks a limit; only another value than its default is a change."""
    path = freeze(Study.read(folder), today=DAY)
    whole = json.loads(path.read_text(encoding="utf-8"))
    method = whole["declared"]["method"]
    assert method.pop("onset_rule")
    assert method["limits"].pop("pause_s") == 0.15
    content = {"declared": whole["declared"], "sizes": whole["sizes"]}
    path.write_text(json.dumps({**whole, "key": key_of(content)}), encoding="utf-8")
    assert plan_state(Study.read(folder)).changes == ()
    text = (folder / "study.toml").read_text(encoding="utf-8")
    more = "\n[method.limits]\npause_s = 0.3\n"
    (folder / "study.toml").write_text(text + more, encoding="utf-8")
    assert list(map(str, plan_state(Study.read(folder)).changes)) == [
        "method, limits, pause s (declared 0.15, now 0.3)"
    ]


def test_a_week_of_monitoring_that_comes_later_is_no_change_but_a_changed_role_is(folder):
    freeze(Study.read(folder), today=DAY)
    path = folder / "study.toml"
    text = path.read_text(encoding="utf-8")
    week = '[[sessions]]\nsession = "week1"\nrole = "monitoring"\n'
    place = text.rindex("[[sessions]]")
    path.write_text(text[:place] + week + text[place:], encoding="utf-8")
    assert plan_state(Study.read(folder)).changes == ()
    _edit(folder, 'role = "post"', 'role = "monitoring"')
    changes = list(map(str, plan_state(Study.read(folder)).changes))
    assert len(changes) == 1
    assert "post" in changes[0]
