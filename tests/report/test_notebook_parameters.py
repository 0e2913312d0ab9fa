"""Parameters of notebooks: every declared one changes what is shown; the command sets them."""

from __future__ import annotations

import re
import shutil

import pytest
from exercise_kit import check_one
from notebook_kit import Asked, cells_shown, shown_by

import cmjlab as cj
from cmjlab.errors import ArgumentError, StudyError
from cmjlab.report.notebooks.declared import declared, declared_in, read_settings, with_values
from cmjlab.report.notebooks.files import cells_of, choose_notebooks

NOTEBOOKS = {path.name[:2]: path for path in choose_notebooks()}
HAVE = declared_in(NOTEBOOKS.values())
#: Another value of each parameter, on the demo study. ``study`` and ``results`` are places, and
#: ``draft`` is for a block that is not over: they have tests of their own below.
OTHER = {
    "metric": "time_to_takeoff_s",
    "before": "base1",
    "after": "mon3",
    "level": 0.8,
    "groups": ["strength", "usual"],
    "athlete": "A10",
    "number": 7,
    "seed": 7,
    "looks": 20,
    "matters": 0.02,
    "power": 0.9,
    "share": 0.5,
}
DECLARED = [(f[:2], name) for f, values in HAVE.items() for name in values if name in OTHER]
OWN_TEST = ("study", "results", "draft")


@pytest.fixture(scope="module")
def demo(tmp_path_factory):
    """A copy of the demo study that has been measured, and a folder beside it to run in."""
    home = tmp_path_factory.mktemp("notebooks")
    ours = cj.demo_study()
    shutil.copytree(ours, home / "demo", ignore=shutil.ignore_patterns("results"))
    if (ours / "results" / "store").is_dir():
        shutil.copytree(ours / "results" / "store", home / "demo" / "results" / "store")
    (home / "desk").mkdir()
    return home


@pytest.fixture(scope="module")
def usual(demo):
    """What every notebook shows with its own parameters, made once for each."""
    made: dict[str, list[str]] = {}
    asked: dict[str, Asked] = {}

    def of(number: str) -> list[str]:
        if number not in made:
            asked[number] = []
            made[number] = shown_by(
                NOTEBOOKS[number], {"study": "../demo"}, demo / "desk", asked[number]
            )
        return made[number]

    of.asked = asked
    return of


@pytest.mark.parametrize(
    ("number", "name"),
    [
        # A whole report is gathered for each parameter of 06; other tests gather it often enough.
        pytest.param(number, name, marks=pytest.mark.slow if number == "06" else ())
        for number, name in DECLARED
    ],
)
def test_every_declared_parameter_changes_what_is_shown(demo, usual, number, name):
    changed = {"study": "../demo", name: OTHER[name]}
    other = cells_shown(NOTEBOOKS[number], changed, demo / "desk")
    differs = any(a != b for a, b in zip(usual(number), other, strict=True))
    assert differs, f"notebook {number} shows the same whatever {name} is"


@pytest.mark.parametrize("number", NOTEBOOKS)
def test_every_exercise_accepts_its_solution_and_nothing_far_from_it(usual, number):
    usual(number)
    for exercise, source, metric in usual.asked[number]:
        check_one(exercise, source, metric)


def test_every_parameter_has_a_test():
    names = {name for values in HAVE.values() for name in values}
    assert names == {*OTHER, *OWN_TEST}


def test_draft_writes_the_report_of_a_block_that_is_not_over(demo, tmp_path):
    folder = tmp_path / "early"
    shutil.copytree(demo / "demo", folder)
    for path in (folder / "recordings").glob("*ses-post*"):
        path.unlink()
    (tmp_path / "desk").mkdir()
    with pytest.raises(StudyError, match="draft"):
        shown_by(NOTEBOOKS["06"], {"study": "../early"}, tmp_path / "desk")
    shown_by(NOTEBOOKS["06"], {"study": "../early", "draft": True}, tmp_path / "desk")
    (page,) = (folder / "results").glob("report_*.html")
    assert "Draft: parts are still missing" in page.read_text(encoding="utf-8")


def test_a_study_that_is_missing_is_called_missing(demo):
    with pytest.raises(StudyError, match=r"the study folder is missing.*study = "):
        shown_by(NOTEBOOKS["00"], {"study": "../no_such"}, demo / "desk")


def test_results_go_where_the_parameter_says(demo):
    shown_by(NOTEBOOKS["00"], {"study": "../demo", "results": "own"}, demo / "desk")
    assert (demo / "desk" / "own" / "store").is_dir()


# ---- set from outside ----------------------------------------------------------------------


def test_settings_are_read_in_the_type_of_their_parameter():
    texts = ["level=0,9", "groups=strength, usual", "athlete=007", "number=3", "metric=none"]
    assert read_settings(texts, HAVE) == {
        "level": 0.9,
        "groups": ["strength", "usual"],
        "athlete": "007",
        "number": 3,
        "metric": None,
    }


@pytest.mark.parametrize(
    ("text", "message"),
    [
        ("levl=0.9", "have no parameter 'levl'. Did you mean 'level'"),
        ("levl=0.9", "power (08)"),
        ("level=high", "--set level=high: a number is needed"),
        ("number=1.5", "--set number=1.5: a whole number is needed"),
        ("level", "write NAME=VALUE"),
        ("study=../x", "'study' is said by the command itself"),
    ],
)
def test_settings_that_are_wrong_are_refused_in_words(text, message):
    with pytest.raises(ArgumentError, match=re.escape(message)):
        read_settings([text], HAVE)


def test_a_name_set_twice_is_refused():
    with pytest.raises(ArgumentError, match="given twice"):
        read_settings(["level=0.9", "level=0.8"], HAVE)


def test_the_cell_keeps_its_comments_when_values_are_put_in():
    source = 'level = None  # ±: as the plan says\nmetric = "a"  # b'
    made = with_values(source, {"level": 0.9, "metric": 'x"y', "other": 1})
    assert made == 'level = 0.9  # ±: as the plan says\nmetric = "x\\"y"  # b'


@pytest.mark.parametrize("path", NOTEBOOKS.values(), ids=lambda p: p.name)
def test_every_parameter_can_be_set_and_reaches_the_notebook(path):
    cells = cells_of(path)
    values = {name: f"new {name}" for name in declared(cells)}
    for cell in cells:
        if "parameters" in cell["metadata"].get("tags", []):
            cell["source"] = with_values("".join(cell["source"]), values)
    assert declared(cells) == values
    call = next(
        "".join(c["source"]) for c in cells if "notebook_parameters(" in "".join(c["source"])
    )
    assert all(re.search(rf"\b{name}={name}\b", call) for name in values)
