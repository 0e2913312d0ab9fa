"""results.xlsx: the tables with sixteen digits, a dictionary of every column, nothing that runs."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest
from openpyxl import load_workbook

from cmjlab.catalog import METRICS
from cmjlab.errors import StudyError
from cmjlab.report.blocks.data import ReportData
from cmjlab.report.render.workbook import dictionary, render_workbook, write_workbook

NASTY = '=HYPERLINK("http://x") <b>Zoë</b> 日本'


@pytest.fixture(scope="module")
def data(kit_report):
    return kit_report


@pytest.fixture(scope="module")
def path(data, tmp_path_factory):
    return write_workbook(data, tmp_path_factory.mktemp("new") / "deep" / "results.xlsx")


def _small(**tables) -> ReportData:
    return ReportData("T", "2026-11-02", "", "0", (), tables=tables)


def test_every_table_has_its_sheet_between_about_and_dictionary(path, data):
    names = load_workbook(path, read_only=True).sheetnames
    assert names == ["about", *data.tables, "dictionary"]


def test_sheets_hold_the_tables_with_sixteen_digits(path, data):
    for name in ("sessions", "reliability", "change_between"):
        found = pd.read_excel(path, sheet_name=name, dtype={"athlete": str})
        table = data.tables[name]
        assert list(found.columns) == list(table.columns)
        assert len(found) == len(table)
        for column in table.select_dtypes("float").columns:
            values = found[column].to_numpy(dtype=float)
            kept = table[column].to_numpy(dtype=float)
            np.testing.assert_allclose(values, kept, rtol=2e-15, atol=0, err_msg=column)


def test_dictionary_explains_every_column_statistic_and_rule(path, data):
    found = pd.read_excel(path, sheet_name="dictionary", keep_default_na=False)
    pairs = set(zip(found["sheet"], found["name"], strict=True))
    for name, table in data.tables.items():
        assert {(name, c) for c in table.columns} <= pairs
    used = {s for t in data.tables.values() if "statistic" in t for s in t["statistic"]}
    assert {("in column statistic", s) for s in used} <= pairs
    assert {("in column code", c) for c in data.tables["checks"]["code"]} <= pairs
    assert (found["meaning"] != "").all()
    height = found[(found["sheet"] == "sessions") & (found["name"] == "jump_height_m")].iloc[0]
    assert height["unit"] == "m"
    assert height["computed as"] == METRICS["jump_height_m"].formula
    assert height["source"] == METRICS["jump_height_m"].reference


def test_text_is_never_a_formula(tmp_path):
    table = pd.DataFrame({"athlete": [NASTY, "@x", "-1+1"], "n": [1, 2, 3]})
    book = load_workbook(write_workbook(_small(t=table), tmp_path / "r.xlsx"))
    cells = [row[0] for row in book["t"].iter_rows(min_row=2)]
    assert [c.value for c in cells] == [NASTY, "@x", "-1+1"]
    assert {c.data_type for c in cells} == {"s"}


def test_kinds_of_values(tmp_path):
    table = pd.DataFrame(
        {
            "yes": pd.array([True, None], dtype="boolean"),
            "n": pd.array([7, None], dtype="Int64"),
            "x": [0.1, np.nan],
            "far": [np.inf, -np.inf],
            "text": ["bad \x00 sign", None],
            "kind": pd.Categorical(["a", None]),
        }
    )
    book = load_workbook(write_workbook(_small(t=table), tmp_path / "r.xlsx"))
    rows = list(book["t"].iter_rows(min_row=2, values_only=True))
    assert rows[0] == (True, 7, 0.1, "inf", "bad \ufffd sign", "a")
    assert rows[1] == (None, None, None, "-inf", None, None)


def test_names_that_a_sheet_cannot_have(tmp_path):
    name = "a[b]:c*d?e/f\\" + "x" * 40
    book = load_workbook(
        write_workbook(_small(**{name: pd.DataFrame({"c": [1]})}), tmp_path / "r.xlsx")
    )
    assert len(book.sheetnames[1]) == 31
    assert not set(book.sheetnames[1]) & set("[]:*?/\\")


def test_a_table_too_long_for_a_sheet_is_refused(monkeypatch):
    monkeypatch.setattr("cmjlab.report.render.workbook._MOST_ROWS", 20)
    with pytest.raises(StudyError, match=r"t: 30 rows, a sheet holds 19\. Use t\.csv"):
        render_workbook(_small(t=pd.DataFrame({"c": range(30)})))


def test_unknown_columns_are_said_to_be_the_study_s_own():
    rows = dictionary(_small(jumps=pd.DataFrame({"shoe_size": [1]})))
    assert rows == [
        ("jumps", "shoe_size", "Shoe size", "", "joined from the study's own tables", "", "")
    ]


def test_a_place_that_cannot_be_written_is_said(data, tmp_path):
    (tmp_path / "file").write_text("", encoding="utf-8")
    with pytest.raises(StudyError, match="cannot be written"):
        write_workbook(data, tmp_path / "file" / "r.xlsx")
