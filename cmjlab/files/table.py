"""Tables of values that people keep: read from .csv of any dialect or .xlsx, written safely.

A table that a spreadsheet opens must not run: text that a spreadsheet would take for a formula
gets one apostrophe in front when written, and reading takes exactly one away again. Numbers
are never touched. Source of the rule: common practice against formula injection in exports.
"""

from __future__ import annotations

import csv
import datetime as dt
import io
import re
from collections import Counter
from collections.abc import Iterable, Iterator
from pathlib import Path
from typing import TYPE_CHECKING, Any

from cmjlab.checks import listed
from cmjlab.delimiters import table_marks
from cmjlab.errors import ReadError
from cmjlab.files.atomic_write import atomic_write
from cmjlab.files.bounds import (
    MOST_SIGNS_OF_A_CELL,
    MOST_TABLE_LINES,
    refuse_many_cells,
    refuse_many_lines,
)
from cmjlab.files.cells import number_of
from cmjlab.files.contents import no_such_file, refuse_signature
from cmjlab.files.formula_guard import guarded, unguarded
from cmjlab.safe_open import read_file

if TYPE_CHECKING:
    import pandas as pd

    from cmjlab.tables import Table

#: Columns that are ids or names wherever they stand, and so are never made numbers.
_ID_WORDS = re.compile(
    r"(athlete|player|subject|participant|id|name|session|trial|group|subgroup|team|date|day|code|"
    r"visit|test|file|sex|note|reason|measure|unit)(_id|_name|_no|_number)?",
    re.IGNORECASE,
)
_ERRORS = re.compile(r"#(?:DIV/0!|N/A|REF!|VALUE!|NUM!|NAME\?|NULL!|WERT!|NV|ZAHL!|BEZUG!)|Err:\d+")
_MISSING = frozenset({"", "na", "nan", "n/a", "none", "null", "-", "–", "."})


def read_table(path: str | Path, table: Table | None = None) -> pd.DataFrame:
    """Read a table of values.

    Parameters
    ----------
    path : str or Path
        ``.csv``, ``.tsv`` or ``.txt`` of any dialect (comma, semicolon, tab; decimal comma;
        UTF-8, UTF-16, cp1252), or ``.xlsx``. Rows that begin with # are remarks.
    table : Table, optional
        Declared columns; they give the types. Without it, ids and names stay text ("007"
        stays "007") and a column whose cells all hold numbers becomes numbers.

    Returns
    -------
    pandas.DataFrame
        Text columns hold "" where a cell is empty, number columns nan.

    Raises
    ------
    ReadError
        When it cannot be opened, is no table, has two columns of one name, holds a
        spreadsheet's error value, or a declared number is none; file, row and column named.
    """
    import pandas as pd

    path = Path(path)
    header, rows, comma = _rows(path)
    names, rows = _named(path.name, header, rows)
    _refuse_errors(path.name, names, rows)
    columns = {
        n: [unguarded(row[i].strip(" \xa0")) for _, row in rows] for i, n in enumerate(names)
    }
    numbers = [number for number, _ in rows]
    if table is not None:
        return table.cast(_declared(path.name, columns, numbers, table, comma))
    frame = {}
    for name, cells in columns.items():
        values = None if _is_id(name, cells) else _as_numbers(cells, comma)
        frame[name] = pd.Series(cells, dtype="str") if values is None else pd.Series(values)
    return pd.DataFrame(frame)


def _rows(path: Path) -> tuple[list[str], list[tuple[int, list[str]]], bool]:
    """Return header, rows with their numbers, and whether the comma may mark decimals."""
    try:
        data = read_file(path)
    except FileNotFoundError:
        raise ReadError(no_such_file(path)) from None
    except OSError as error:
        what = "this is a folder" if path.is_dir() else f"it cannot be opened ({error.strerror})"
        raise ReadError(f"{path}: {what}; name a .csv or .xlsx file.") from None
    if data[:4] == b"PK\x03\x04":
        lines, comma = _sheet_lines(path.name, data), False
    else:
        lines, comma = _text_lines(path.name, data)
    kept = [
        (number, cells)
        for number, cells in lines
        if any(c.strip() for c in cells) and not cells[0].lstrip().startswith("#")
    ]
    if not kept:
        raise ReadError(f"{path.name}: the file holds no table; a header row and rows are needed.")
    return kept[0][1], kept[1:], comma


def _text_lines(name: str, data: bytes) -> tuple[list[tuple[int, list[str]]], bool]:
    from cmjlab.files.text import whole_text

    if not data.strip():
        raise ReadError(f"{name}: the file is empty.")
    refuse_signature(name, data)
    text, _, _ = whole_text(name, data)
    if "\n" not in text:
        text = text.replace("\r", "\n")
    refuse_many_lines(name, text.count("\n"), MOST_TABLE_LINES)
    delimiter = table_delimiter(text.split("\n", 60)[:60])
    refuse_many_cells(name, text, delimiter)
    reader = csv.reader(io.StringIO(text, newline=""), delimiter=delimiter)
    lines, start = [], 1
    try:
        for cells in short_cells(reader):
            lines.append((start, cells))
            start = reader.line_num + 1
    except csv.Error as error:
        raise ReadError(f"{name}: row {start} is no table row ({error}).") from None
    return lines, delimiter != ","


def short_cells(reader: Iterable[list[str]]) -> Iterator[list[str]]:
    """Yield the rows of a csv reader; a cell longer than any that people write is an error.

    The limit of the module csv is one of the whole program: other packages raise it.
    """
    for cells in reader:
        longest = max(map(len, cells), default=0)
        if longest > MOST_SIGNS_OF_A_CELL:
            raise csv.Error(f"a cell of {longest} signs")
        yield cells


def table_delimiter(lines: list[str]) -> str:
    """Return the separator that cuts the header into most cells and the rows alike."""
    lines = [ln for ln in lines if ln.strip() and not ln.lstrip().startswith("#")]
    lines = [ln.replace("\r", " ") for ln in lines]
    best, rating = ",", (0.0, 0)
    for mark in table_marks():
        try:
            widths = [len(row) for row in csv.reader(lines, delimiter=mark) if row]
        except csv.Error:  # a line that is one endless cell with this mark
            continue
        if not widths or widths[0] < 2:
            continue
        alike = Counter(widths)[widths[0]] / len(widths)
        if (round(alike, 1), widths[0]) > rating:
            best, rating = mark, (round(alike, 1), widths[0])
    return best


def _sheet_lines(name: str, data: bytes) -> list[tuple[int, list[str]]]:
    from cmjlab.files.workbook_cells import read_workbook

    sheets = read_workbook(name, data)
    filled = {
        t: rows for t, rows in sheets.items() if any(any(c is not None for c in r) for r in rows)
    }
    if len(filled) != 1:
        found = listed(list(filled)) or "none"
        raise ReadError(
            f"{name}: {len(filled)} sheets hold cells ({found}); one is needed. Keep the table's"
            " sheet only, or save it as .csv."
        )
    rows = next(iter(filled.values()))
    return [(k, [cell_text(v) for v in row]) for k, row in enumerate(rows, start=1)]


def cell_text(value: Any) -> str:
    """Return a workbook cell as text: whole numbers without ".0", dates as ISO."""
    if value is None:
        return ""
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, float) and value.is_integer() and abs(value) < 1e15:
        return str(int(value))
    if isinstance(value, dt.datetime):
        return value.date().isoformat() if value.time() == dt.time() else value.isoformat(" ")
    if isinstance(value, dt.date | dt.time):
        return value.isoformat()
    return str(value)


def _named(
    name: str, header: list[str], rows: list[tuple[int, list[str]]]
) -> tuple[list[str], list[tuple[int, list[str]]]]:
    """Return column names and rows of that width; unnamed empty columns are dropped."""
    names = [unguarded(h.strip(" \xa0\ufeff")) for h in header]
    width = len(names)
    fitted = []
    for number, row in rows:
        if len(row) > width and any(c.strip() for c in row[width:]):
            raise ReadError(
                f"{name}: row {number} has {len(row)} cells, the header names {width} columns."
                " Quote a cell that holds the separator, or complete the header."
            )
        fitted.append((number, [*row, *[""] * (width - len(row))][:width]))
    for i, n in enumerate(names):
        if not n and any(row[i].strip() for _, row in fitted):
            raise ReadError(f"{name}: column {i + 1} has cells but no name in the header row.")
    doubles = [n for n, count in Counter(filter(None, names)).items() if count > 1]
    if doubles:
        raise ReadError(
            f"{name}: the header names {doubles[0]!r} twice. Give every column its own name."
        )
    kept = [i for i, n in enumerate(names) if n]
    return [names[i] for i in kept], [(k, [row[i] for i in kept]) for k, row in fitted]


def _refuse_errors(name: str, names: list[str], rows: list[tuple[int, list[str]]]) -> None:
    for number, row in rows:
        for column, cell in zip(names, row, strict=True):
            if cell[:1] in "#E" and _ERRORS.fullmatch(cell.strip()):
                raise ReadError(
                    f"{name}: row {number}, column {column}: the spreadsheet's error {cell.strip()}"
                    " stands there. Correct the formula, or empty the cell."
                )


def _is_id(name: str, cells: list[str]) -> bool:
    """Return whether a column is text: by its name, or since a number would lose its zeros."""
    if _ID_WORDS.fullmatch(name.strip()):
        return True
    return any(len(c) > 1 and c[0] == "0" and c.isdigit() for c in cells)


def _as_numbers(cells: list[str], comma: bool) -> list[float] | None:
    """Return a column as numbers, or None when a filled cell holds none."""
    values = []
    for cell in cells:
        if cell.lower() in _MISSING:
            values.append(float("nan"))
            continue
        value = _number(cell, comma)
        if value is None:
            return None
        values.append(value)
    return None if all(v != v for v in values) else values


def _number(cell: str, comma: bool) -> float | None:
    value = number_of(cell, ".") if "," not in cell else None
    return number_of(cell, ",") if value is None and comma else value


def _declared(
    name: str, columns: dict[str, list[str]], numbers: list[int], table: Table, comma: bool
) -> pd.DataFrame:
    """Return declared columns in their types, everything else as text."""
    import pandas as pd

    out: dict[str, Any] = {}
    for column, cells in columns.items():
        kind = table.column(column).dtype if column in table.names else "text"
        if kind in ("number", "integer"):
            out[column] = [
                _checked(name, column, row, cell, kind, comma)
                for row, cell in zip(numbers, cells, strict=True)
            ]
        elif kind == "boolean":
            out[column] = [
                _true_or_false(name, column, row, cell)
                for row, cell in zip(numbers, cells, strict=True)
            ]
        else:
            out[column] = pd.Series(cells, dtype="str")
    return pd.DataFrame(out)


def _checked(name: str, column: str, row: int, cell: str, kind: str, comma: bool) -> float | None:
    if cell.lower() in _MISSING:
        return None
    value = _number(cell, comma)
    if value is None or (kind == "integer" and value != int(value)):
        wanted = "a whole number" if kind == "integer" else "a number"
        raise ReadError(
            f"{name}: row {row}, column {column}: {wanted} is needed, found {cell!r}. Correct the"
            " cell, or empty it."
        )
    return value


def _true_or_false(name: str, column: str, row: int, cell: str) -> bool | None:
    word = cell.lower()
    if word in _MISSING:
        return None
    if word in ("true", "yes", "1"):
        return True
    if word in ("false", "no", "0"):
        return False
    raise ReadError(f"{name}: row {row}, column {column}: true or false is needed, found {cell!r}.")


def write_table(frame: pd.DataFrame, path: str | Path) -> Path:
    """Write a table that a spreadsheet can open without running anything.

    Parameters
    ----------
    frame : pandas.DataFrame
        The table; its index is not written.
    path : str or Path
        ``.csv`` (UTF-8 with the mark that spreadsheets know, comma, decimal point) or
        ``.xlsx``.

    Returns
    -------
    Path
        The file written.
    """
    path = Path(path)
    header = [guarded(str(c)) for c in frame.columns]
    columns = [_written(frame.iloc[:, i]) for i in range(frame.shape[1])]
    rows = list(zip(*columns, strict=True))
    if path.suffix.lower() == ".xlsx":
        _write_xlsx(path, header, rows)
        return path
    out = io.StringIO(newline="")
    writer = csv.writer(out, lineterminator="\r\n")
    writer.writerow(header)
    writer.writerows([["" if v is None else v for v in row] for row in rows])
    atomic_write(path, b"\xef\xbb\xbf" + out.getvalue().encode("utf-8"))
    return path


def _written(column: pd.Series) -> list[Any]:
    """Return the cells of a column: numbers as numbers, text guarded, missing as None."""
    import pandas as pd

    missing = column.isna().tolist()
    values = column.tolist()
    if pd.api.types.is_bool_dtype(column.dtype):
        return [
            None if m else ("true" if v else "false") for v, m in zip(values, missing, strict=True)
        ]
    if pd.api.types.is_numeric_dtype(column.dtype):
        return [None if m else v for v, m in zip(values, missing, strict=True)]
    return [
        None
        if m
        else v
        if isinstance(v, int | float) and not isinstance(v, bool)
        else guarded(str(v))
        for v, m in zip(values, missing, strict=True)
    ]


def _write_xlsx(path: Path, header: list[str], rows: list[tuple[Any, ...]]) -> None:
    from openpyxl import Workbook
    from openpyxl.cell import WriteOnlyCell

    book = Workbook(write_only=True)
    sheet = book.create_sheet("table")
    for row in [tuple(header), *rows]:
        cells = []
        for value in row:
            cell = WriteOnlyCell(sheet, value=value)
            if isinstance(value, str):
                cell.data_type = "s"  # never a formula
            cells.append(cell)
        sheet.append(cells)
    buffer = io.BytesIO()
    book.save(buffer)
    atomic_write(path, buffer.getvalue())
