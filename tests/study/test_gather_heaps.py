"""Heaps of files as labs have them: roster, sessions and days from names, and what is asked."""

from __future__ import annotations

import re
import shlex

import pandas as pd
import pytest
from study_kit import jump_bytes
from typer.testing import CliRunner

from cmjlab.cli.app import app
from cmjlab.errors import StudyError
from cmjlab.study.folder.create import create_study, template_toml
from cmjlab.study.folder.gather import Stated, gather
from cmjlab.study.folder.heap_dates import day_in, order_of
from cmjlab.study.folder.heap_people import find_people, label_of
from cmjlab.study.study import Study

SESSIONS = [
    {"session": "base1", "role": "baseline"},
    {"session": "base2", "role": "baseline"},
    {"session": "post", "role": "post"},
]
PEOPLE = ["Brennmoor Ylva", "Haldane Juno", "Östvane Bríd", "O'Marrow Dagny"]
DAYS = {"base1": ("2026-08-31", "2026-09-01"), "base2": ("2026-09-07",), "post": ("2026-10-26",)}


@pytest.fixture
def study(tmp_path):
    return create_study(tmp_path / "study", settings=template_toml("Own study", SESSIONS))


def fill(folder, layout: str) -> dict[str, tuple[int, str, str]]:
    """Make the files of a layout; returns file -> (person, session, trial) as they truly are."""
    truth = {}
    for who, name in enumerate(PEOPLE):
        last, first = name.split()
        for session, days in DAYS.items():
            year, month, day = days[who % len(days)].split("-")
            for trial in (1, 2, 3):
                path = layout.format(
                    last=last, first=first, number=f"{who + 7:02d}", session=session,
                    upper=session.upper(), year=year, month=month, day=day, yy=year[2:], trial=trial,
                    word={"base1": "PRE 1", "base2": "PRE 2", "post": "POST"}[session],
                )  # fmt: skip
                place = folder / path
                place.parent.mkdir(parents=True, exist_ok=True)
                place.write_bytes(path.encode())
                truth[path] = (who, session, str(trial))
    return truth


#: Layouts, what a person has to state, whether names of persons stand in them.
LAYOUTS = [
    ("{session}/{last}_{first}_{trial}.csv", {}, True),
    ("{upper}/{first} {last}/CMJ {trial}.csv", {}, True),
    ("{first}{last}_{session}_trial{trial}.csv", {}, True),
    ("squad U19/{last}, {first}/{session} jump {trial}.txt", {}, True),
    ("P{number}_{session}_{trial}.csv", {}, False),
    ("{session}/{number} - {trial}.csv", {}, False),
    ("athlete {number}/{year}{month}{day}_{session}_r{trial}.c3d", {}, False),
    ("{word}/{last}_{first}_{day}.{month}.{year}_{trial}.csv",
     {"sessions": {"PRE 1": "base1", "PRE 2": "base2"}}, True),
    ("{last} {first}/{day}.{month}.{year} ({trial}).csv",
     {"sessions": {"2026-08-31": "base1", "2026-09-01": "base1", "2026-09-07": "base2",
                   "2026-10-26": "post"}}, True),
    ("{last} {first}/{day}.{month}.{yy} no {trial}.csv",
     {"dates": "dmy", "sessions": {"2026-08-31": "base1", "2026-09-01": "base1",
                                   "2026-09-07": "base2", "2026-10-26": "post"}}, True),
    ("{yy}{month}{day}/export_{last}_{first}_v{trial}.csv",
     {"dates": "ymd", "sessions": {"2026-08-31": "base1", "2026-09-01": "base1",
                                   "2026-09-07": "base2", "2026-10-26": "post"}}, True),
]  # fmt: skip


@pytest.mark.parametrize(("layout", "answers", "named"), LAYOUTS)
def test_every_file_gets_its_person_session_and_trial(tmp_path, study, layout, answers, named):
    truth = fill(tmp_path / "heap", layout)
    draft = gather(tmp_path / "heap", study, dry_run=False, stated=Stated(**answers))
    assert draft.unplaced == ()
    assert draft.questions == ()
    found = {
        r["file"].removeprefix("heap/"): (r["athlete"], r["session"], r["trial"])
        for r in draft.table.to_dict("records")
    }
    whose: dict[int, set[str]] = {}
    for file, (who, session, trial) in truth.items():
        assert found[file][1:] == (session, trial), file
        whose.setdefault(who, set()).add(found[file][0])
    assert all(len(ids) == 1 for ids in whose.values()), whose
    assert len(set.union(*whose.values())) == len(PEOPLE)
    opened = Study.open(study)
    roster = list(opened.athletes["athlete"])
    assert len(roster) == len(PEOPLE)
    assert (study / "names.csv").read_text("utf-8-sig").count("\n") > 1
    if named:
        assert roster == ["A01", "A02", "A03", "A04"], "a name never becomes an id"
        names = pd.read_csv(study / "names.csv")
        assert len(names) == len(PEOPLE)
    else:
        assert {r.lstrip("P") for r in roster} == {"07", "08", "09", "10"}
    again = gather(tmp_path / "heap", study, stated=Stated(**answers))
    assert (len(again.table), again.unplaced) == (0, ())


def test_a_session_on_two_days_keeps_the_day_of_each_recording(tmp_path, study):
    fill(tmp_path / "heap", "{session}/{last}_{first}_{day}.{month}.{year}_{trial}.csv")
    table = gather(tmp_path / "heap", study).table
    days = table.groupby("session")["date"].unique().map(sorted).map(tuple)
    assert days.to_dict() == DAYS


def asked(tmp_path, study, layout: str, *more: str) -> tuple[str, str]:
    """Run the command; returns its output, and the options that it proposes."""
    fill(tmp_path / "heap", layout)
    line = ["gather", str(tmp_path / "heap"), str(study), "--dry-run", *more]
    done = CliRunner().invoke(app, line)
    assert done.exit_code == 0, done.output
    write = re.search(r"where needed: (.*)", done.output)
    return done.output, write[1] if write else ""


@pytest.mark.parametrize(
    ("layout", "dates", "expected"),
    [
        ("{word}/{last}_{first}_{trial}.csv", (), ["PRE 1=base1", "PRE 2=base2"]),
        ("{last} {first}/{day}.{month}.{yy} ({trial}).csv", ("--dates", "dmy"),
         ["2026-08-31=base1", "2026-09-01=base1", "2026-09-07=base2", "2026-10-26=post"]),
    ],
)  # fmt: skip
def test_what_is_proposed_works_as_it_is_pasted(tmp_path, study, layout, dates, expected):
    output, write = asked(tmp_path, study, layout, *dates)
    options = shlex.split(write)
    assert options[1::2] == expected
    told = [line for line in output.splitlines() if line.startswith("not placed:")]
    assert len(told) == 1, "one summary, no line a file"
    done = CliRunner().invoke(app, ["gather", str(tmp_path / "heap"), str(study), *dates, *options])
    assert done.exit_code == 0, done.output
    assert "asked:" not in done.output
    assert "36 rows were added" in done.output
    assert not any(name in done.output for name in ("Haldane", "Brennmoor")), "ids only"


def test_a_year_of_two_digits_is_asked_and_not_guessed(tmp_path, study):
    output, _ = asked(tmp_path, study, "{last} {first}/{day}.{month}.{yy} ({trial}).csv")
    assert "36 files have a date with a year of two digits" in output
    assert "--dates dmy" in output
    assert "Nothing was written" in output


@pytest.mark.parametrize(
    ("part", "order", "expected"),
    [
        ("31.08.2026", "", ("2026-08-31", "")),
        ("08-31-2026 x", "", ("2026-08-31", "")),
        ("03.04.2026", "", ("", "order")),
        ("03.04.2026", "dmy", ("2026-04-03", "")),
        ("03.04.2026", "mdy", ("2026-03-04", "")),
        ("a_2026-04-03_b", "dmy", ("2026-04-03", "")),
        ("20260403", "", ("2026-04-03", "")),
        ("31082026", "", ("2026-08-31", "")),
        ("31.08.26", "", ("", "century")),
        ("31.08.26", "dmy", ("2026-08-31", "")),
        ("260831", "ymd", ("2026-08-31", "")),
        ("1.9.26", "dmy", ("2026-09-01", "")),
        ("32.13.2026", "", ("", "")),
        ("A07_1_2", "", ("", "")),
        ("7-2", "", ("", "")),
    ],
)
def test_dates_in_names(part, order, expected):
    assert day_in(part, order, ()) == expected


def test_the_whole_heap_tells_the_order_and_contradictions_do_not():
    assert order_of(["03.04.2026", "31.08.2026"]) == "dmy"
    assert order_of(["03/04/2026".replace("/", "-"), "08-31-2026"]) == "mdy"
    assert order_of(["08-31-2026", "31-08-2026"]) == ""
    assert day_in("03.04.2026", "", {"2026-04-03"}) == ("2026-04-03", ""), "a session's day decides"
    assert day_in("03.04.2026", "", {"2026-04-03", "2026-03-04"}) == ("", "order")


@pytest.mark.parametrize(
    ("part", "label"),
    [
        ("2026-08-31_Example_Mira_CMJ_trial2", "Example Mira"),
        ("sub-07 base1 (3)", "07"),
        ("A07_PRE_1", "A07"),
        ("7 - 2", "7"),
        ("MiraExample_post_1", "Mira Example"),
        ("jump 2", ""),
        ("POST", ""),
        ("Week 3", ""),
        ("cmj_31.08.26_Juno Haldane_v1", "Juno Haldane"),
    ],
)
def test_what_is_left_of_a_name(part, label):
    assert label_of(part, {"base1"}) == label


@pytest.mark.parametrize("other", ["Brenmoor_Ylva", "Brennmoor_Y", "Ylva", "Brennmoor"], ids=str)
def test_two_spellings_that_may_be_one_person_are_asked(tmp_path, study, other):
    heap = tmp_path / "heap"
    fill(heap, "{session}/{last}_{first}_{trial}.csv")
    for trial in (7, 8):
        (heap / "base1" / f"{other}_{trial}.csv").write_bytes(b"x%d" % trial)
    draft = gather(heap, study, dry_run=False)
    assert draft.blocked
    assert not (study / "recordings.csv").exists(), "nothing is written before"
    (question,) = draft.questions
    label = other.replace("_", " ")
    same = Stated(athletes={label: draft.people.labels["Brennmoor Ylva"]})
    one = gather(heap, study, stated=same)
    assert not one.blocked
    assert one.table["athlete"].nunique() == len(PEOPLE)
    two = gather(heap, study, stated=Stated(athletes={label: "Z9"}))
    assert two.table["athlete"].nunique() == len(PEOPLE) + 1
    assert label in (question.values["first"], question.values["second"])


def test_names_in_either_order_are_one_person():
    files = [
        "a/Example Mira 1.csv",
        "a/Mira_Example 2.csv",
        "a/Juno Haldane 1.csv",
        "a/haldane juno 2.csv",
    ]
    people = find_people(files, set())
    assert len(people.ids) == 2
    assert people.doubts == ()


def test_a_heap_that_tells_nobody_says_what_to_do(tmp_path, study):
    (tmp_path / "heap").mkdir()
    for number in range(6):
        (tmp_path / "heap" / f"rec_{number:05d}.csv").write_bytes(b"%d" % number)
    draft = gather(tmp_path / "heap", study, dry_run=False)
    assert draft.table.empty
    assert draft.people.ids == []
    assert "fill in the athletes first" in draft.unplaced[0]


@pytest.mark.parametrize(
    ("options", "message"),
    [
        (
            ["--session", "PRE=bas1"],
            "there is no session 'bas1'; sessions are base1, base2, post. Did you mean 'base1'",
        ),
        (["--session", "PRE"], "--session: found 'PRE'; write WORD=SESSION"),
        (["--athlete", "=A01"], "--athlete: found '=A01'; write WORD=ATHLETE"),
        (["--dates", "dym"], "--dates: found 'dym', allowed are dmy"),
    ],
)
def test_answers_that_do_not_fit_are_named(tmp_path, study, options, message):
    (tmp_path / "heap").mkdir()
    done = CliRunner().invoke(app, ["gather", str(tmp_path / "heap"), str(study), *options])
    assert done.exit_code == 2
    assert message in done.output


def test_an_athlete_must_be_on_a_roster_that_is_filled(tmp_path, study):
    (study / "athletes.csv").write_text("athlete\nA01\n", encoding="utf-8")
    (tmp_path / "heap").mkdir()
    with pytest.raises(StudyError, match="there is no athlete 'A02' in athletes.csv"):
        gather(tmp_path / "heap", study, stated=Stated(athletes={"Mira": "A02"}))


def test_a_stranger_comes_from_a_heap_to_measured_jumps(tmp_path):
    run = CliRunner()
    heap, study = tmp_path / "lab export", tmp_path / "my study"
    for who, name in enumerate(("Brennmoor_Ylva", "Haldane_Juno", "Lindrake_Noor")):
        for word, day in (("PRE 1", "31.08.2026"), ("PRE 2", "07.09.2026"), ("POST", "26.10.2026")):
            for trial in (1, 2):
                path = heap / word / f"{name}_{day}_{trial}.csv"
                path.parent.mkdir(parents=True, exist_ok=True)
                path.write_bytes(jump_bytes(100 * who + 10 * len(word) + trial + int(day[:2])))
    assert run.invoke(app, ["new", str(study)]).exit_code == 0
    first = run.invoke(app, ["gather", str(heap), str(study)])
    options = shlex.split(re.search(r"where needed: (.*)", first.output)[1])
    second = run.invoke(app, ["gather", str(heap), str(study), *options])
    assert second.exit_code == 0, second.output
    checked = run.invoke(app, ["check", str(study)])
    assert checked.exit_code == 0, checked.output
    state = run.invoke(app, ["today", str(study), "--session", "post", "--names"])
    assert "Haldane Juno" in state.output
    jumps = Study.open(study).measure()
    assert len(jumps) == 18
    assert jumps["athlete"].nunique() == 3
