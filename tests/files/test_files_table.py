"""Tables of values: any dialect read, ids kept as text, nothing a spreadsheet would run."""

from __future__ import annotations

import csv
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from hypothesis import given
from hypothesis import strategies as st

from cmjlab.errors import ReadError
from cmjlab.files.table import guarded, read_table, unguarded, write_table
from cmjlab.tables import Column, Table

VALUES = "athlete,session,jump_height_m\n007,base1,0.312\n7,base1,0.345\nA12,base1,\n"

#: Ids as reports show them in the wild: formulas, signs, control characters, full-width forms.
DANGEROUS = ["=1+1", "+44 7700", "-x", "@SUM(A1)", "\t=2", "\r=3", '=HYPERLINK("http://x.test")', "＝1+1", "＋1a", " =1"]  # fmt: skip
HARMLESS = ["A07", "-0.5", "+3", "1e-3", "0,5", "'s-Hertog", "Zoë", "a=b", "12", ""]


@pytest.mark.parametrize(
    "data",
    [
        VALUES.encode(),
        VALUES.replace(",", ";").replace(".", ",").encode("utf-8-sig"),
        VALUES.replace(",", "\t").encode("utf-16"),
        VALUES.replace(",", ";").replace("\n", "\r\n").encode("cp1252"),
        ("# filled by hand\n\n" + VALUES.replace("\n", ",,\n")).encode(),
        VALUES.replace("\n", "\r").encode(),
    ],
    ids=["comma", "decimal comma, BOM", "tab, UTF-16", "CRLF", "remark, trailing commas", "CR"],
)
def test_dialects(data: bytes, tmp_path: Path) -> None:
    path = tmp_path / "values.csv"
    path.write_bytes(data)
    frame = read_table(path)
    assert frame["athlete"].tolist() == ["007", "7", "A12"]
    assert frame["session"].tolist() == ["base1"] * 3
    np.testing.assert_array_equal(frame["jump_height_m"], [0.312, 0.345, np.nan])


def test_workbook(tmp_path: Path) -> None:
    from openpyxl import Workbook

    book = Workbook()
    sheet = book.active
    assert sheet is not None
    for row in (
        ["athlete", "session", "trial", "jump_height_m"],
        ["007", "base1", 1, 0.312],
        [7, "base1", 2.0, 0.345],
    ):
        sheet.append(row)  # fmt: skip
    book.create_sheet("empty")
    book.save(tmp_path / "values.xlsx")
    frame = read_table(tmp_path / "values.xlsx")
    assert frame["athlete"].tolist() == ["007", "7"]
    assert frame["trial"].tolist() == ["1", "2"]
    assert frame["jump_height_m"].tolist() == [0.312, 0.345]


def test_cp1252_and_accents_are_kept(tmp_path: Path) -> None:
    path = tmp_path / "a.csv"
    path.write_bytes("name;größe_m\nZoë;1,80\n".encode("cp1252"))
    frame = read_table(path)
    assert frame["name"].tolist() == ["Zoë"]
    assert frame["größe_m"].tolist() == [1.80]


def test_columns_with_leading_zeros_or_words_stay_text(tmp_path: Path) -> None:
    path = tmp_path / "a.csv"
    path.write_text("who,code2,word,height\n1,010,x,3\n2,2,4,4\n")
    frame = read_table(path)
    assert frame["code2"].tolist() == ["010", "2"]
    assert frame["word"].tolist() == ["x", "4"]
    assert frame["height"].tolist() == [3.0, 4.0]


TABLE = Table(
    "trial",
    "for this test",
    (
        Column("athlete", "text", "id", required=True),
        Column("count", "integer", "a number of jumps"),
        Column("value", "number", "a value"),
        Column("used", "boolean", "used or not"),
    ),
)


def test_declared_columns_get_their_types(tmp_path: Path) -> None:
    path = tmp_path / "a.csv"
    path.write_text("value;athlete;used;count;more\n0,5;01;yes;3;x\n;02;;;\n")
    frame = read_table(path, TABLE)
    assert frame.columns.tolist() == ["athlete", "count", "value", "used", "more"]
    assert frame["athlete"].tolist() == ["01", "02"]
    assert frame["value"].iloc[0] == 0.5
    assert frame["count"].iloc[0] == 3
    assert bool(frame["used"].iloc[0]) is True
    assert frame[["count", "value", "used"]].iloc[1].isna().all()


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("", "empty"),
        ("# only a remark\n", "no table"),
        ("a,b\n1,2,3\n", "row 2 has 3 cells"),
        ("a,a\n1,2\n", "names 'a' twice"),
        ("a,\n1,2\n", "column 2 has cells but no name"),
        ("a,b\n1,#DIV/0!\n", "row 2, column b: the spreadsheet's error #DIV/0!"),
        ("athlete,count\nA1,2.5\n", "row 2, column count: a whole number is needed, found '2.5'"),
        ("athlete,value\nA1,1\nA2,x1\n", "row 3, column value: a number is needed, found 'x1'"),
        ("athlete,used\nA1,maybe\n", "true or false is needed, found 'maybe'"),
    ],
)
def test_what_is_wrong_is_named(text: str, words: str, tmp_path: Path) -> None:
    path = tmp_path / "a.csv"
    path.write_text(text)
    with pytest.raises(ReadError) as caught:
        read_table(path, TABLE)
    assert words in str(caught.value)
    assert "a.csv" in str(caught.value)


def test_missing_file_folder_and_binary(tmp_path: Path) -> None:
    with pytest.raises(ReadError, match="no such file"):
        read_table(tmp_path / "absent.csv")
    with pytest.raises(ReadError, match="folder"):
        read_table(tmp_path)
    (tmp_path / "a.xlsx").write_bytes(b"PK\x03\x04" + bytes(50))
    with pytest.raises(ReadError, match="cannot be read"):
        read_table(tmp_path / "a.xlsx")
    (tmp_path / "b.csv").write_bytes(b"\x89PNG\r\n\x1a\n" + bytes(300))
    with pytest.raises(ReadError, match="PNG picture"):
        read_table(tmp_path / "b.csv")


@pytest.mark.parametrize("text", DANGEROUS)
def test_dangerous_text_gets_one_apostrophe(text: str) -> None:
    assert guarded(text) == "'" + text
    assert unguarded(guarded(text)) == text
    assert unguarded(guarded("'" + text)) == "'" + text


@pytest.mark.parametrize("text", HARMLESS)
def test_harmless_text_is_untouched(text: str) -> None:
    assert guarded(text) == text
    assert unguarded(text) == text


@given(st.text(alphabet="'=+-@\t\r\n 01.,ab＝", max_size=8))
def test_guard_is_taken_back_exactly(text: str) -> None:
    assert unguarded(guarded(text)) == text


@pytest.mark.parametrize("ending", [".csv", ".xlsx"])
def test_tables_come_back_as_they_were(ending: str, tmp_path: Path) -> None:
    texts = [t for t in DANGEROUS + HARMLESS if t == t.strip(" ")] + ["x\ry", 'q"q', "a,b", "l\nm"]
    frame = pd.DataFrame(
        {
            "athlete": texts,
            "=head": np.arange(len(texts)) * 0.5,
            "change": np.where(np.arange(len(texts)) % 2, -0.5, np.nan),
        }
    )
    found = read_table(write_table(frame, tmp_path / f"a{ending}"))
    assert found["athlete"].tolist() == texts
    np.testing.assert_array_equal(found["=head"], frame["=head"])
    np.testing.assert_array_equal(found["change"], frame["change"])


def test_no_written_cell_runs_and_numbers_are_untouched(tmp_path: Path) -> None:
    frame = pd.DataFrame({"athlete": DANGEROUS, "@change": [-0.5] * len(DANGEROUS)})
    path = write_table(frame, tmp_path / "a.csv")
    raw = path.read_bytes()
    assert raw.startswith(b"\xef\xbb\xbf")
    with open(path, encoding="utf-8-sig", newline="") as handle:
        rows = list(csv.reader(handle))
    assert len(rows) == 1 + len(DANGEROUS)
    assert rows[0] == ["athlete", "'@change"]
    for row in rows[1:]:
        assert row[0].startswith("'")
        assert row[1] == "-0.5"


def test_workbook_holds_no_formula(tmp_path: Path) -> None:
    from openpyxl import load_workbook

    path = write_table(pd.DataFrame({"athlete": DANGEROUS}), tmp_path / "a.xlsx")
    sheet = load_workbook(path).worksheets[0]
    assert all(cell.data_type == "s" for row in sheet.iter_rows() for cell in row)
