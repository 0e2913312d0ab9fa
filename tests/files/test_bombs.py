"""Few bytes that stand for very many are refused from their counts: quickly, and in little memory."""

from __future__ import annotations

import csv
import gzip
import io
import json
import subprocess
import sys
import zipfile
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from openpyxl import Workbook

from cmjlab.errors import ReadError
from cmjlab.files.read import read_recording
from cmjlab.files.table import read_table
from cmjlab.study.folder.cells import read_cells, read_sheets

MEGABYTE = 1_000_000


def _base() -> bytes:
    book, out = Workbook(), io.BytesIO()
    book.active.append(["Time", "Fz"])
    book.save(out)
    return out.getvalue()


def workbook(cells: bytes, **others: bytes) -> bytes:
    """Return a workbook whose one sheet holds these cells; ``styles=…`` replaces that part."""
    out = io.BytesIO()
    head = b'<worksheet xmlns="http://schemas.openxmlformats.org/spreadsheetml/2006/main">'
    parts = {"sheet1": head + b"<sheetData>" + cells + b"</sheetData></worksheet>", **others}
    with (
        zipfile.ZipFile(io.BytesIO(_base())) as source,
        zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as archive,
    ):
        for member in source.infolist():
            stem = Path(member.filename).stem
            archive.writestr(member.filename, parts.get(stem, source.read(member)))
    return out.getvalue()


def _cell(place: str, row: int) -> bytes:
    return f'<row r="{row}"><c r="{place}"><v>1</v></c></row>'.encode()


def _text(length: int) -> bytes:
    return b'<row r="1"><c t="inlineStr"><is><t>' + b"a" * length + b"</t></is></c></row>"


def _parquet(rows: int) -> bytes:
    out = io.BytesIO()
    pd.DataFrame({"Time": np.zeros(rows), "Fz": np.zeros(rows)}).to_parquet(out)
    return out.getvalue()


DENSE = (b"<row>" + b"<c><v>1</v></c>" * 100 + b"</row>") * 15_000
LINE = b"0," * 500_000
#: what -> (ending, bytes, words that the sentence holds)
WORKBOOKS = {
    "far corner": (_cell("A1", 1) + _cell("XFD1048576", 1_048_576), "more than the 5000000"),
    "beyond the last row": (_cell("A1", 1) + _cell("A99999999999", 99_999_999_999), "beyond the last row"),
    "beyond the last column": (_cell("ZZZZ1", 1), "a.xlsx"),
    "wide in every row": (b"".join(_cell(f"XFD{i}", i) for i in range(1, 400)), "more than the 5000000"),
    "dense": (DENSE, "unpack to more than 23 MB"),
    "one long cell": (_text(200_000), "a cell of 200000 characters"),
    "one very long cell": (_text(60 * MEGABYTE), "unpack to more than 60 MB"),
}  # fmt: skip
OTHERS = {
    "gz of long lines": (".csv.gz", gzip.compress(b"\n".join([LINE] * 48), 1), "unpack to more than 48 MB"),
    "gz of zeros": (".csv.gz", gzip.compress(b"0,0\n" * 12_000_000, 1), "unpack to more than 48 MB"),
    "zip of zeros": (".zip", None, "unpack to more than 48 MB"),
    "packed twice": (".xlsx.gz", gzip.compress(workbook(DENSE)), "unpack to more than 23 MB"),
    "long lines": (".csv", b"Time,Fz\n" + LINE * 2, "line 2 has 2000000 characters"),
    "one open quotation mark": (".csv", b'a,b\n"' + b"x" * 2 * MEGABYTE, "characters"),
    "very many lines": (".csv", b"0,0\n" * 6_000_000, "6000000 lines"),
    "parquet of zeros": (".parquet", _parquet(6_000_000), "6000000 rows of 2 columns"),
}  # fmt: skip


@pytest.mark.parametrize("what", WORKBOOKS)
def test_a_workbook_that_stands_for_very_much_is_refused(tmp_path, what):
    cells, words = WORKBOOKS[what]
    path = tmp_path / "a.xlsx"
    path.write_bytes(workbook(cells))
    for read in (read_recording, read_table, read_cells, read_sheets):
        with pytest.raises(ReadError, match=words):
            read(path)


@pytest.mark.parametrize("what", OTHERS)
def test_another_file_that_stands_for_very_much_is_refused(tmp_path, what):
    ending, data, words = OTHERS[what]
    path = tmp_path / f"a{ending}"
    if data is None:
        out = io.BytesIO()
        with zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as archive:
            archive.writestr("a.csv", b"0,0\n" * 12_000_000)
        data = out.getvalue()
    path.write_bytes(data)
    with pytest.raises(ReadError, match=words):
        read_recording(path)


TABLES = {
    "very many lines": (b"athlete,group\n" + b"a,b\n" * 3_000_000, "lines are more than"),
    "very many empty lines": (b"athlete,group\n" + b"\n" * 3_000_000, "lines are more than"),
    "very many columns": (b",".join(b"a%d" % i for i in range(20_000)) + b"\n", "20000 columns"),
    "very many cells": (b"a,b\n" + LINE * 11, "more than the 5000000"),
    "one endless cell": (b'a,b\n"' + b"x" * MEGABYTE, "table"),
}


@pytest.mark.parametrize("what", TABLES)
def test_a_table_of_text_has_limits_too(tmp_path, what):
    data, words = TABLES[what]
    path = tmp_path / "a.csv"
    path.write_bytes(data)
    former = csv.field_size_limit(2**31 - 1)  # as packages of others leave it
    try:
        for read in (read_table, read_cells):
            with pytest.raises(ReadError, match=words):
                read(path)
    finally:
        csv.field_size_limit(former)


CHILD = """
import json, re, sys, time
from pathlib import Path
from cmjlab.errors import ReadError
from cmjlab.files.read import read_recording
from cmjlab.study.folder.cells import read_cells
worst = {}
for path in sorted(Path(sys.argv[1]).iterdir()):
    for read in (read_recording, read_cells):
        begun = time.process_time()
        try:
            read(path)
        except ReadError:
            pass
        worst[f"{path.name} {read.__name__}"] = time.process_time() - begun
peak = re.search(r"VmHWM:\\s+(\\d+)", Path("/proc/self/status").read_text())
print(json.dumps([worst, int(peak[1])]))
"""


@pytest.mark.skipif(sys.platform != "linux", reason="memory is counted in kilobytes on Linux")
def test_no_bomb_takes_long_or_fills_the_memory(tmp_path):
    """At most 5 s of the processor each, and 500 MB in all."""
    for what, (cells, _) in WORKBOOKS.items():
        (tmp_path / f"{what}.xlsx").write_bytes(workbook(cells))
    for what, (ending, data, _) in OTHERS.items():
        if data is not None:
            (tmp_path / f"{what}{ending}").write_bytes(data)
    done = subprocess.run(
        [sys.executable, "-c", CHILD, str(tmp_path)], capture_output=True, text=True, check=True
    )
    worst, kilobytes = json.loads(done.stdout)
    assert len(worst) == 2 * (len(WORKBOOKS) + len(OTHERS) - 1)
    assert {what: s for what, s in worst.items() if s > 5} == {}
    assert kilobytes < 500_000


# ---- what is honest still passes -----------------------------------------------------------


def test_a_stray_cell_far_below_or_right_does_no_harm(tmp_path):
    """Spreadsheets keep a format in the last row more often than not."""
    force = (750 + 100 * np.sin(np.arange(400) / 20)).round(1)
    rows = b"".join(
        f'<row r="{i}"><c r="A{i}"><v>{(i - 1) / 1000}</v></c><c r="B{i}"><v>{v}</v></c></row>'.encode()
        for i, v in enumerate(force, start=1)
    )
    empty = b'<row r="1048576"><c r="XFD1048576"/></row>'
    path = tmp_path / "a.xlsx"
    path.write_bytes(workbook(rows + empty))
    assert read_cells(path).numbers[-1] == 400
    assert read_recording(path).n_samples == 400


def test_a_cell_behind_a_gap_keeps_its_row_number(tmp_path):
    book = Workbook()
    book.active.append(["athlete", "group"])
    book.active.cell(7, 1, "A01")
    book.active.cell(7, 2, "jump")
    book.save(tmp_path / "a.xlsx")
    cells = read_cells(tmp_path / "a.xlsx")
    assert (cells.rows, cells.numbers) == ([["A01", "jump"]], [7])


def test_a_minute_that_is_packed_is_read(tmp_path):
    values = np.random.default_rng(1).normal(750, 5, (60_000, 3)).round(1)
    text = "Time [s],Fz 1 [N],Fz 2 [N]\n" + "\n".join(
        f"{i / 1000:.3f},{a},{b}" for i, (a, b, _) in enumerate(values)
    )
    path = tmp_path / "a.csv.gz"
    path.write_bytes(gzip.compress(text.encode()))
    assert read_recording(path).n_samples == 60_000
