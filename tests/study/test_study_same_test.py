"""Was it the same test: conditions, dates, rates and body mass between sessions."""

from __future__ import annotations

import pandas as pd
import pytest
from study_kit import make, recording

import cmjlab as cj
from cmjlab.study.export import write_results
from cmjlab.study.folder.problems import Problems
from cmjlab.study.folder.same_test import check_mass_between_sessions
from cmjlab.study.study import Study
from cmjlab.study.today import today
from cmjlab.tables import JUMPS, SESSIONS


def codes(folder) -> set[str]:
    return set(cj.check_study(folder)["code"])


@pytest.fixture
def folder(tmp_path):
    folder = make(tmp_path / "study", athletes="A01,A02")
    (folder / "athletes.csv").write_text("athlete\nA01\nA02\n")
    return folder


def test_same_conditions_in_other_letters_are_the_same(folder):
    (folder / "sessions.csv").write_text(
        "session,surface,tester\nbase1,Wooden  floor,T1\npost,wooden floor,T1\n"
    )
    assert codes(folder) == set()


def test_changed_conditions_are_told(folder):
    (folder / "sessions.csv").write_text(
        "session,surface,footwear,tester\nbase1,wood,shoes,T1\nbase2,,,T1\npost,grass,shoes,T2\n"
    )
    table = cj.check_study(folder).set_index("column")
    assert set(table["code"]) == {"conditions_differ"}
    assert table.loc["surface", "found"] == "base1: wood; post: grass"
    assert table["severity"].to_dict() == {"surface": "warn", "tester": "note"}


def test_dates_of_files_against_the_order(folder):
    names = [f"sub-A01_ses-{s}_run-01.csv" for s in ("base1", "post")]
    rows = [f"{names[0]},A01,base1,2026-11-01", f"{names[1]},A01,post,2026-10-26"]
    (folder / "recordings.csv").write_text("file,athlete,session,date\n" + "\n".join(rows))
    assert codes(folder) >= {"dates_out_of_order"}


def test_two_rates(folder):
    other = recording(60)
    slow = cj.Recording(other.force_n[::2], other.rate_hz / 2)
    cj.write_recording(slow, folder / "recordings" / "sub-A02_ses-post_run-08.csv")
    table = cj.check_study(folder).set_index("code")
    assert "250 Hz: 1 file(s) in post; 500 Hz: 8 file(s)" in table.loc["rates_differ", "found"]


@pytest.mark.parametrize(
    ("masses", "told"),
    [
        ([70, 71, 72], []),
        ([70, 71, 80], ["s2"]),
        ([70, 80], ["s0"]),
        ([70], []),
        ([60, 70, 80], ["s0", "s2"]),
        ([70, 70, 90], ["s2"]),
    ],
    ids=["alike", "one differs", "two sessions", "one session", "all differ", "two agree"],
)
def test_mass_between_sessions(masses, told):
    jumps = pd.DataFrame(
        {
            "athlete": "A",
            "session": [f"s{i}" for i in range(len(masses))],
            "accepted": True,
            "body_mass_kg": [float(m) for m in masses],
        }
    )
    problems = Problems()
    check_mass_between_sessions(jumps, problems)
    assert [r["file"] for r in problems.rows] == [f"A, {s}" for s in told]


def test_a_study_without_recordings_has_empty_tables(folder):
    for path in (folder / "recordings").iterdir():
        path.unlink()
    study = Study.open(folder)
    assert list(study.measure().columns)[:4] == JUMPS.names[:4]
    assert study.measure().empty
    assert study.checks.empty
    assert list(study.sessions_table().columns)[:8] == SESSIONS.names[:8]
    assert study.flow()["sessions"]["tested"].tolist() == [0, 0, 0]
    assert study.curves("force").empty
    assert list(today(study, "post").athletes["status"]) == ["waiting"] * 2
    assert len(write_results(study)) == 7


def test_only_two_things_are_needed(folder):
    """study.toml and recordings: no roster, no other table."""
    (folder / "athletes.csv").unlink()
    study = Study.open(folder)
    assert len(study.measure()) == 8
    assert study.measure()["group"].isna().all()
    assert len(study.sessions_table()) == 4
    assert study.flow()["sessions"]["planned"].tolist() == [2, 2, 2]


def test_recordings_may_be_elsewhere(folder, tmp_path):
    (folder / "recordings").rename(tmp_path / "plates")
    text = (folder / "study.toml").read_text()
    path = (tmp_path / "plates").as_posix()
    (folder / "study.toml").write_text(text.replace('"Kit"', f'"Kit"\nrecordings = "{path}"'))
    table = Study.open(folder).measure()
    assert len(table) == 8
    assert table["file"].iloc[0] == "sub-A01_ses-base1_run-01.csv"


def test_columns_of_ones_own_are_no_metrics(folder):
    (folder / "athletes.csv").write_text("athlete,leg_m,house\nA01,0.9,red\nA02,0.95,blue\n")
    study = Study.open(folder)
    assert {"leg_m", "house"} <= set(study.measure().columns)
    assert not {"leg_m", "house"} & set(study.sessions_table().columns)
