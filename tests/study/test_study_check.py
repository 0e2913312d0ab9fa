"""Every problem of a folder is found at once, with its place and a remedy."""

from __future__ import annotations

import pandas as pd
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from study_kit import SETTINGS, jump_bytes, make, recording

import cmjlab as cj
from cmjlab.errors import StudyError
from cmjlab.study.folder.ids import tidy_id
from cmjlab.study.study import Study
from cmjlab.tables import PROBLEMS


def codes(folder) -> dict[str, str]:
    """Return code -> severity of a folder's problems."""
    table = cj.check_study(folder)
    assert list(table.columns) == PROBLEMS.names
    assert (table[["severity", "code", "found", "remedy"]] != "").all(axis=None)
    return dict(zip(table["code"], table["severity"], strict=True))


@pytest.fixture
def folder(tmp_path):
    return make(tmp_path / "study", athletes="A01,A02,A03,A04", sessions="base1")


def test_a_clean_study_has_no_problems(folder):
    assert codes(folder) == {}
    assert len(Study.open(folder).measure()) == 8


def test_everything_wrong_is_told_in_one_go(folder):
    rec = folder / "recordings"
    (folder / "athletes.csv").write_text(
        "athlete,group,stature_m,body_mass_kg\n"
        "A01,jump,175,70\nA02,usual,1.8,500\nA2,usual,,\nA01,jump,,\n01-Mar,jump,,\nA09,solo,,\n"
    )
    (folder / "measures.csv").write_text(
        "athlete,session,date,measure,value,unit\nA99,pre,03.04.2026,squat_1rm,strong,kg\n"
    )
    (folder / "decisions.csv").write_text(
        "file,jump,action,event,time_s,reason,who,when\n"
        "gone.csv,1,reject,,,r,w,2026-01-01\n"
        "sub-A01_ses-base1_run-01.csv,1,move,toe,,r,w,2026-01-01\n"
        "sub-A01_ses-base1_run-01.csv,7,reject,,,r,w,2026-01-01\n"
    )
    (rec / "sub-A03_ses-Base1_run-09.csv").write_bytes(jump_bytes(50))
    (rec / "sub-a04_ses-base1_run-09.csv").write_bytes(jump_bytes(51))
    (rec / "sub-A04_ses-later_run-01.csv").write_bytes(jump_bytes(52))
    (rec / "sub-A04_ses-base1_run-1.csv").write_bytes(jump_bytes(53))
    (rec / "sub-A04_ses-base2_run-1.csv").write_bytes(jump_bytes(6))
    (rec / "trial 3.csv").write_bytes(jump_bytes(54))
    (rec / "sub-A03_ses-base1_run-03.csv").write_bytes(b"no numbers\n")
    (rec / "readme.pdf").write_bytes(b"%PDF")
    (folder / "study.toml").write_text(
        SETTINGS.replace("2026-10-26", "2026-06-01").replace('"post"', '"posst"', 1)
        + '[plan]\nbefore = "base9"\ncontrol_group = "usuall"\nprimary_metric = "jump_hight_m"\n'
        + "[method]\nonset_sd = 500\n[colours]\nx = 1\n"
    )
    assert codes(folder) == {
        "unknown_section": "fail",
        "sessions_out_of_order": "fail",
        "unknown_session": "fail",
        "unknown_metric": "warn",
        "bad_setting": "fail",
        "row_twice": "fail",
        "bad_value": "fail",
        "ids_look_alike": "fail",
        "id_damaged": "fail",
        "impossible_value": "fail",
        "id_looks_like_another": "fail",
        "athlete_not_on_roster": "warn",
        "athlete_without_files": "warn",
        "not_tested": "warn",
        "session_looks_like_another": "fail",
        "session_not_in_study": "warn",
        "trial_twice": "fail",
        "unknown_athlete": "warn",
        "unknown_group": "fail",
        "group_of_one": "warn",
        "decision_without_file": "warn",
        "bad_event": "fail",
        "decision_without_jump": "warn",
        "same_content": "fail",
        "file_not_measured": "warn",
        "name_not_understood": "warn",
        "not_a_recording": "note",
        "too_few_jumps": "warn",
        "mass_against_roster": "warn",
    }
    with pytest.raises(StudyError, match="must be solved first") as stopped:
        Study.open(folder)
    assert len(stopped.value.problems) >= 20


@pytest.mark.parametrize(
    ("text", "code", "words"),
    [
        ("", "no_sessions", "order cannot be guessed"),
        ("[study\n", "not_toml", "quotation marks"),
        (SETTINGS + "[study]\n", "not_toml", ""),
        (SETTINGS.replace("role", "rolle"), "unknown_setting", "Did you mean 'role'?"),
        (SETTINGS.replace('"baseline"', '"base"'), "bad_role", "Did you mean"),
        (SETTINGS.replace("2026-08-31", "31.08.2026"), "bad_date", "ISO"),
        (SETTINGS.replace('"base2"', '"Base1"'), "sessions_look_alike", "capital"),
        (SETTINGS.replace('"base2"', '"base1"'), "session_twice", ""),
        (SETTINGS + "[plan]\nsumary = 'mean'\n", "bad_setting", ""),
        (SETTINGS + '[plan]\nbefore = "post"\nafter = "base1"\n', "before_after_after", "Swap"),
        (SETTINGS + "[[layout]]\nrate = 1000\n", "bad_setting", ""),
        (SETTINGS.replace('"Kit"', '"Kit"\nfile_names = "{athlet}.csv"'), "bad_template", ""),
    ],
)
def test_settings_file(folder, text, code, words):
    (folder / "study.toml").write_text(text)
    table = cj.check_study(folder)
    rows = table[table["code"] == code]
    assert len(rows), table["code"].tolist()
    assert rows["severity"].iloc[0] == "fail"
    assert rows["file"].iloc[0] == "study.toml"
    assert words in rows["remedy"].iloc[0]


def test_no_folder_and_no_study_file(tmp_path):
    assert codes(tmp_path / "none") == {"no_study": "fail"}
    assert "no_study_file" in codes(tmp_path)


def test_plate_mass_against_the_roster(folder):
    (folder / "athletes.csv").write_text("athlete,body_mass_kg\nA01,80\nA02,80\nA03,60\nA04,80\n")
    table = cj.check_study(folder)
    [row] = table.to_dict("records")
    assert row["code"] == "mass_against_roster"
    assert row["file"] == "A03, base1"


def test_spreadsheet_rows_in_the_list(folder):
    (folder / "athletes.csv").write_text(
        "# note\nathlete,group\nA01,x\n\nA1,x\nA02,x\nA03,x\nA04,x\n"
    )
    table = cj.check_study(folder)
    [row] = table[table["code"] == "ids_look_alike"].to_dict("records")
    assert row["row"] == "3, 5"
    assert "leading zeros" in row["remedy"]


def test_absent_athletes_are_explained(folder):
    text = (folder / "athletes.csv").read_text()
    (folder / "athletes.csv").write_text(text + "A05,jump\n")
    assert codes(folder) == {"athlete_without_files": "warn"}
    (folder / "participation.csv").write_text(
        "athlete,session,status,reason\nA05,base1,absent,ill\n"
    )
    assert codes(folder) == {}


ID = st.sampled_from(
    ["A01", "A02", " A02", "A2", "a01", "sub-A01", "", "B9", "01-Mar", "Zoe\u0308", "Zo\u00eb"]
)
SESSION = st.sampled_from(["base1", "Base1", "post", "later", "", "base1 "])


@settings(
    max_examples=25, deadline=None, derandomize=True,
    suppress_health_check=[HealthCheck.too_slow, HealthCheck.function_scoped_fixture],
)  # fmt: skip
@given(
    roster=st.lists(ID, max_size=6),
    listed=st.lists(st.tuples(st.integers(0, 5), ID, SESSION), max_size=6),
)
def test_no_silent_loss(tmp_path_factory, roster, listed):
    """Every file on disk and every row of a table arrives, or is named in the problems."""
    folder = tmp_path_factory.mktemp("loss")
    (folder / "recordings").mkdir()
    (folder / "study.toml").write_text(SETTINGS)
    names = [f"heap {i}.csv" for i in range(5)]
    for name in names:
        (folder / "recordings" / name).write_bytes(b"no numbers here\n")
    (folder / "athletes.csv").write_text(
        "athlete\n" + "".join(f'"{r}"\n' for r in roster), encoding="utf-8"
    )
    rows = [f'heap {i}.csv,"{a}","{s}"' for i, a, s in listed]
    (folder / "recordings.csv").write_text(
        "\n".join(["file,athlete,session", *rows]), encoding="utf-8"
    )
    study = Study.read(folder)
    table = study.measure()
    problems = study.problems
    told = " ".join(problems["file"] + " " + problems["found"])
    arrived = set(table["file"])
    for name in names:
        assert name in arrived or name in told, name
    by_row = problems[problems["file"] == "recordings.csv"]["row"].str.split(", ")
    rows_named = {n for rows in by_row for n in rows}
    pairs = set(zip(table["file"], table["athlete"], strict=True))
    for number, (i, athlete, _) in enumerate(listed, start=2):
        same = {a for f, a in pairs if f == f"heap {i}.csv" and tidy_id(a) == tidy_id(athlete)}
        assert same or str(number) in rows_named or f"heap {i}.csv" in told, (number, listed)
    for number, athlete in enumerate(roster, start=2):
        by_row = problems[problems["file"].str.startswith("athletes")]["row"].str.split(", ")
        named = {n for rows in by_row for n in rows}
        written = athlete.strip().removeprefix("sub-")
        if written and str(number) not in named:
            assert any(
                a.casefold() == written.casefold() or "Zo" in a for a in set(table["athlete"])
            )
        elif not written:
            assert str(number) in named or not athlete  # an empty line is no row


def test_one_file_of_several_athletes(tmp_path):
    """Stretches of one long file belong to different people; a bad one hurts no other."""
    folder = make(tmp_path / "study", athletes="A01,A02,A03,A04", sessions="base2")
    length = recording(0).duration_s
    (folder / "recordings" / "long.csv").write_bytes(jump_bytes(10, copies=2))
    (folder / "recordings.csv").write_text(
        "file,athlete,session,start,stop\n"
        f"long.csv,A02,base1,{length:.2f},{2 * length:.2f}\n"
        f"long.csv,A01,base1,,{length - 0.01:.2f}\n"
        f"long.csv,A03,base1,{2 * length + 1:.2f},\n"
    )
    table = Study.open(folder).measure()
    part = table[table["file"] == "long.csv"]
    assert list(zip(part["athlete"], part["jump"], strict=True)) == [
        ("A01", 1),
        ("A02", 2),
        ("A03", 3),
    ]
    assert (part["error"] != "").tolist() == [False, False, True]
    heights = part["jump_height_m"].to_numpy()[:2]
    single = [cj.measure(recording(10 + i)).metrics["jump_height_m"] for i in (0, 1)]
    assert heights == pytest.approx(single, abs=0.01)
    study = Study.open(folder)
    assert study.jump("long.csv", 2).recording.athlete == "A02"
    with pytest.raises(cj.CmjlabError):
        study.jump("long.csv", 3)
    with pytest.raises(cj.ArgumentError, match="holds 3"):
        study.jump("long.csv", 4)


def test_overlapping_stretches_are_refused(tmp_path):
    folder = make(tmp_path / "study", athletes="A01,A02", sessions="base2")
    (folder / "recordings" / "long.csv").write_bytes(jump_bytes(10, copies=2))
    (folder / "recordings.csv").write_text(
        "file,athlete,session,start,stop\nlong.csv,A01,base1,0,5\nlong.csv,A02,base1,4,9\n"
    )
    assert codes(folder)["stretches_overlap"] == "fail"


def test_names_are_checked_but_never_shown(folder):
    (folder / "names.csv").write_text(
        "athlete,name\nA01,Secret One\nA01,Secret Two\nA99,Secret Three\nA02,\n"
    )
    table = cj.check_study(folder)
    assert set(table["code"]) == {"row_twice", "unknown_athlete", "empty_cell"}
    assert "Secret" not in table.to_csv()
    Study.open(folder)


@pytest.mark.parametrize("word", ["A 1", "A/B", "../etc/x", "A_1", "-rf", "A*"])
def test_ids_with_signs(folder, word):
    text = (folder / "athletes.csv").read_text()
    (folder / "athletes.csv").write_text(f'{text}"{word}",jump\n')
    assert codes(folder)["id_with_signs"] == "warn"


def test_workbooks_serve_as_well_as_csv(folder, tmp_path):
    """Every table as .xlsx, ids formatted as text: the same study comes out."""
    (folder / "measures.csv").write_text(
        "athlete,session,measure,value,unit\nA01,base1,squat_1rm,105.5,kg\n"
    )
    (folder / "participation.csv").write_text(
        "athlete,session,status,reason\nA02,post,absent,ill\n"
    )
    (folder / "sessions.csv").write_text("session,date,surface\nbase1,2026-08-31,wood\n")
    first = Study.open(folder, tmp_path / "a")
    before = (first.measure(), first.sessions_table(), first.participation, first.sessions)
    for path in folder.glob("*.csv"):
        pd.read_csv(path).to_excel(path.with_suffix(".xlsx"), index=False)
        path.unlink()
    second = Study.open(folder, tmp_path / "b")
    after = (second.measure(), second.sessions_table(), second.participation, second.sessions)
    for one, other in zip(before, after, strict=True):
        pd.testing.assert_frame_equal(one, other)
