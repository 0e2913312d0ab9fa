"""The command line as a first user meets it: one clear sentence, no traceback."""

from __future__ import annotations

import contextlib
import subprocess
import sys
from pathlib import Path

import pytest
from typer.testing import CliRunner

from cmjlab.cli.app import app

Done = subprocess.CompletedProcess[str]


def run(*words: str, cwd: Path | None = None) -> Done:
    """Run a command in this process; an error that no sentence explains is raised."""
    with contextlib.chdir(cwd or Path.cwd()):
        done = CliRunner().invoke(app, words)
    if done.exception is not None and not isinstance(done.exception, SystemExit):
        raise done.exception
    return subprocess.CompletedProcess(words, done.exit_code, done.stdout, done.stderr)


def run_alone(*words: str, cwd: Path | None = None) -> Done:
    """Run a command as a user does, in a process of its own."""
    command = [sys.executable, "-m", "cmjlab", *words]
    return subprocess.run(
        command, capture_output=True, text=True, cwd=cwd, check=False, timeout=120
    )


def refused(done: Done, *words: str) -> None:
    assert done.returncode not in (0, -11), done.stdout
    assert "Traceback" not in done.stderr
    lines = [x for x in done.stderr.splitlines() if x.strip()]
    assert len(lines) == 1, done.stderr
    assert lines[0].startswith("cmjlab: ")
    for word in words:
        assert word in lines[0], done.stderr


def test_help_and_version():
    done = run_alone("--help")
    assert done.returncode == 0
    assert "report" in done.stdout
    assert run_alone("--version").stdout.startswith("cmjlab 0.")


@pytest.mark.parametrize("command", ["measure", "inspect"])
def test_missing_file(command, tmp_path):
    refused(run_alone(command, str(tmp_path / "none.csv")), "none.csv")


@pytest.mark.parametrize("command", ["measure", "inspect"])
@pytest.mark.parametrize(
    ("name", "content"),
    [
        ("empty.csv", b""),
        ("picture.csv", b"\x89PNG\r\n\x1a\n\x00\x00\x00\rIHDR" + bytes(range(256)) * 20),
        ("words.txt", b"The athletes jumped well today.\nNobody fell.\nWe had soup.\n"),
        ("short.csv", b"time,force\n0.000,700\n0.001,701\n0.002,702\n"),
    ],
)
def test_hostile_files(command, name, content, tmp_path):
    path = tmp_path / name
    path.write_bytes(content)
    refused(run(command, str(path), cwd=tmp_path), name)


@pytest.mark.parametrize("command", ["report", "check", "measure", "reliability", "change"])
def test_folder_without_study_toml(command, tmp_path):
    if command == "check":
        done = run(command, str(tmp_path))
        assert done.returncode == 1
        assert "study.toml" in done.stdout
        assert "Traceback" not in done.stderr
    else:
        refused(run(command, str(tmp_path)), "study.toml")


@pytest.mark.parametrize("command", ["report", "reliability"])
def test_folder_that_does_not_exist(command, tmp_path):
    refused(run(command, str(tmp_path / "nowhere")), "nowhere")


def test_unknown_setting_is_named(tmp_path):
    path = tmp_path / "x.txt"
    path.write_text("1\n" * 50)
    refused(
        run("measure", str(path), "--set", "onset_rul=sd", "--rate", "1000"),
        "onset_rul",
        "onset_rule",
    )


def test_file_without_rate_says_how_to_give_one(reference_data):
    for name in ("GRFZjump_m.txt", "GRFZjump_n.txt"):
        refused(run("measure", str(reference_data / "jumps" / name)), "--rate")


def test_measure_prints_events_metrics_checks_and_saves_a_figure(reference_data, tmp_path):
    file = reference_data / "jumps" / "GRFZjump.txt"
    figure = tmp_path / "jump.png"
    done = run_alone("measure", str(file), "--rate", "600", "--figure", str(figure))
    assert done.returncode == 0, done.stderr
    for word in ("take-off", "Jump height (take-off velocity)", "Checks", "not diagnoses"):
        assert word in done.stdout
    assert figure.stat().st_size > 10_000
