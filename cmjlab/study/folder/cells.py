"""Read a table that a person keeps (.csv or .xlsx) as text cells with their row numbers.

Nothing is converted here: "07" stays "07". What a spreadsheet did to the file (semicolons,
decimal commas, tabs, UTF-16, a byte-order mark, cp1252) is recognised.
"""

from __future__ import annotations

import csv
import io
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from cmjlab.errors import ReadError
from cmjlab.files.bounds import MOST_TABLE_LINES, refuse_many_cells, refuse_many_lines
from cmjlab.files.table import cell_text, short_cells, table_delimiter
from cmjlab.safe_open import read_file

_BOMS = (
    (b"\xef\xbb\xbf", "utf-8-sig"),
    (b"\xff\xfe", "utf-16"),
    (b"\xfe\xff", "utf-16"),
)


@dataclass(frozen=True)
class Cells:
    """A table as text: header names, rows, and the row numbers a spreadsheet shows.

    Attributes
    ----------
    header : list of str
        Names in the first row that is neither empty nor a remark (#).
    rows : list of list of str
        Cells, as long as the header; longer rows keep their surplus cells.
    numbers : list of int
        Row number of each row, from 1 at the top of the file.
    delimiter, encoding : str
        How the text file is written ("" for a workbook).
    numeric : frozenset of (row number, column position)
        Cells that a workbook keeps as numbers.
    """

    path: Path
    header: list[str]
    rows: list[list[str]]
    numbers: list[int]
    delimiter: str = ","
    encoding: str = "utf-8"
    numeric: frozenset[tuple[int, int]] = field(default_factory=frozenset)


def find_table(folder: Path, stem: str) -> list[Path]:
    """Return the files that may hold a table: stem.csv, stem.xlsx, in any letter case."""
    if not folder.is_dir():
        return []
    wanted = {f"{stem}{s}" for s in (".csv", ".xlsx", ".tsv", ".txt")}
    return sorted(p for p in folder.iterdir() if p.name.lower() in wanted and not p.is_dir())


def read_cells(path: Path) -> Cells:
    """Read a table as text cells.

    Raises
    ------
    ReadError
        When the file cannot be opened or is not a table.
    """
    try:
        if path.suffix.lower() == ".xlsx":
            return _workbook(path)
        return _text(path, read_file(path, study=path.parent))
    except OSError as problem:
        raise ReadError(f"{path.name}: cannot be opened ({problem.strerror or problem}).") from None


def decode(raw: bytes) -> tuple[str, str]:
    """Return the text of a file and the name of its encoding (UTF-8, UTF-16 or cp1252)."""
    for bom, encoding in _BOMS:
        if raw.startswith(bom):
            return raw.decode(encoding, errors="replace"), encoding
    try:
        return raw.decode("utf-8"), "utf-8"
    except UnicodeDecodeError:
        return raw.decode("cp1252", errors="replace"), "cp1252"


def _text(path: Path, raw: bytes) -> Cells:
    text, encoding = decode(raw)
    text = text.replace("\x1a", "")
    if "\x00" in text:
        raise ReadError(f"{path.name}: is not a text table. Save it as .csv (UTF-8) or .xlsx.")
    refuse_many_lines(path.name, text.count("\n") + text.count("\r"), 2 * MOST_TABLE_LINES)
    delimiter = table_delimiter(text[:1_000_000].splitlines()[:60])
    refuse_many_cells(path.name, text, delimiter)
    header: list[str] = []
    rows: list[list[str]] = []
    numbers: list[int] = []
    reader = csv.reader(io.StringIO(text, newline=""), delimiter=delimiter)
    start = 1
    try:
        for cells in short_cells(reader):
            first, start = start, reader.line_num + 1
            if not any(c.strip(" \t\r\n\ufeff") for c in cells):
                continue
            if cells[0].lstrip().startswith("#"):
                continue
            if not header:
                header = [c.strip().strip("\ufeff") for c in cells]
                continue
            rows.append(_fit(cells, len(header)))
            numbers.append(first)
    except csv.Error as problem:
        raise ReadError(f"{path.name}, row {start}: is not a table ({problem}).") from None
    return Cells(path, header, rows, numbers, delimiter, encoding)


def _fit(cells: list[str], width: int) -> list[str]:
    """Return a row as long as the header; empty surplus cells at the end are dropped."""
    row = list(cells) + [""] * (width - len(cells))
    while len(row) > width and not row[-1].strip():
        row.pop()
    return row


def read_sheets(path: Path) -> dict[str, Cells]:
    """Read every sheet of a workbook as text cells, by its name.

    Raises
    ------
    ReadError
        When the file is no workbook.
    """
    from cmjlab.files.workbook_cells import read_workbook

    try:
        data = read_file(path, study=path.parent)
    except OSError as problem:
        raise ReadError(f"{path.name}: cannot be opened ({problem.strerror or problem}).") from None
    sheets = read_workbook(path.name, data)
    return {title: _sheet(path, lines) for title, lines in sheets.items()}


def _workbook(path: Path) -> Cells:
    """Return the first sheet of a workbook."""
    sheets = read_sheets(path)
    if not sheets:
        raise ReadError(f"{path.name}: the workbook has no sheet of cells. Save it again as .xlsx.")
    return next(iter(sheets.values()))


def _sheet(path: Path, lines: list[tuple[Any, ...]]) -> Cells:
    header: list[str] = []
    rows: list[list[str]] = []
    numbers: list[int] = []
    numeric = set()
    for number, line in enumerate(lines, start=1):
        cells = [cell_text(v) for v in line]
        if not any(c.strip() for c in cells) or cells[0].lstrip().startswith("#"):
            continue
        if not header:
            header = [c.strip() for c in cells]
            while header and not header[-1]:
                header.pop()
            continue
        rows.append(_fit(cells, len(header)))
        numbers.append(number)
        numeric |= {
            (number, i)
            for i, v in enumerate(line)
            if isinstance(v, int | float) and not isinstance(v, bool)
        }
    return Cells(path, header, rows, numbers, "", "", frozenset(numeric))
