"""Test day: the state while athletes jump, in words; and the draft from a heap of files."""

from __future__ import annotations

import os
import time

import pandas as pd
import pytest
from study_kit import SETTINGS, jump_bytes, make

import cmjlab as cj
from cmjlab.study.folder.gather import gather
from cmjlab.study.study import Study
from cmjlab.study.today import run_sheet, today


@pytest.fixture
def folder(tmp_path):
    folder = make(tmp_path / "study", athletes="A01,A02,A03", sessions="base1", trials=3)
    text = (folder / "athletes.csv").read_text()
    (folder / "athletes.csv").write_text(text + "A04,jump\nA05,jump\n")
    (folder / "participation.csv").write_text(
        "athlete,session,status,reason\nA05,post,absent,ill\n"
    )
    return folder


def test_the_day_goes_on(folder):
    state = today(Study.open(folder), "post")
    assert list(state.athletes["status"]) == ["waiting"] * 4 + ["not_available"]
    assert state.lines()[0] == "post: 0 of 4 athletes have all their valid jumps."
    rec = folder / "recordings"
    for trial in (1, 2, 3):
        (rec / f"sub-A01_ses-post_run-{trial}.csv").write_bytes(jump_bytes(20 + trial))
    (rec / "sub-A02_ses-post_run-1.csv").write_bytes(jump_bytes(30))
    quiet = "\n".join(["time_s,force_n", *(f"{i / 500:.3f},800.{i % 7}" for i in range(2500))])
    (rec / "sub-A02_ses-post_run-2.csv").write_text(quiet)
    (rec / "sub-A03_ses-post_run-1.csv").write_bytes(b"no numbers\n")
    (rec / "who is this.csv").write_bytes(jump_bytes(31))
    state = today(Study.open(folder), "post")
    rows = state.athletes.set_index("athlete")
    assert list(rows["status"]) == ["done", "again", "again", "waiting", "not_available"]
    assert list(rows["valid"]) == [3, 1, 0, 0, 0]
    assert list(rows["recorded"]) == [3, 2, 1, 0, 0]
    assert rows.loc["A02", "reason"].startswith("Jump 2: ")
    assert rows.loc["A05", "reason"] == "", "why somebody is not available is nobody's business"
    assert not any("ill" in text.split() for text in state.lines())
    assert list(state.repeats["missing"]) == [2, 3]
    text = "\n".join(state.lines())
    assert "post: 1 of 4 athletes" in text
    assert "Jump again: A02, 2 more jumps. Jump 2: " in text
    assert "Not yet jumped: A04." in text
    assert "who is this.csv" in text
    for trial in (3, 4):
        (rec / f"sub-A02_ses-post_run-{trial}.csv").write_bytes(jump_bytes(40 + trial))
    calls = []
    study = Study.open(folder)
    study.measure(progress=calls.append)
    assert len(calls) == 2, "only the new files are measured"
    assert today(study, "post").athletes["status"].iloc[1] == "done"


def test_run_sheet_has_room_and_the_last_body_mass(folder):
    sheet = run_sheet(Study.open(folder), "post")
    assert list(sheet["athlete"]) == ["A01", "A02", "A03", "A04", "A05"]
    assert sheet["last_body_mass_kg"].iloc[0] == pytest.approx(80, abs=0.5)
    assert sheet["last_body_mass_kg"].isna().iloc[3]
    assert [c for c in sheet.columns if c.startswith("jump_")] == ["jump_1", "jump_2", "jump_3"]


def test_session_that_does_not_exist(folder):
    with pytest.raises(cj.StudyError, match="Did you mean 'post'"):
        today(Study.open(folder), "pots")
    with pytest.raises(cj.StudyError, match="Did you mean 'post'"):
        run_sheet(Study.open(folder), "pots")


# ---------------------------------------------------------------------------------------------


@pytest.fixture
def heap(tmp_path):
    """A heap as labs have it, and a study with a roster that it belongs to."""
    study = tmp_path / "study"
    (study / "recordings").mkdir(parents=True)
    (study / "study.toml").write_text(SETTINGS)
    (study / "athletes.csv").write_text("athlete\nA01\nA02\nA1b\n007\n")
    (study / "names.csv").write_text("athlete,name\nA02,Mira Example\n")
    return tmp_path / "heap", study


def put(folder, name, day="2026-01-01"):
    path = folder / name
    path.parent.mkdir(parents=True, exist_ok=True)
    path.write_bytes(name.encode())
    stamp = pd.Timestamp(day).timestamp() + 12 * 3600
    os.utime(path, (stamp, stamp))


PLACED = [
    ("base1/A01 jump 2.csv", "A01", "base1", "2"),
    ("A01_POST_trial3.txt", "A01", "post", "3"),
    ("monday/Example, Mira - base2 - 1.csv", "A02", "base2", "1"),
    ("MiraExample_post_1.csv", "A02", "post", "1"),
    ("2026-08-31/a02-4.csv", "A02", "base1", "4"),
    ("A01 26.10.2026 (2).csv", "A01", "post", "2"),
    ("007/base1/7.c3d", "007", "base1", "7"),
    ("A1b base2 20260903 5.csv", "A1b", "base2", "5"),
]


@pytest.mark.parametrize(("name", "athlete", "session", "trial"), PLACED)
def test_clues_in_names(heap, name, athlete, session, trial):
    folder, study = heap
    put(folder, name)
    draft = gather(folder, study)
    assert draft.unplaced == ()
    [row] = draft.table.to_dict("records")
    assert (row["athlete"], row["session"], row["trial"]) == (athlete, session, trial)
    assert row["file"] == f"heap/{name}"
    assert not (study / "recordings.csv").exists(), "a dry run writes nothing"


@pytest.mark.parametrize(
    ("name", "words"),
    [
        ("base1/jump 2.csv", "no athlete"),
        ("base1/A01 and A02.csv", "may belong to A01 or A02"),
        ("A01 base1 base2.csv", "may belong to session base1 or base2"),
        ("A01 3.csv", "no session in its name"),
        ("A01/2027-01-01.csv", "no session"),
    ],
)
def test_what_cannot_be_placed_is_named_with_the_reason(heap, name, words):
    folder, study = heap
    put(folder, name)
    draft = gather(folder, study)
    assert draft.table.empty
    [text] = draft.unplaced
    assert text.startswith(name)
    assert words in text


def test_time_stamps_are_the_last_clue(heap):
    folder, study = heap
    put(folder, "A01/c.csv", "2026-10-26")
    put(folder, "A01/b.csv", "2026-10-26")
    os.utime(folder / "A01/b.csv", (time.time(), (folder / "A01/c.csv").stat().st_mtime + 60))
    table = gather(folder, study).table.set_index("file")
    assert list(table["session"]) == ["post", "post"]
    assert table.loc["heap/A01/c.csv", "trial"] == "1"
    assert "session by time stamp" in table.loc["heap/A01/b.csv", "how"]
    assert "trial by time stamp" in table.loc["heap/A01/b.csv", "how"]


def test_writing_copies_and_never_touches_the_originals(heap):
    folder, study = heap
    for name, *_ in PLACED:
        put(folder, name)
    put(folder, "unknown.csv")
    before = {p: (p.read_bytes(), p.stat().st_mtime_ns) for p in folder.rglob("*") if p.is_file()}
    draft = gather(folder, study, dry_run=False)
    assert len(draft.unplaced) == 1
    assert before == {
        p: (p.read_bytes(), p.stat().st_mtime_ns) for p in folder.rglob("*") if p.is_file()
    }
    opened = Study.open(study)
    assert sorted(opened.files["file"]) == sorted(f"heap/{n}" for n, *_ in PLACED)
    again = gather(study / "recordings", study)
    assert again.table.empty, "what is listed already needs no draft"
    draft = gather(folder, study, dry_run=False)
    assert len(pd.read_csv(study / "recordings.csv")) == len(PLACED), "no row is written twice"


def test_files_inside_with_entity_names_need_no_row(heap):
    _, study = heap
    put(study / "recordings", "sub-A01_ses-base1_run-1.csv")
    put(study / "recordings", "A01 base2 1.csv")
    draft = gather(study / "recordings", study)
    assert draft.understood == 1
    assert list(draft.table["file"]) == ["A01 base2 1.csv"]
