"""What the commands print is read by people: words, units and labels, no names of the code."""

from __future__ import annotations

import re
import shutil

import pandas as pd
import pytest
from places import SAMPLE_DATA
from typer.testing import CliRunner

from cmjlab.catalog import CHECKS, METRICS
from cmjlab.cli import names, say
from cmjlab.cli.app import app
from cmjlab.errors import ArgumentError

MINI = SAMPLE_DATA / "merrowfold_mini"
#: Names of files, of settings and of the demo's groups: they are typed as they stand.
TYPED = {"fast_braking", "merrowfold_mini", "onset_rule", "my_report", "control_group"}


@pytest.fixture(scope="module")
def study(tmp_path_factory):
    return shutil.copytree(MINI, tmp_path_factory.mktemp("words") / "merrowfold_mini")


def printed(*words: object) -> str:
    done = CliRunner().invoke(app, [str(w) for w in words])
    assert done.exit_code == 0, done.output
    return done.stdout


def names_of_the_code(text: str) -> set[str]:
    text = re.sub(r"\S*[/\\]\S*|\S+\.(csv|toml|gz|json|html|png)\S*", " ", text)
    return set(re.findall(r"\b[A-Za-z]\w*_\w+", text)) - TYPED


def test_one_jump_is_told_in_words(study, tmp_path):
    file = next((study / "recordings").iterdir())
    for more in ([], ["--all"]):
        text = printed("measure", file, "--figure", tmp_path / "a.png", *more)
        assert names_of_the_code(text) == set()
        assert "Countermovement depth" in text


@pytest.mark.parametrize(
    "command",
    [["today"], ["today", "--sheet"], ["review"], ["check"], ["reliability"], ["plan"]],
    ids=" ".join,
)
def test_a_study_is_told_in_words(command, study):
    assert names_of_the_code(printed(command[0], study, *command[1:])) == set()


@pytest.mark.parametrize(
    "command",
    ["new", "demo", "gather", "check", "today", "inspect", "measure", "review", "plan", "subgroups",
     "reliability", "change", "report", "notebooks", "glossary"],
)  # fmt: skip
def test_help_is_told_in_words(command):
    assert names_of_the_code(printed(command, "--help")) == set()


def test_names_of_the_code_are_seen():
    assert names_of_the_code("a jump_height_m in results/jumps_all.csv") == {"jump_height_m"}


@pytest.mark.parametrize(
    "typed",
    ["jump_height_m", "Jump height (take-off velocity)", " JUMP  height (TAKE-off velocity)"],
)
def test_a_metric_is_found_by_name_and_by_words(typed):
    assert names.find_metric(typed, METRICS, []) == "jump_height_m"


def test_a_measure_of_the_user_is_found_by_words():
    assert names.find_metric("squat 1rm kg", [*METRICS, "squat_1rm_kg"], []) == "squat_1rm_kg"


def test_a_metric_that_does_not_exist_is_refused_with_the_nearest_in_words():
    with pytest.raises(ArgumentError, match="Did you mean 'Flight time'.*report are: RSImod") as e:
        names.find_metric("flght_time_s", METRICS, ["rsi_modified_m_per_s"])
    assert "_" not in str(e.value).replace("flght_time_s", "")


@pytest.mark.parametrize("typed", ["takeoff", "Take-off", "take off"])
def test_an_event_is_found_by_name_and_by_words(typed):
    assert names.find_event(typed) == "takeoff"


def test_an_event_that_cannot_be_moved_is_refused():
    with pytest.raises(ArgumentError, match="'minimum force' is no event that can be moved"):
        names.find_event("minimum force")


def test_flags_and_headings_in_words():
    found = names.flags_in_words("double_dip:fail;weighing_slope:warn")
    labels = [CHECKS[code].label for code in ("double_dip", "weighing_slope")]
    assert found == f"{labels[0]} (failed), {labels[1]} (warning)"
    assert names.flags_in_words("") == ""
    assert names.events_in_words("onset;takeoff") == "onset, take-off"
    assert names.heading("last_body_mass_kg") == "last body mass (kg)"
    assert names.heading("moved_events") == "moved events"
    assert names.heading("fast_braking likely") == "fast_braking likely"


def test_tables_hold_words_and_numbers_stand_right(capsys):
    frame = pd.DataFrame({"done": [True, False], "time_s": ["1.50", "12.00"], "n": [1, 10]})
    say.table(frame)
    assert capsys.readouterr().out.splitlines() == [
        "done  time (s)   n",
        "----  --------  --",
        "yes       1.50   1",
        "no       12.00  10",
    ]


def test_glossary_prints_what_words_find(monkeypatch):
    monkeypatch.setenv("COLUMNS", "100")
    for words in (["eccentric duration"], ["eccentric", "duration"]):
        lines = printed("glossary", *words).splitlines()
        assert lines[0].split()[:2] == ["metric", "downward_duration_s"]
        assert lines[0].endswith("Downward duration (s)")
        assert lines[1].strip() == METRICS["downward_duration_s"].meaning
        assert lines[0].index("Downward") == len(lines[1]) - len(lines[1].lstrip())


@pytest.mark.parametrize("width", ["40", "80", "300"])
def test_glossary_prints_ten_entries_at_most_and_fits_the_terminal(width, monkeypatch):
    monkeypatch.setenv("COLUMNS", width)
    lines = printed("glossary", "force").splitlines()
    assert sum(line.startswith(("metric ", "statistic ", "check ")) for line in lines) == 10
    assert "more" in lines[-1]
    assert max(map(len, lines[:-1])) <= max(int(width), 45)


def test_glossary_that_finds_nothing_says_what_to_try():
    text = printed("glossary", "qwrtz")
    assert text.startswith("nothing found for 'qwrtz'. Try ")


def test_glossary_still_writes_its_page(tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    printed("glossary")
    printed("glossary", tmp_path / "own.md")
    assert {p.name for p in tmp_path.iterdir()} == {"glossary.html", "own.md"}
    assert CliRunner().invoke(app, ["glossary", "page.pdf"]).exit_code == 2
