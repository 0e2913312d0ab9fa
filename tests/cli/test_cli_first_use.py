"""The wrong turns of a first user: every message names what to do next, and none is a traceback."""

from __future__ import annotations

import shutil
from pathlib import Path

import pytest
from places import SAMPLE_DATA
from typer.testing import CliRunner, Result

from cmjlab.cli import say
from cmjlab.cli.app import app

MINI = SAMPLE_DATA / "merrowfold_mini"


def run(*words: object) -> Result:
    return CliRunner().invoke(app, [str(w) for w in words])


def refused(done: Result, *words: str) -> None:
    assert done.exit_code not in (0, 1, 70), done.output
    assert isinstance(done.exception, SystemExit)
    assert "Traceback" not in done.output
    for word in words:
        assert word in done.stderr, done.stderr


@pytest.fixture
def begun(tmp_path: Path) -> Path:
    """A new study with a blank and accents in its name, and no recording yet."""
    folder = tmp_path / "Blöck 1 été"
    done = run("new", folder)
    assert done.exit_code == 0
    assert f'cmjlab check "{folder}"' in done.stdout
    return folder


@pytest.fixture
def filled(begun: Path) -> Path:
    """The same study with recordings copied in, and nothing else filled in."""
    for path in (MINI / "recordings").iterdir():
        shutil.copy(path, begun / "recordings")
    return begun


@pytest.mark.parametrize("command", ["measure", "reliability", "change", "plan", "report"])
def test_before_anything_is_there_the_way_on_is_told(command, begun):
    refused(run(command, begun), "no recordings", "cmjlab gather", f'cmjlab check "{begun}"')


def test_today_before_anybody_jumped(begun):
    done = run("today", begun)
    assert done.exit_code == 0
    assert "nobody yet" in done.stdout


def test_every_line_of_help_is_whole():
    done = run("--help")
    assert "..." not in done.stdout.partition("Commands:")[2]
    assert "cmjlab demo FOLDER" in done.stdout


@pytest.mark.parametrize("command", ["check", "measure", "report", "change", "plan", "today"])
def test_a_place_inside_the_study_leads_back_to_it(command, filled):
    done = run(command, filled / "recordings")
    assert done.exit_code != 0
    assert f"inside the study folder {filled}" in done.output


def test_the_name_of_a_study_that_is_nearly_right(filled, monkeypatch):
    monkeypatch.chdir(filled.parent)
    refused(run("report", "Blöck 1 ete"), "Did you mean 'Blöck 1 été'")
    refused(run("report", filled / "study.toml"), "name that folder")


def test_recordings_without_roster_and_dates_are_no_problem_but_are_told(filled):
    done = run("check", filled)
    assert done.exit_code == 0
    for words in ("no problems found", "athletes: no rows", "no date for base1"):
        assert words in done.stdout, done.stdout


def test_the_roster_of_the_demo_leaves_only_the_comparison_group_to_name(filled):
    shutil.copy(MINI / "athletes.csv", filled)
    done = run("check", filled)
    assert "plan.control_group" in done.stdout
    assert "athletes: no rows" not in done.stdout


def test_files_without_a_rate_stand_together_and_the_remedy_is_told(begun):
    for number in range(1, 6):
        lines = [f"{700 + number}"] * 800 + ["1400"] * 300 + ["0"] * 450 + ["700"] * 500
        file = begun / "recordings" / f"sub-A0{number}_ses-base1_run-1.txt"
        file.write_text("\n".join(lines), encoding="utf-8")
    done = run("measure", begun)
    assert done.stdout.count("not read:") == 1
    assert "and 2 more: the sampling rate is not known" in done.stdout
    refused(
        run("reliability", begun), "none of 5", "under [[layout]] in study.toml: rate_hz = 1000"
    )
    assert "and 2 more: the sampling rate is not known" in run("check", begun).stdout
    assert "and 2 more: the" not in run("check", begun, "--all").stdout


def test_change_prints_every_result_to_the_end():
    done = run("change", MINI.with_name("merrowfold_block"))
    assert done.exit_code == 0, done.output
    assert "came from net impulse" in done.stdout
    assert done.stdout.count("not diagnoses") == 1
    assert "note: time_to_takeoff_s:" not in done.stdout
    assert "Change of one athlete" not in done.stdout
    with_athletes = run("change", MINI.with_name("merrowfold_block"), "--athletes")
    assert "Change of one athlete" in with_athletes.stdout


def test_change_answers_the_targets_first_each_by_its_own_measure():
    text = run("change", MINI.with_name("merrowfold_block")).stdout
    for target in ("fast_braking: Time to take-off, less", "strength: Jump height"):
        assert 0 < text.index(target) < text.index("the mean change is")
    one = run("change", MINI.with_name("merrowfold_block"), "--metric", "time_to_takeoff_s").stdout
    assert "fast_braking: Time to take-off, less" in one
    assert "fast_braking: Countermovement depth" not in one


def test_change_without_targets_says_how_to_state_them(one_baseline):
    (one_baseline / "targets.csv").unlink(missing_ok=True)
    assert "no targets: write targets.csv" in run("change", one_baseline).stdout


def test_change_says_why_a_target_has_no_answer(one_baseline):
    lines = "subgroup,metric,wanted,amount,why\nnobody,jump_height_m,more,0.02,a test\n"
    (one_baseline / "targets.csv").write_text(lines, encoding="utf-8")
    assert "targets: not answered: " in run("change", one_baseline).stdout


def test_a_metric_that_does_not_exist(filled):
    refused(
        run("change", filled, "--metric", "jump_heigt_m"),
        "Did you mean 'Jump height (take-off velocity)'",
    )
    refused(
        run("reliability", filled, "--metric", "jump_heigt_m"),
        "Did you mean 'Jump height (take-off velocity)'",
    )


def test_options_for_one_file_are_refused_for_a_study(filled):
    refused(run("measure", filled, "--rate", "1000"), "--rate", "study.toml")


def test_gather_says_what_is_needed(begun, tmp_path):
    heap = tmp_path / "heap"
    heap.mkdir()
    shutil.copy(next((MINI / "recordings").iterdir()), heap / "Monday jump 1.csv")
    done = run("gather", heap, begun)
    assert "fill in the athletes first" in done.stdout
    assert "Nothing was written." in done.stdout
    assert not (begun / "recordings.csv").exists()
    refused(run("gather", tmp_path / "none", begun), "no such folder", "First comes")


@pytest.mark.parametrize("command", ["reliability", "measure"])
def test_results_of_a_folder_that_can_only_be_read_go_elsewhere(command, filled, tmp_path):
    shutil.copy(MINI / "study.toml", filled)
    shutil.copy(MINI / "athletes.csv", filled)
    done = run(command, filled, "--results", tmp_path / "out")
    assert done.exit_code == 0, done.output
    assert any((tmp_path / "out").iterdir())
    assert not (filled / "results").exists()


def test_errors_become_one_sentence(capsys, monkeypatch):
    monkeypatch.delenv("CMJLAB_TRACEBACK", raising=False)
    wrapped = RuntimeError("Error calling __set_name__")  # Ctrl-C while a class was being made
    wrapped.__cause__ = KeyboardInterrupt()
    for error, words, code in (
        (wrapped, "goes on from there", 130),
        (KeyError("x"), "a fault of cmjlab", 70),
        (KeyboardInterrupt(), "goes on from there", 130),
        (PermissionError(13, "no", "a.csv"), "a.csv: no permission", 2),
        (OSError(28, "No space left on device", "b.csv"), "make room", 2),
    ):
        with pytest.raises(say.typer.Exit) as stop, say.plain_errors():
            raise error
        assert stop.value.exit_code == code
        lines = capsys.readouterr().err.splitlines()
        assert len(lines) == 1
        assert words in lines[0]
    monkeypatch.setenv("CMJLAB_TRACEBACK", "1")
    with pytest.raises(KeyError), say.plain_errors():
        raise KeyError("x")


def test_places_are_quoted_as_a_terminal_needs_them():
    assert say.named(Path("a/b.csv")) == "a/b.csv"
    assert say.named(Path("été")) == "été"
    assert say.named(Path("a b")) == '"a b"'


@pytest.fixture
def one_baseline(tmp_path: Path) -> Path:
    """A study with one baseline session only, and no roster."""
    folder = tmp_path / "one"
    assert run("new", folder, "--sessions", "base1:baseline, post:post").exit_code == 0
    block = MINI.with_name("merrowfold_block") / "recordings"
    for path in [*block.glob("sub-A0*_ses-base1*"), *block.glob("sub-A0*_ses-post*")]:
        shutil.copy(path, folder / "recordings")
    return folder


def test_one_baseline_is_told_and_everything_else_goes_on(one_baseline):
    assert "two sessions with role baseline" in run("check", one_baseline).stdout
    plan = run("plan", one_baseline)
    assert plan.exit_code == 0, plan.output
    assert "a usual typical error of 1.2 cm" in plan.stdout
    trust = run("reliability", one_baseline)
    assert trust.exit_code == 0, trust.output
    assert "only one session (base1)" in trust.stdout
    change = run("change", one_baseline)
    assert change.exit_code == 0, change.output
    assert "mean change" in change.stdout


def test_plan_is_a_table_and_a_wrong_metric_is_named():
    block = MINI.with_name("merrowfold_block")
    done = run("plan", block)
    assert done.exit_code == 0
    assert "strength against usual; fast_braking against usual" in done.stdout
    assert "two groups, ANCOVA" in done.stdout
    refused(
        run("plan", block, "--metric", "jump_heigt_m"),
        "Did you mean 'Jump height (take-off velocity)'",
    )


def test_a_file_name_that_is_nearly_right_and_a_folder_that_is_not(tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    (tmp_path / "jump_07.csv").write_text("x", encoding="utf-8")
    refused(run("measure", "jump_7.csv"), "Did you mean 'jump_07.csv'")
    refused(run("inspect", "nowhere/jump_07.csv"), "nor its folder")
    refused(run("reliability", "values.xlsx"), "no such file")


def test_a_table_of_values_that_is_not_one_row_per_session(tmp_path):
    path = tmp_path / "wide é.csv"
    path.write_text("athlete,one,two\nA1,30,31\nA2,33,32\n", encoding="utf-8")
    refused(run("reliability", path), "one row per athlete and session")
