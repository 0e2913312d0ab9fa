"""The check command knows the rooms, and the folders of tests mirror those of the package."""

from __future__ import annotations

import pytest
from check import BASE, STEPS, TOGETHER, arguments, files_of, rooms, run_stage, stages
from places import PACKAGE, ROOT, TESTS

#: Folders of tests without a room of the package: rules of the whole project.
OF_THE_PROJECT = {"fuzz", "project", "site"}


def test_folders_of_tests_mirror_rooms():
    assert {room for room in rooms() if not files_of(room)} == OF_THE_PROJECT
    assert not list(TESTS.glob("test_*.py")), "a test stands in no room"


def test_every_room_of_the_package_has_tests():
    folders = {p.parent for p in PACKAGE.glob("*/__init__.py")}
    assert {f.name for f in folders} - set(BASE) <= set(rooms())


def test_base_is_what_stands_at_the_top():
    files = files_of("base")
    assert {"cmjlab/results.py", "cmjlab/catalog", "cmjlab/tables"} <= set(files)
    assert all((ROOT / f).exists() for f in files)


def test_a_room_is_checked_alone():
    steps = arguments(["--room", "stats/change", "--room", "jump"]).steps
    assert list(steps) == ["format", "lint", "types", "tests"]
    for step in ("format", "lint"):
        assert steps[step][-4:] == [
            "cmjlab/stats/change", "cmjlab/jump", "tests/stats/change", "tests/jump",
        ]  # fmt: skip
    assert steps["types"][-2:] == ["cmjlab/stats/change", "cmjlab/jump"]
    assert steps["tests"][-2:] == ["tests/stats/change", "tests/jump"]


def test_a_room_without_package_files_has_no_types():
    assert "types" not in arguments(["--room", "project"]).steps
    with pytest.raises(SystemExit):
        arguments(["--room", "project", "--only", "types"])


def test_an_unknown_room_is_told_with_those_there_are(capsys):
    with pytest.raises(SystemExit):
        arguments(["--room", "statistics"])
    told = capsys.readouterr().err
    assert "no room 'statistics'; rooms: audit, base, cli, files, fuzz, jump" in told
    assert "stats/change" in told


def test_a_path_names_its_room_too():
    assert arguments(["--room", "tests/stats/change/"]).room == ["stats/change"]
    assert arguments(["--room", "cmjlab/files"]).room == ["files"]


def test_every_step_runs_once_and_steps_of_one_processor_at_the_same_time():
    order = stages(list(STEPS))
    assert sorted(s for stage in order for s in stage) == sorted(STEPS)
    assert [stage for stage in order if len(stage) > 1] == [list(TOGETHER)]
    assert stages(["doctests"]) == [["doctests"]]
    for step in TOGETHER:
        assert "-n" not in STEPS[step]


def test_what_runs_beside_another_is_told_whole_and_its_failure_is_seen(capsys):
    import os
    import sys

    words = "import sys; print('first'); print('second'); sys.exit({})"
    commands = {
        name: [sys.executable, "-c", words.format(code)] for name, code in (("a", 0), ("b", 3))
    }
    found = run_stage(commands, dict(os.environ))
    assert {name: passed for name, (passed, _) in found.items()} == {"a": True, "b": False}
    told = capsys.readouterr().out
    for name in commands:
        assert f"=== {name} ===\nfirst\nsecond\n" in told
