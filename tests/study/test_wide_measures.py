"""Measures with a column each: read as the long form is, every assumption told, doubt refused."""

from __future__ import annotations

import shutil

import pandas as pd
import pytest
from openpyxl import Workbook

import cmjlab as cj
from cmjlab.study.folder.wide_measures import measure_of

LONG = (
    "athlete,session,measure,value,unit\nA00,base1,squat_1rm,90.5,kg\nA00,base1,attendance,80,%\n"
    "A01,base1,squat_1rm,100,kg\n"
)


def _folder(kit, place, text=None, sheets=None):
    """A copy of the kit with measures.csv of this text, or measures.xlsx of these sheets."""
    shutil.copytree(
        kit.folder, place / "kit", ignore=shutil.ignore_patterns("results", "measures.*")
    )
    if text is not None:
        (place / "kit" / "measures.csv").write_text(text, encoding="utf-8")
    if sheets is not None:
        book = Workbook()
        book.remove(book.active)
        for title, rows in sheets.items():
            sheet = book.create_sheet(title)
            for row in rows:
                sheet.append(row)
        book.save(place / "kit" / "measures.xlsx")
    return place / "kit"


def _values(folder):
    frame = cj.Study.open(folder).measures
    frame = frame[["athlete", "session", "measure", "value", "unit"]]
    return frame.sort_values(["athlete", "session", "measure"], ignore_index=True)


@pytest.mark.parametrize(
    ("heading", "found"),
    [
        ("squat_1rm_kg", ("squat_1rm", "kg")),
        ("squat 1RM (kg)", ("squat_1rm", "kg")),
        ("Attendance [%]", ("attendance", "%")),
        ("attendance_percent", ("attendance", "%")),
        ("sprint_20m_s", ("sprint_20m", "s")),
        ("coach rating_1_to_10", ("coach_rating", "1 to 10")),
        ("jump power W/kg", ("jump_power", "W/kg")),
        ("goals", ("goals", "")),
        ("kg", ("kg", "")),
    ],
)
def test_headings_give_measure_and_unit(heading, found):
    assert measure_of(heading) == found


def test_wide_and_long_are_the_same_study(kit, tmp_path):
    wide = "athlete;session;squat 1RM (kg);attendance_%\nA00;base1;90,5;80\nA01;base1;100;\n"
    found = _values(_folder(kit, tmp_path / "wide", wide))
    expected = _values(_folder(kit, tmp_path / "long", LONG))
    pd.testing.assert_frame_equal(found, expected)
    table = cj.Study.open(tmp_path / "wide" / "kit").sessions_table()
    row = table[(table["athlete"] == "A00") & (table["session"] == "base1")].iloc[0]
    assert row["squat_1rm_kg"] == 90.5
    assert row["relative_strength"] == pytest.approx(90.5 / row["body_mass_kg"])


def test_every_assumption_is_a_note(kit, tmp_path):
    text = (
        "athlete,date,squat_1rm_kg,goals,comment\nA00,2026-08-31,90,3,fine\nA01,2026-09-07,95,1,\n"
    )
    folder = _folder(kit, tmp_path, text)
    notes = cj.check_study(folder)
    notes = notes[notes["file"].str.startswith("measures")].set_index("code")
    assert set(notes["severity"]) == {"note"}
    assert "held on the date" in notes.loc["session_assumed", "remedy"]
    assert "squat_1rm in kg, goals without a unit" in notes.loc["wide_table", "remedy"]
    assert notes.loc["column_without_numbers", "column"] == "comment"
    found = _values(folder)
    assert list(found["session"]) == ["base1", "base1", "base2", "base2"]
    assert "goals" in cj.Study.open(folder).sessions_table()


def test_sheets_named_like_sessions_and_sheets_of_both_forms_are_read(kit, tmp_path):
    sheets = {
        "Base1": [["athlete", "squat_1rm_kg"], ["A00", 90.5], ["A01", 100]],
        "ratings": [["athlete", "session", "measure", "value", "unit"], ["A00", "post", "coach_rating", 7, "points"]],
        "legend": [["what", "means"], ["1RM", "one repetition"]],
    }  # fmt: skip
    folder = _folder(kit, tmp_path, sheets=sheets)
    found = _values(folder)
    assert found["measure"].to_list() == ["squat_1rm", "coach_rating", "squat_1rm"]
    assert found["session"].to_list() == ["base1", "post", "base1"]
    notes = cj.check_study(folder)
    assert "measures.xlsx, sheet legend" in set(
        notes.loc[notes["code"] == "sheet_not_read", "file"]
    )
    told = notes[notes["code"] == "session_assumed"].iloc[0]
    assert "sheet 'Base1'" in told["found"]
    assert told["file"] == "measures.xlsx, sheet Base1"


@pytest.mark.parametrize(
    ("text", "code", "words"),
    [
        ("athlete,squat_1rm_kg\nA00,90\n", "session_unknown", "Add a column session (or date)"),
        ("athlete,date,squat_1rm_kg\nA00,2026-01-01,90\n", "date_of_no_session", "2026-08-31 (base1)"),
        ("athlete,session,squat_1rm\nA00,base1,90\n", "unit_unknown", "squat_1rm_kg"),
        ("athlete,session,squat_1rm_kg\nA00,base1,heavy\nA01,base1,90\n", "bad_value", "heavy"),
        ("athlete,session,squat_1rm_kg\nA00,base1,90\nA00,base1,95\n", "row_twice", "A00/base1/squat_1rm"),
        ("athlete,session,squat_1rm_kg,squat 1RM (kg)\nA00,base1,90,95\n", "column_twice", "squat_1rm_kg, squat 1RM (kg)"),
        ("athlete,session,value,squat_1rm_kg\nA00,base1,90,95\n", "missing_column", "measure"),
        ("athlete,session,squat_1rm_kg\n,base1,90\n", "empty_cell", "athlete"),
        ("athlete,session,squat_1rm_kg\nA00,,90\n", "empty_cell", "base1"),
        ("athlete,session,squat_1rm_kg\nA99,base1,90\n", "unknown_athlete", "A99"),
    ],
)  # fmt: skip
def test_doubt_is_refused_with_place_and_remedy(kit, tmp_path, text, code, words):
    found = cj.check_study(_folder(kit, tmp_path, text))
    mine = found[(found["code"] == code) & found["file"].str.startswith("measures")]
    assert len(mine), found[["file", "code", "found"]].to_string()
    assert words in " ".join(mine.iloc[0].astype(str))


def test_a_value_on_two_sheets_is_refused(kit, tmp_path):
    rows = [["athlete", "session", "squat_1rm_kg"], ["A00", "base1", 90]]
    found = cj.check_study(_folder(kit, tmp_path, sheets={"one": rows, "two": rows}))
    assert found.loc[found["code"] == "row_twice", "found"].to_list() == ["A00/base1/squat_1rm"]


def test_a_date_is_never_read_as_a_number_and_ids_keep_their_zeros(kit, tmp_path):
    sheets = {"base1": [["athlete", "goals"], [7, 3], ["A00", 2]]}
    found = cj.check_study(_folder(kit, tmp_path, sheets=sheets))
    assert "ids_as_numbers" in set(found["code"])


def test_a_long_table_is_read_as_before(kit, tmp_path):
    folder = _folder(kit, tmp_path, LONG)
    assert len(_values(folder)) == 3
    notes = cj.check_study(folder)
    assert "wide_table" not in set(notes["code"])
