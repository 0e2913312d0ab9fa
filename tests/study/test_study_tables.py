"""Tables that people keep: every dialect a spreadsheet writes, every slip named by cell."""

from __future__ import annotations

import datetime as dt

import pytest

import cmjlab as cj
from cmjlab.study.folder.cells import read_cells
from cmjlab.study.folder.problems import Problems
from cmjlab.study.folder.user_tables import ROW, read_user_table
from cmjlab.tables import ATHLETES, MEASURES, PARTICIPATION, SESSION_NOTES

TEXT = "athlete,group,stature_m\n007,a,1.75\n07,b,1.80\n"


def read(folder, stem, table):
    problems = Problems()
    return read_user_table(folder, stem, table, problems), problems


@pytest.mark.parametrize(
    "data",
    [
        TEXT.encode(),
        b"\xef\xbb\xbf" + TEXT.encode(),
        TEXT.replace(",", ";").replace("1.75", "1,75").encode(),
        TEXT.replace(",", "\t").encode("utf-16"),
        TEXT.replace("\n", "\r\n").encode(),
        TEXT.replace("\n", "\r").encode(),
        b"# a remark, with commas\n\n" + TEXT.encode() + b"# 09,c,1.9\n,,\n\n",
        TEXT.replace("athlete", " Athlete ").replace("stature_m", "Stature m").encode(),
        TEXT.replace("\n", ",,\n").encode(),
    ],
    ids=["plain", "bom", "semicolon", "utf16", "crlf", "cr", "remarks", "header", "surplus"],
)
def test_dialects_give_the_same_table(tmp_path, data):
    (tmp_path / "athletes.csv").write_bytes(data)
    table, problems = read(tmp_path, "athletes", ATHLETES)
    assert list(table["athlete"]) == ["007", "07"]
    assert list(table["group"]) == ["a", "b"]
    assert list(table["stature_m"]) == [1.75, 1.80]
    assert not problems.rows


def test_rows_are_numbered_as_a_spreadsheet_shows_them(tmp_path):
    text = '# remark\nathlete,group\n\nA,"two\nlines"\nB,x\n'
    (tmp_path / "athletes.csv").write_text(text)
    table, _ = read(tmp_path, "athletes", ATHLETES)
    assert list(table[ROW]) == [4, 6]


def test_workbook(tmp_path):
    from openpyxl import Workbook

    book = Workbook()
    sheet = book.active
    sheet.append(["athlete", "group", "birth_year", "stature_m"])
    sheet.append(["007", "a", 2001.0, 1.75])
    sheet.append([7, "b", 2002, None])
    sheet.append([dt.datetime(2026, 3, 1), "b", 2002, 1.8])
    book.save(tmp_path / "athletes.xlsx")
    table, problems = read(tmp_path, "athletes", ATHLETES)
    assert list(table["athlete"]) == ["007", "7", "2026-03-01"]
    assert list(table["birth_year"]) == [2001, 2002, 2002]
    assert [(r["code"], r["row"]) for r in problems.rows] == [("ids_as_numbers", "3")]


def test_two_files_for_one_table(tmp_path):
    (tmp_path / "athletes.csv").write_text(TEXT)
    (tmp_path / "Athletes.XLSX").write_bytes(b"x")
    _, problems = read(tmp_path, "athletes", ATHLETES)
    assert problems.rows[0]["code"] == "table_twice"


@pytest.mark.parametrize("data", [b"PK\x03\x04 not a workbook", b""])
def test_broken_workbook_is_a_problem_not_a_crash(tmp_path, data):
    (tmp_path / "athletes.xlsx").write_bytes(data)
    table, problems = read(tmp_path, "athletes", ATHLETES)
    assert table.empty
    assert [r["code"] for r in problems.rows] == ["not_a_table"]


CELLS = [
    ("stature_m", "tall", "bad_value", "a number"),
    ("stature_m", "1,234", "bad_value", "decimal mark or part thousands"),
    ("stature_m", "inf", "bad_value", "Leave the cell empty"),
    ("birth_year", "2001.5", "bad_value", "a whole number"),
    ("athlete", "", "empty_cell", "Fill it in"),
]


@pytest.mark.parametrize(("column", "cell", "code", "words"), CELLS)
def test_bad_cells_are_named(tmp_path, column, cell, code, words):
    row = {"athlete": "A1", "stature_m": "1.8", "birth_year": "2000", column: cell}
    lines = [",".join(row), ",".join(f'"{v}"' for v in row.values())]
    (tmp_path / "athletes.csv").write_text("\n".join(lines))
    _, problems = read(tmp_path, "athletes", ATHLETES)
    [found] = problems.rows
    assert (found["file"], found["row"], found["column"]) == ("athletes.csv", "2", column)
    assert found["code"] == code
    assert words in found["expected"] + found["remedy"]


DATES = [
    ("2026-04-03", "2026-04-03", ""),
    ("2026-04-03 00:00:00", "2026-04-03", ""),
    ("2026-04-31", None, "no such day"),
    ("03/04/2026", None, "cannot be told apart"),
    ("13.04.2026", None, "ISO"),
    ("3 April", None, "ISO"),
    ("46115", None, "ISO"),
]


@pytest.mark.parametrize(("cell", "date", "words"), DATES)
def test_only_iso_dates(tmp_path, cell, date, words):
    (tmp_path / "sessions.csv").write_text(f"session,date\npre,{cell}\n")
    table, problems = read(tmp_path, "sessions", SESSION_NOTES)
    if date:
        assert table["date"][0] == date
        assert not problems.rows
    else:
        assert words in problems.rows[0]["remedy"]
        assert problems.rows[0]["found"] == cell


def test_header_slips(tmp_path):
    (tmp_path / "measures.csv").write_text("athlete,sesion,measure,value,value\nA,pre,x,1,2\n")
    _, problems = read(tmp_path, "measures", MEASURES)
    told = {(r["code"], r["column"]) for r in problems.rows}
    assert {
        ("unknown_column", "sesion"),
        ("column_twice", "value"),
        ("missing_column", "session"),
        ("missing_column", "unit"),
    } <= told
    [near] = [r for r in problems.rows if r["column"] == "sesion"]
    assert "Did you mean 'session'?" in near["remedy"]


def test_words_that_are_not_allowed_get_a_suggestion(tmp_path):
    (tmp_path / "participation.csv").write_text(
        "athlete,session,status\nA,pre,Absent\nB,pre,absnt\n"
    )
    table, problems = read(tmp_path, "participation", PARTICIPATION)
    assert table["status"][0] == "absent"
    [found] = problems.rows
    assert found["found"] == "absnt"
    assert "Did you mean 'absent'?" in found["remedy"]


def test_same_key_twice_names_both_rows(tmp_path):
    (tmp_path / "athletes.csv").write_text("athlete\nA\nB\nsub-A\n")
    _, problems = read(tmp_path, "athletes", ATHLETES)
    [found] = problems.rows
    assert (found["code"], found["row"], found["found"]) == ("row_twice", "2, 4", "A")


def test_blanks_and_unicode_forms_are_set_right_and_told(tmp_path):
    (tmp_path / "athletes.csv").write_text("athlete\nA07 \nZoe\u0308\n", encoding="utf-8")
    table, problems = read(tmp_path, "athletes", ATHLETES)
    assert list(table["athlete"]) == ["A07", "Zo\u00eb"]
    assert [r["code"] for r in problems.rows] == ["blanks_in_id", "unicode_form"]


def test_guarded_text_loses_exactly_one_apostrophe(tmp_path):
    """Text that a spreadsheet would take for a formula is written with an apostrophe."""
    (tmp_path / "athletes.csv").write_text("athlete,team\nA,'=1+1\nB,''=x\nC,'s\n")
    table, _ = read(tmp_path, "athletes", ATHLETES)
    assert list(table["team"]) == ["=1+1", "'=x", "'s"]


def test_columns_of_ones_own_stay_text_when_zeros_matter(tmp_path):
    (tmp_path / "athletes.csv").write_text("athlete,locker,leg_m\nA,007,0.9\nB,01,0.95\n")
    table, problems = read(tmp_path, "athletes", ATHLETES)
    assert list(table["locker"]) == ["007", "01"]
    assert list(table["leg_m"]) == [0.9, 0.95]
    assert {r["severity"] for r in problems.rows} == {"note"}


def test_binary_file_is_refused(tmp_path):
    (tmp_path / "athletes.csv").write_bytes(b"a,b\n\x00\x01\x02")
    _, problems = read(tmp_path, "athletes", ATHLETES)
    assert problems.rows[0]["code"] == "not_a_table"


def test_control_z_and_missing_last_newline(tmp_path):
    (tmp_path / "t.csv").write_bytes(b"a,b\r\n1,2\x1a")
    assert read_cells(tmp_path / "t.csv").rows == [["1", "2"]]


@pytest.mark.parametrize(
    "column", ["date", "session", "file", "accepted", "jump_height_m", "role", "row_in_file"]
)
def test_a_column_of_the_roster_is_not_called_like_one_of_the_results(tmp_path, column):
    (tmp_path / "athletes.csv").write_text(f"athlete,{column},hand\nA,1,left\n")
    table, problems = read(tmp_path, "athletes", ATHLETES)
    assert (column in table) == (column == "row_in_file")
    assert table["hand"].tolist() == ["left"]
    found = {r["code"]: r for r in problems.rows}
    assert found["reserved_column"]["column"] == column
    assert found["reserved_column"]["file"] == "athletes.csv"
    assert f"Rename it, for instance to own_{column}" in found["reserved_column"]["remedy"]


def test_a_study_whose_roster_has_such_a_column_is_measured(tmp_path):
    from report_kit import kit_study

    study = kit_study(tmp_path, athletes=3)
    roster = study.folder / "athletes.csv"
    head, *rows = roster.read_text(encoding="utf-8").splitlines()
    roster.write_text("\n".join([f"{head},date", *(f"{row},1.1.2000" for row in rows)]) + "\n")
    table = cj.Study.open(study.folder).measure()
    assert table["accepted"].any()
    assert "1.1.2000" not in set(table["date"].astype(str))
