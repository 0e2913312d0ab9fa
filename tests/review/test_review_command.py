"""``cmjlab review``: one jump shown and decided on from the command line."""

from __future__ import annotations

import pytest
from report_kit import kit_study
from typer.testing import CliRunner

import cmjlab as cj
from cmjlab.cli.app import app


@pytest.fixture
def study(tmp_path):
    return kit_study(tmp_path, sessions=("base1", "post"), athletes=2)


def _run(study, *words: str):
    return CliRunner().invoke(app, ["review", str(study.folder), *words])


def test_without_a_file_flagged_jumps_are_listed(study):
    done = _run(study)
    assert done.exit_code == 0
    assert "6 of 6 jumps have flags" in done.output


def test_a_jump_is_shown_decided_on_and_shown_again(study):
    file = study.files["file"].iloc[0]
    done = _run(study, file)
    assert "Counts: no rule against it." in done.output
    assert "take-off: 2." in done.output
    assert "not diagnoses" in done.output
    done = _run(study, file, "--do", "reject", "--reason", "arms <b>", "--who", "T1")
    assert "Does not count: rejected by T1 (arms <b>)" in done.output
    done = _run(study, file, "--do", "undo", "--reason", "no", "--who", "T1")
    assert "Counts: no rule against it." in done.output
    assert cj.Study.open(study.folder).decisions["action"].to_list() == ["reject", "undo"]


def test_a_move_is_tried_before_it_is_written(study):
    file = study.files["file"].iloc[0]
    at = study.jump(file).events["onset"] - 0.02
    done = _run(study, file, "--event", f"onset={at:.4f}")
    assert "(+20.0 ms)" in done.output
    assert "nothing has been written" in done.output
    assert cj.Study.open(study.folder).decisions.empty
    words = ("--do", "move", "--event", f"onset={at:.4f}", "--reason", "arms", "--who", "T1")
    assert _run(study, file, *words).exit_code == 0
    assert cj.Study.open(study.folder).decisions["event"].to_list() == ["onset"]
    done = _run(study, file, "--do", "undo", "--event", "onset", "--reason", "x", "--who", "T1")
    assert "Counts: no rule against it." in done.output


@pytest.mark.parametrize(
    ("words", "message"),
    [
        (("--do", "accept", "--who", "T1"), "reason: a decision needs it"),
        (("--do", "accept", "--reason", "x"), "who: a decision needs it"),
        (("--do", "keep"), "--do: found 'keep'"),
        (("--do", "move"), "a move needs an event and seconds"),
        (("--event", "onset=early"), "--event: found 'onset=early'"),
        (("--jump", "3"), "jump 3, is not among the 6"),
    ],
)
def test_what_cannot_be_is_said_in_one_sentence(study, words, message):
    done = _run(study, study.files["file"].iloc[0], *words)
    assert done.exit_code == 2
    assert message in done.output
    assert "Traceback" not in done.output
