"""A disk that is full at any moment: said in words, nothing half-written, and the next run works."""

from __future__ import annotations

import json
import os
import random
import shutil
import subprocess
import sys
from pathlib import Path

import pytest
from places import child_env
from report_kit import kit_study

HERE = Path(__file__).parent
COMMANDS = {
    "measure": ["measure", "{s}"],
    "report": ["report", "{s}", "--draft"],
    "share": ["share", "{s}", "{s}_copy", "--licence", "CC-BY-4.0"],
    "notebooks": ["notebooks", "{s}", "--only", "01"],
}
#: Kilobytes that each command writes on the small study, somewhat more.
WRITES_KB = {"measure": 400, "report": 3000, "share": 3500, "notebooks": 1500}
MANY = 15


def _can_mount() -> bool:
    """Return whether this computer lets a user mount a disk of the own."""
    if os.name != "posix" or shutil.which("unshare") is None:
        return False
    tried = subprocess.run(
        ["unshare", "-rm", "sh", "-c", "mount -t tmpfs tmpfs /mnt"],
        capture_output=True,
        check=False,
    )
    return tried.returncode == 0


mounts = pytest.mark.skipif(not _can_mount(), reason="no small disk can be mounted here")


@pytest.fixture(scope="module")
def study(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return kit_study(tmp_path_factory.mktemp("full") / "s", athletes=4).folder


def _fill(name: str, free_kb: int, study: Path, place: Path) -> tuple[int, str]:
    """Run a command with so much room on the disk; returns its exit code and last words."""
    place.mkdir(exist_ok=True)
    done = subprocess.run(
        ["unshare", "-rm", sys.executable, str(HERE / "full_disk_child.py"), str(study), str(place),
         str(free_kb), *COMMANDS[name]],
        env=child_env(), capture_output=True, text=True, timeout=300, check=True,
    )  # fmt: skip
    told = json.loads(done.stdout.splitlines()[-1])
    moment = f"{name}, {free_kb} kB free: {told}"
    assert "Traceback" not in told["said"], moment
    assert "fault of cmjlab" not in told["said"], moment
    assert told["code"] in (0, 1, 2), moment
    if told["code"] == 2:
        assert "make room" in told["said"], moment
    assert told["half"] == [], moment
    assert told["again"] == 0 or (name == "share" and told["code"] == 0), moment
    return told["code"], told["said"]


@mounts
@pytest.mark.parametrize("name", ["measure", "report"])
def test_a_full_disk_is_said_and_the_next_run_works(name, study, tmp_path):
    code, said = _fill(name, 40, study, tmp_path / "disk")
    assert code == 2
    assert "The disk is full" in said


@mounts
@pytest.mark.slow
@pytest.mark.parametrize("name", COMMANDS)
def test_many_full_disks(name, study, tmp_path):
    drawn = random.Random(name)
    codes = {}
    for _ in range(MANY):
        free_kb = drawn.randrange(0, WRITES_KB[name])
        codes[free_kb], _ = _fill(name, free_kb, study, tmp_path / "disk")
    print(name, sorted(codes.items()))
    assert 2 in codes.values()
