"""inspect and measure on one file: what is stated about it, where, and what comes first."""

from __future__ import annotations

import re
from pathlib import Path

import pytest
from typer.testing import CliRunner, Result

from cmjlab.cli.app import app
from cmjlab.simulate.jump import simulate_jump

LINES = 'force_columns = ["B"]\nforce_unit = "N"\n'


def run(*words: object) -> Result:
    return CliRunner().invoke(app, [str(w) for w in words])


@pytest.fixture(autouse=True)
def elsewhere(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Figures are saved where the command is given: not among the tests."""
    monkeypatch.chdir(tmp_path)


def measured(file: Path, *words: object) -> list[str]:
    done = run("measure", file, *words, "--figure", file.with_suffix(".png"))
    assert done.exit_code == 0, done.stderr
    return done.stdout.splitlines()


@pytest.fixture
def doubtful(tmp_path: Path) -> Path:
    """A recording of which only a person knows that B is the force, in a study's folder."""
    total = simulate_jump().recording.total_n
    rows = [f"{k / 1000:.3f},{0.3 * v:.2f},{v:.2f}" for k, v in enumerate(total)]
    folder = tmp_path / "block" / "recordings" / "week 1"
    folder.mkdir(parents=True)
    file = folder / "jump.csv"
    file.write_text("\n".join(["time,A,B", *rows]) + "\n")
    return file


def study_of(file: Path) -> Path:
    return file.parents[2] / "study.toml"


def refused(done: Result, *words: str) -> None:
    assert done.exit_code == 2, done.output
    assert "Traceback" not in done.output
    for word in words:
        assert word in done.stderr, done.stderr


@pytest.mark.parametrize("command", ["measure", "inspect"])
def test_a_file_that_layout_names(command: str, doubtful: Path, tmp_path: Path) -> None:
    assert run(command, doubtful).exit_code != 0
    stated = tmp_path / "plates.toml"
    stated.write_text("[[layout]]\n" + LINES)
    done = run(command, doubtful, "--layout", stated)
    assert done.exit_code == 0, done.output
    assert f"settings used: {stated}: [[layout]] 1" in done.stdout


@pytest.mark.parametrize("command", ["measure", "inspect"])
def test_study_toml_above_the_file_is_used_and_named(command: str, doubtful: Path) -> None:
    blocks = f'[[layout]]\nmatch = "other*"\nsign = -1\n[[layout]]\nmatch = "week 1/*"\n{LINES}'
    study_of(doubtful).write_text(blocks)
    done = run(command, doubtful)
    assert done.exit_code == 0, done.output
    used = f'settings used: {study_of(doubtful)}: [[layout]] 2 (match = "week 1/*")'
    assert used in done.stdout
    assert run(command, doubtful, "--layout", "none").exit_code != 0


def test_the_method_of_the_study_is_used_and_the_command_line_goes_on_top(doubtful: Path) -> None:
    text = f'[method]\nonset_rule = "percent"\n[[layout]]\n{LINES}'
    study_of(doubtful).write_text(text)

    def onset(*words: object) -> str:
        return next(line for line in measured(doubtful, *words) if line.startswith("onset"))

    stated = onset()
    assert any("[[layout]] 1 and [method]" in line for line in measured(doubtful))
    study_of(doubtful).write_text(f"[[layout]]\n{LINES}")
    assert onset() != stated
    assert onset("--set", "onset_rule=percent") == stated
    assert onset("--set", "preset=recommended", "--set", "onset_rule=percent") == stated
    study_of(doubtful).write_text(text)
    assert onset("--set", "preset=recommended") != stated


def test_the_remedy_that_is_shown_works_beside_the_file(doubtful: Path) -> None:
    text = run("measure", doubtful).stderr
    line = text.partition("in study.toml: ")[2].partition(";")[0]
    assert line.startswith("force_columns = ")
    (doubtful.parent / "study.toml").write_text(f"[[layout]]\n{line}\n")
    assert run("measure", doubtful).exit_code == 0


def test_the_block_that_inspect_prints_works_for_layout(doubtful: Path, tmp_path: Path) -> None:
    stated = tmp_path / "a.toml"
    stated.write_text("[[layout]]\n" + LINES)
    printed = run("inspect", doubtful, "--layout", stated).stdout.partition("--layout names:\n")[2]
    again = tmp_path / "b.toml"
    again.write_text(printed)
    assert measured(doubtful, "--layout", again)[0] == measured(doubtful, "--layout", stated)[0]


@pytest.mark.parametrize(
    ("content", "words"),
    [
        (None, ["no such file", "[[layout]]"]),
        ("[study]\n", ["no [[layout]] block", "cmjlab inspect"]),
        ('[[layout]]\nmatch = "x*"\n', ["no [[layout]] fits jump.csv", "'x*'"]),
        ("[[layout]]\nforce_column = 2\n", ["force_column", "force_columns"]),
        ("layout = 3\n", ["[[layout]] blocks"]),
        ("[[layout]]\n[method]\nonset_rul = 1\n", ["onset_rule"]),
        ("method = 1\n", ["[method]"]),
        ("match = x\n", ["no TOML"]),
    ],
)
def test_what_is_wrong_with_the_named_file(
    content: str | None, words: list[str], doubtful: Path, tmp_path: Path
) -> None:
    stated = tmp_path / "plates.toml"
    if content is not None:
        stated.write_text(content)
    refused(run("measure", doubtful, "--layout", stated), str(stated), *words)


def test_a_wrong_study_toml_above_can_be_left_aside(doubtful: Path) -> None:
    study_of(doubtful).write_text("[[layout]\n")
    refused(run("measure", doubtful), str(study_of(doubtful)), "With --layout none it is not used")


def test_layout_is_for_one_recording_only(doubtful: Path, tmp_path: Path) -> None:
    refused(
        run("measure", doubtful.parent, "--layout", tmp_path / "a.toml"),
        "--layout",
        "one recording",
    )


def test_verdict_and_height_come_first(tmp_path: Path) -> None:
    jump = simulate_jump(noise_sd_n=1.0)
    total = jump.recording.total_n
    file = tmp_path / "one.csv"
    for force, start in (
        (total, f"one.csv: accepted, jump height {100 * jump.truth['jump_height_m']:.1f} cm"),
        (total - jump.truth["body_weight_n"], "one.csv: not accepted, no jump height: "),
    ):
        rows = [f"{k / 1000:.3f},{v:.2f}" for k, v in enumerate(force)]
        file.write_text("\n".join(["Time [s],Fz [N]", *rows]) + "\n")
        first = measured(file)[0]
        assert first.startswith(start), first
    assert first.removeprefix(start).strip(), "the reason is missing"


def test_every_jump_of_a_file_comes_first(cases: Path, tmp_path: Path) -> None:
    file = tmp_path / "three.csv"
    file.write_bytes((cases / "c06_three_jumps.csv").read_bytes())
    lines = measured(file)
    heights = [18.8, 24.1, 14.9]
    for number, height in enumerate(heights, start=1):
        words = lines[number - 1].split("jump height ")
        assert f"jump {number} of 3" in words[0]
        assert float(words[1].split()[0]) == pytest.approx(height, abs=0.3)
    assert lines[3] == ""


def test_a_plate_zeroed_under_load_is_named_and_both_remedies_measure_it(tmp_path: Path) -> None:
    jump = simulate_jump(noise_sd_n=1.0)
    net = jump.recording.total_n - jump.truth["body_weight_n"]
    folder = tmp_path / "block"
    folder.mkdir()
    file = folder / "zeroed.csv"
    rows = [f"{k / 1000:.3f},{v:.3f}" for k, v in enumerate(net)]
    file.write_text("\n".join(["Time [s],Fz [N]", *rows]) + "\n")
    note = next(
        line
        for line in measured(file)
        if "zeroed with the athlete on them" in line and "note:" in line
    )
    option = re.search(r"`(--set) ([^`]*)`", note)
    setting = re.search(r"state (\S+ = \S+) under \[method\] in study.toml", note)
    assert option is not None
    assert setting is not None
    accepted = f"zeroed.csv: accepted, jump height {100 * jump.truth['jump_height_m']:.1f} cm"
    assert measured(file, *option.groups())[0].startswith(accepted)
    (folder / "study.toml").write_text(f"[method]\n{setting[1]}\n")
    assert measured(file)[0].startswith(accepted)
