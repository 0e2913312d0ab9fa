"""The cells of an .xlsx file, read with limits: cells far apart and packed masses are refused.

openpyxl fills gaps between cells with empty ones, so two cells in opposite corners of a sheet stand for
17 thousand million. Rows end here at their last filled cell, and everything is counted as it comes.
"""

from __future__ import annotations

import io
import warnings
import zipfile
from collections.abc import Iterable, Iterator
from typing import Any

from cmjlab.errors import ReadError
from cmjlab.files.bounds import MOST_CELLS, MOST_COLUMNS, refuse_inflated

Rows = list[tuple[Any, ...]]
#: Rows of a sheet (ECMA-376, and every program that writes it; from memory).
_MOST_ROWS = 1_048_576
#: Characters of one cell (the same), and of all cells of a workbook.
_LONGEST_CELL, _MOST_TEXT = 32_767, 20_000_000
#: Unpacked size of a workbook: five million cells need some 100 MB.
_MOST_BYTES = 200_000_000
_REMEDY = "Copy the cells that are needed into a new sheet, or save it as .csv."


def read_workbook(name: str, data: bytes) -> dict[str, Rows]:
    """Return the rows of every sheet by its title; a row ends at its last filled cell.

    Parameters
    ----------
    name : str
        File name for messages.
    data : bytes
        The file.

    Raises
    ------
    ReadError
        It is damaged, or holds more than a table of numbers can.
    """
    from openpyxl import load_workbook

    try:
        _refuse_large(name, data)
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")
            book = load_workbook(io.BytesIO(data), read_only=True, data_only=True)
            try:
                sheets, left = {}, MOST_CELLS
                for sheet in book.worksheets:
                    sheet.reset_dimensions()  # what a sheet says of its size may be false
                    rows = _filled(name, sheet.title, sheet.iter_rows(values_only=True), left)
                    left -= _area(rows)
                    sheets[sheet.title] = rows
            finally:
                book.close()
    except ReadError:
        raise
    except Exception as error:  # a damaged workbook fails in zip, XML or the reader itself
        raise ReadError(
            f"{name}: the workbook cannot be read ({' '.join(str(error).split())[:100]}). Save it"
            " again as .xlsx or .csv."
        ) from error
    return sheets


def _refuse_large(name: str, data: bytes) -> None:
    with zipfile.ZipFile(io.BytesIO(data)) as archive:
        size = sum(member.file_size for member in archive.infolist())
    refuse_inflated(name, len(data), size)
    if size > _MOST_BYTES:
        raise ReadError(
            f"{name}: the workbook unpacks to {size / 1e6:.0f} MB; at most {_MOST_BYTES / 1e6:.0f}"
            f" MB are read. {_REMEDY}"
        )


def _filled(name: str, title: str, rows: Iterable[tuple[Any, ...]], left: int) -> Rows:
    """Return rows up to the last that is filled, counted as they come."""
    out: Rows = []
    last = widest = text = 0
    for row in _numbered(name, title, rows):
        kept = _to_last_cell(row)
        out.append(kept)
        if not kept:
            continue
        last, widest = len(out), max(widest, len(kept))
        text += sum(_length(name, title, last, v) for v in kept if isinstance(v, str))
        if last * widest > left:
            raise ReadError(
                f"{name}: sheet {title!r}: row {last} of {widest} columns: {last * widest} cells"
                f" with those between are more than the {MOST_CELLS} that are read. {_REMEDY}"
            )
        if text > _MOST_TEXT:
            raise ReadError(
                f"{name}: sheet {title!r} holds more than {_MOST_TEXT} characters of text. {_REMEDY}"
            )
    return out[:last]


def _numbered(name: str, title: str, rows: Iterable[tuple[Any, ...]]) -> Iterator[tuple[Any, ...]]:
    """Yield rows; stop at a row or column that no spreadsheet has."""
    for number, row in enumerate(rows, start=1):
        if number > _MOST_ROWS or len(row) > MOST_COLUMNS:
            raise ReadError(
                f"{name}: sheet {title!r}: a cell stands beyond the last row ({_MOST_ROWS}) or"
                f" column ({MOST_COLUMNS}) of a spreadsheet. {_REMEDY}"
            )
        yield row


def _to_last_cell(row: tuple[Any, ...]) -> tuple[Any, ...]:
    end = len(row)
    while end and row[end - 1] is None:
        end -= 1
    return row if end == len(row) else row[:end]


def _length(name: str, title: str, row: int, value: str) -> int:
    if len(value) > _LONGEST_CELL:
        raise ReadError(
            f"{name}: sheet {title!r}, row {row}: a cell of {len(value)} characters; a spreadsheet"
            f" has at most {_LONGEST_CELL} in one. {_REMEDY}"
        )
    return len(value)


def _area(rows: Rows) -> int:
    return len(rows) * max(map(len, rows), default=0)
