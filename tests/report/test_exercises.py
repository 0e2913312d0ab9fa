"""Each notebook holds the exercises that its file declares, with hints in steps and a solution."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

from cmjlab.errors import ArgumentError
from cmjlab.notebook import EXERCISES, check_exercise, hint, prose
from cmjlab.report.notebooks.exercises.check import check_choice
from cmjlab.report.notebooks.files import cells_of, choose_notebooks
from cmjlab.words.catalog import read_words

PATHS = {path.name[:2]: path for path in choose_notebooks()}
#: Notebooks that have fewer than three exercises so far.
FEWER = {}
GRADES = {1: "read it off", 2: "compute it yourself", 3: "decide"}


def source_of(path: Path, kind: str) -> str:
    return "\n".join("".join(c["source"]) for c in cells_of(path) if c["cell_type"] == kind)


def test_every_notebook_has_a_file_of_exercises():
    assert list(PATHS) == sorted({number[:2] for number in EXERCISES})


@pytest.mark.parametrize("number", PATHS)
def test_a_notebook_holds_its_exercises_each_with_heading_and_cell(number):
    declared = [n for n in EXERCISES if n.startswith(f"{number}.")]
    assert declared == [f"{number}.{k}" for k in range(1, len(declared) + 1)]
    headings = re.findall(
        r"^### Exercise (\S+) · (.*)$", source_of(PATHS[number], "markdown"), re.M
    )
    assert headings == [(n, GRADES[EXERCISES[n].grade]) for n in declared]
    code = source_of(PATHS[number], "code")
    assert re.findall(r'check_exercise\(\s*"([\d.]+)", answer', code) == declared
    assert [f'# hint("{n}", 1)' in code for n in declared] == [True] * len(declared)


@pytest.mark.parametrize("number", PATHS)
def test_a_notebook_has_three_exercises_and_one_of_them_is_computed(number):
    grades = {EXERCISES[n].grade for n in EXERCISES if n.startswith(f"{number}.")}
    count = sum(n.startswith(f"{number}.") for n in EXERCISES)
    assert count >= 3
    assert 2 in grades


@pytest.mark.parametrize("number", EXERCISES)
def test_hints_lead_to_the_last_one_in_steps(number):
    words = read_words().part(f"exercises.{number}")
    steps = sum(key.startswith("hint_") for key in words)
    assert steps >= 2
    assert set(words) == {"how", *(f"hint_{k}" for k in range(1, steps + 1))}
    for step in range(1, steps):
        assert hint(number, step).endswith(f'(Next: hint("{number}", {step + 1}).)')
    assert "Next" not in hint(number, steps)
    for wrong in (0, steps + 1, "1", None, True, 1.0):
        with pytest.raises(ArgumentError, match=f"exercise {number} has {steps} hints"):
            hint(number, wrong)


def test_an_exercise_that_does_not_exist_is_refused():
    for number in ("99", "04", "04.9", "", 4):
        with pytest.raises(ArgumentError, match="number"):
            check_exercise(number, 1, None)
        with pytest.raises(ArgumentError, match="number"):
            hint(number)


def test_every_kind_of_exercise_is_known():
    for number, exercise in EXERCISES.items():
        assert exercise.grade in GRADES, number
        assert exercise.choices or exercise.tolerance >= 0, number
        for key in exercise.known:
            assert read_words().say(f"exercise_known.{key}").startswith("Not yet"), (number, key)


@pytest.mark.parametrize(
    ("answer", "begins"),
    [
        (None, "Not answered yet"),
        (" Too Small. ", "Right."),
        ("matters", "Not yet: not this one"),
        ("perhaps", "Not yet: answer with one of"),
        (7, "Not yet: answer with one of"),
        (["too small"], "Not yet: answer with one of"),
    ],
)
def test_a_decision_is_read_as_people_write_it(answer, begins):
    choices = ("matters", "too small", "cannot tell")
    told = check_choice(answer, "too small", choices)
    assert told.startswith(begins)
    if "one of" in told:
        assert '"matters", "too small" or "cannot tell"' in told


# ---- prose ---------------------------------------------------------------------------------


def test_prose_is_a_paragraph_or_bullets_and_no_markup():
    assert prose("One.") == "One."
    assert prose(["One.", "Two."], "One.") == "- One.\n- Two."
    assert prose(([text] for text in ("One.", "Two.")), ()) == "- One.\n- Two."
    assert prose() == ""
    shown = prose("fast_braking * 2 < 3 $x$")._repr_markdown_()
    assert shown == r"fast\_braking \* 2 \< 3 \$x\$"
    assert repr(prose("One.")) == "One."
