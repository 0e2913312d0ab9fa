"""Ctrl-C at any moment of a command: one sentence, exit code 130, nothing half-written left."""

from __future__ import annotations

import os
import random
import shutil
import signal
import subprocess
import sys
import time
from pathlib import Path

import pytest
from places import child_env
from report_kit import kit_study

from cmjlab.files import abandoned

pytestmark = pytest.mark.skipif(os.name != "posix", reason="signals of POSIX")
#: What is interrupted; {s} is the study.
COMMANDS = {
    "measure": ["measure", "{s}"],
    "report": ["report", "{s}", "--draft"],
    "change": ["change", "{s}"],
    "share": ["share", "{s}", "{s}_copy", "--licence", "CC-BY-4.0"],
    "audit": ["audit", "{s}"],
}
#: Interrupts a command: in every run of the tests, and with ``-m slow``.
FEW, MANY = 1, 20
#: Python itself needs so long to begin; what it says before is not ours.
BEGUN_S = 0.15


@pytest.fixture(scope="module")
def study(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return kit_study(tmp_path_factory.mktemp("interrupts") / "s", athletes=4).folder


def _run(name: str, folder: Path) -> subprocess.Popen[str]:
    words = [word.format(s=folder) for word in COMMANDS[name]]
    return subprocess.Popen(
        [sys.executable, "-m", "cmjlab", *words],
        env=child_env(), stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True,
    )  # fmt: skip


def _interrupt_one(name: str, seed: int, study: Path, place: Path, seconds: float) -> int:
    """Interrupt a command at a drawn moment; returns its exit code."""
    folder = Path(shutil.copytree(study, place / f"{name}{seed}" / "s"))
    run = _run(name, folder)
    time.sleep(random.Random(f"{name} {seed}").uniform(BEGUN_S, seconds))
    run.send_signal(signal.SIGINT)
    out, wrong = run.communicate(timeout=60)
    moment = f"{name} {seed}: {out[-300:]} | {wrong[-600:]}"
    assert "Traceback" not in wrong, moment
    assert "fault of cmjlab" not in wrong, moment
    # While Python itself begins or ends, the system answers the signal: a shell shows 130 too.
    assert run.returncode in (0, 130, -signal.SIGINT), moment
    if run.returncode == 130:
        assert "cmjlab: stopped." in wrong, moment
    left = [p for e in (abandoned.FILE, abandoned.FOLDER) for p in folder.parent.rglob(f".*{e}")]
    assert left == [], moment
    assert (
        folder.parent.joinpath("s_copy").exists()
        <= folder.parent.joinpath("s_copy.key.csv").exists()
    )
    shutil.rmtree(folder.parent)
    return run.returncode


def _seconds(name: str, study: Path, place: Path) -> float:
    folder = Path(shutil.copytree(study, place / name / "s"))
    begun = time.monotonic()
    run = _run(name, folder)
    _, wrong = run.communicate(timeout=120)
    assert run.returncode in (0, 1), wrong
    return time.monotonic() - begun


@pytest.mark.parametrize("name", ["measure", "report"])
def test_an_interrupted_command_says_so_and_leaves_nothing(name, study, tmp_path):
    for seed in range(FEW):
        _interrupt_one(name, seed, study, tmp_path, 1.5)


@pytest.mark.slow
@pytest.mark.parametrize("name", COMMANDS)
def test_many_interrupts(name, study, tmp_path):
    seconds = _seconds(name, study, tmp_path)
    codes = [
        _interrupt_one(name, seed, study, tmp_path, seconds) for seed in range(100, 100 + MANY)
    ]
    print(name, f"{seconds:.1f} s", codes)
    assert codes.count(130) >= MANY // 2


def test_an_interrupt_while_the_command_is_loaded_is_answered_too(tmp_path):
    code = (
        "import signal, sys, builtins\n"
        "from cmjlab.__main__ import main\n"
        "old = builtins.__import__\n"
        "def stop(name, *rest, **more):\n"
        "    if name == 'cmjlab.cli.app': raise KeyboardInterrupt\n"
        "    return old(name, *rest, **more)\n"
        "builtins.__import__ = stop\n"
        "main()\n"
    )
    done = subprocess.run(
        [sys.executable, "-c", code], env=child_env(), capture_output=True, text=True
    )
    assert (done.returncode, done.stderr) == (130, "cmjlab: stopped.\n")
