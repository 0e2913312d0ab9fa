"""Every fault put into a copy of the demo: page one says it, in the place of what rests on it."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import fault_kit
import pandas as pd
import pytest
from report_kit import text_of
from typer.testing import CliRunner

import cmjlab as cj
from cmjlab.cli.app import app
from cmjlab.report.build.stops import Stops
from cmjlab.report.gather import gather
from cmjlab.report.sheets.athlete import athlete_page, gather_material
from cmjlab.report.sheets.block import write_block_sheets
from cmjlab.study.check.doubt import Doubt

HEIGHT, POWER = "strength: jump height", "strength: peak propulsion power per body mass"
TIME, DEPTH = "fast_braking: time to take-off", "fast_braking: countermovement depth"
ALL = {HEIGHT, POWER, TIME, DEPTH}

pytestmark = pytest.mark.usefixtures("undrawn")


@pytest.fixture(scope="module")
def measured(tmp_path_factory) -> Path:
    """The demo with its results kept, so that a copy measures only what was changed."""
    folder = fault_kit.copied(cj.demo_study(), tmp_path_factory.mktemp("measured") / "demo")
    cj.Study.open(folder).measure()
    return folder


@pytest.fixture
def spoiled(measured, tmp_path, request) -> Path:
    """A copy with the fault that a test names."""
    folder = fault_kit.copied(measured, tmp_path / "copy")
    getattr(fault_kit, request.param)(folder)
    return folder


def answers(report: Any) -> dict[str, str]:
    """Return the targets of page one with their answers."""
    table = next(b for b in report.section("coach").blocks if b.kind == "table")
    return {row[0]: row[2] for row in table.rows}


FAULTS = {
    "started_late": ("most jumps of post do not count", ALL),
    "half_rate": ("the sampling rate of post seems to be stated wrongly", ALL),
    "scale_off": ("everybody’s mass shifted together in post", {HEIGHT, POWER, DEPTH}),
    "sides_exchanged": ("left and right seem to be exchanged in post", set()),
    "one_file_twice": ("one recording stands in two places, for A02 and A05", {TIME, DEPTH}),
    "group_missing": ("strength has no jump in post", {HEIGHT, POWER}),
    "in_pounds": ("squat_1rm_kg of A01, A02, A03, A05 seems to be in pounds", set()),
    "another_person": ("the mass of A02 in post is not that of the roster", {TIME, DEPTH}),
}


@pytest.mark.parametrize(
    ("fault", "why", "stopped"), [(k, *v) for k, v in FAULTS.items()], ids=list(FAULTS)
)
def test_page_one_stops_what_rests_on_the_fault_and_nothing_else(
    fault, why, stopped, measured, tmp_path
):
    folder = fault_kit.copied(measured, tmp_path / "copy")
    getattr(fault_kit, fault)(folder)
    report = gather(cj.Study.open(folder))
    page = report.section("coach")
    assert [b.kind for b in page.blocks[:3]] == ["heading", "paragraph", "items"]
    assert page.blocks[0].text == "Solve this first"
    assert page.blocks[2].items == report.stops
    assert len(report.stops) == 1
    found = answers(report)
    assert set(found) == ALL
    assert {t for t, a in found.items() if a == f"not shown, because {why}"} == stopped
    assert not [a for t, a in found.items() if t not in stopped and "not shown, because" in a]
    assert "Solve what stands at the top" in text_of(page)
    assert report.tables["doubts"]["level"].tolist() == ["fail"]
    marked = report.tables["targets"].get("stopped", pd.Series([""] * 4))
    assert (marked != "").sum() == len(stopped)
    if stopped == ALL:  # nothing is left to say anything about, and nobody is sent anywhere
        for claim in ("Keep what worked", "Judge this", "Talk with", "Invite", "Watch this"):
            assert claim not in text_of(page)
    others = [s for s in report.sections if s.key in ("groups", "individuals", "sentences")]
    assert all(why in s.blocks[0].text for s in others)


def test_the_untouched_demo_says_nothing_of_all_this(measured):
    report = gather(cj.Study.open(measured))
    assert report.stops == ()
    assert "doubts" not in report.tables
    assert "stopped" not in report.tables["targets"]
    assert "cannot be right" not in " ".join(text_of(s) for s in report.sections)


@pytest.mark.parametrize("spoiled", ["scale_off"], indirect=True)
def test_a_study_without_targets_stops_its_main_measure(spoiled):
    (spoiled / "targets.csv").unlink()
    page = gather(cj.Study.open(spoiled)).section("coach")
    table = next(b for b in page.blocks if b.kind == "table")
    assert {row[-1] for row in table.rows} == {
        "not shown, because everybody’s mass shifted together in post"
    }
    assert {row[1:5] for row in table.rows} == {("–",) * 4}
    assert not [b for b in page.blocks if b.kind == "figure"]


@pytest.mark.parametrize("spoiled", ["scale_off"], indirect=True)
def test_what_a_person_found_to_be_true_stops_nothing_and_is_said(spoiled):
    path = spoiled / "study.toml"
    text = path.read_text(encoding="utf-8")
    settled = '[plan]\nsettled = ["mass_shift post", "no_such doubt"]\n'
    path.write_text(text.replace("[plan]\n", settled, 1), encoding="utf-8")
    problems = cj.check_study(spoiled).set_index("code")
    assert problems.loc["mass_shift", "severity"] == "note"
    assert "has no effect" in problems.loc["settled_without_doubt", "remedy"]
    report = gather(cj.Study.open(spoiled))
    assert report.stops == ()
    assert not [a for a in answers(report).values() if "because" in a]
    first = report.section("coach").blocks[0].text
    assert first.startswith("Looked into by a person, who found it to be true: post: 29 athletes")


# ---- commands -------------------------------------------------------------------------------------


@pytest.mark.parametrize("spoiled", ["scale_off"], indirect=True)
def test_commands_say_it_and_end_with_exit_code_1(spoiled):
    run = CliRunner().invoke
    done = run(app, ["report", str(spoiled)])
    assert done.exit_code == 1
    assert "report: " in done.stdout
    assert list((spoiled / "results").glob("report_*.html"))  # written all the same
    assert "29 athletes weigh +3.2 % in post" in done.stderr
    assert "Solve them, then run the command again" in done.stderr
    done = run(app, ["check", str(spoiled)])
    assert done.exit_code == 1
    assert 'settled = ["mass_shift post"]' in done.stdout
    done = run(app, ["change", str(spoiled)])
    assert done.exit_code == 0
    assert done.stdout.startswith("fail  post: 29 athletes weigh")


# ---- sheets -----------------------------------------------------------------------------------------


@pytest.mark.parametrize("spoiled", ["another_person"], indirect=True)
def test_an_athletes_page_carries_only_what_concerns_the_athlete(spoiled):
    material = gather_material(cj.Study.open(spoiled))
    page = athlete_page(material, "A02")
    assert "kg on the plate" in page.stops[0]
    assert page.change == (
        "The change is not shown, because the mass of A02 in post is not that of the roster.",
    )
    other = athlete_page(material, "A01")
    assert other.stops == ()
    assert "not shown" not in " ".join(other.change)


@pytest.mark.parametrize("spoiled", ["in_pounds"], indirect=True)
def test_a_block_sheet_carries_what_placed_its_athletes(spoiled, tmp_path):
    path = write_block_sheets(cj.Study.open(spoiled), tmp_path / "sheets.html")
    page = path.read_text(encoding="utf-8")
    assert page.count("Look at this before training by this sheet: squat_1rm") >= 1
    wall = page[page.index('id="subgroup-1"') :]
    assert wall.count("ask the coach before training by it") >= 1
    assert "look like pounds" not in wall  # whom it concerns is for coaches, not for the wall


# ---- which results rest on what -------------------------------------------------------------------


def test_a_stop_reaches_the_groups_of_its_athletes_only():
    doubt = Doubt("same_content", "fail", ("post",), ("A", "B"), "plate")
    members = {"one": frozenset("A"), "two": frozenset("BC"), "three": frozenset("D")}
    stops = Stops((doubt,), members=members)
    reached = {g: bool(stops.of("jump_height_m", ("base", "post"), (g,))) for g in members}
    assert reached == {"one": True, "two": True, "three": False}
    assert stops.of("jump_height_m", ("post",)) == (doubt,)
    assert stops.of("jump_height_m", ("base",), ("one",)) == ()
    assert stops.of("squat_1rm_kg", ("post",), ("one",)) == ()
    assert stops.of_athlete("D") == ()
    assert stops.of_athlete("A", "jump_height_m", ("post",)) == (doubt,)
