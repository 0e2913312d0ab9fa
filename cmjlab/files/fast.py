"""The fast path for plain text files: taken only when every check agrees.

A plain file is UTF-8 without quotes, has at most one header line, the same number of decimal
numbers on every line and ends with a line end. Anything else returns None, and the careful
reader decides; both give the same columns for the files this one accepts.
"""

from __future__ import annotations

import re
from typing import Any

import numpy as np

from cmjlab.delimiters import mark_of, sure_marks, table_marks
from cmjlab.files.columns import Columns, FloatArray
from cmjlab.files.dialect import Dialect
from cmjlab.files.headings import unit_of
from cmjlab.layout import Layout

_NUMBER = re.compile(r"[+-]?\d+(?:\.\d+)?(?:[eE][+-]?\d+)?")
_STATED = re.compile(r"rate|hz|freq|abtast|takt", re.IGNORECASE)
_HEAD = 1024


def read_fast(name: str, data: bytes, layout: Layout | None) -> Columns | None:
    """Return the columns of a plain text file, or None when it is not plain.

    Parameters
    ----------
    name : str
        File name for messages.
    data : bytes
        The file.
    layout : Layout, optional
        When it states anything about the text, the careful reader is used.
    """
    shape = _shape(data)
    if shape is None:
        return None
    names, delimiter, width, skip = shape
    if layout is not None and not _agrees(layout, delimiter):
        return None
    rows = int(np.count_nonzero(np.frombuffer(data, np.uint8) == ord("\n"))) - skip
    table = _parse(data, delimiter or ",", width, skip)
    if table is None or table.num_rows != rows:
        return None
    values: list[FloatArray | None] = []
    for column in map(_numbers, table.columns):
        if not np.isfinite(column.sum()):
            return None
        values.append(column)
    dialect = Dialect(delimiter, ".", width, ("number",) * width, first=skip, last=skip + rows - 1)
    facts = {"dialect": dialect, "encoding": "utf-8", "header_lines": skip}
    return Columns(name, names, values, first_line=skip + 1, facts=facts)


def _agrees(layout: Layout, delimiter: str) -> bool:
    """Return whether what a person stated about the text is what was found."""
    return (
        (not layout.delimiter or mark_of(layout.delimiter) == delimiter)
        and layout.decimal in ("", ".")
        and layout.encoding in ("", "utf-8")
        and layout.skip_lines < 0
    )


def _shape(data: bytes) -> tuple[list[str], str, int, int] | None:
    """Return names, delimiter, number of columns and header lines; None: not plain."""
    if data[-1:] != b"\n" or data[0] > 127:
        return None
    try:
        text = data[: data.rfind(b"\n", 0, _HEAD) + 1].decode("utf-8")
        last = data[-256:].decode("ascii").rstrip("\r\n").rsplit("\n", 1)[-1]
    except UnicodeDecodeError:
        return None
    if '"' in text or "\x00" in text:
        return None
    lines = text.replace("\r\n", "\n").split("\n")[:-1]
    if len(lines) < 8 or "\r" in text.replace("\r\n", ""):
        return None
    second = lines[1]
    delimiter = next((mark for mark in table_marks() if mark in second), "")
    # Without a decimal point beside it, a comma may be a decimal mark.
    if delimiter and delimiter not in sure_marks() and "." not in second:
        return None
    width = second.count(delimiter) + 1 if delimiter else 1
    for line in (*lines[1:8], last):
        cells = line.split(delimiter) if delimiter else [line]
        if len(cells) != width or not all(map(_NUMBER.fullmatch, cells)):
            return None
    names, skip = _names(lines[0], delimiter, width)
    return None if names is None else (names, delimiter, width, skip)


def _names(line: str, delimiter: str, width: int) -> tuple[list[str] | None, int]:
    """Return the names in the first line and whether it is a header (1) or data (0)."""
    cells = [c.strip() for c in (line.split(delimiter) if delimiter else [line])]
    if len(cells) != width:
        return None, 0
    if all(map(_NUMBER.fullmatch, cells)):
        return [""] * width, 0
    doubtful = any(not c or c[0] in "0123456789+-.#%/" for c in cells)
    if doubtful or _STATED.search(line) or all(map(unit_of, cells)):
        return None, 0
    return cells, 1


def _numbers(column: Any) -> FloatArray:
    """Return an Arrow column of float64 without gaps; its own way would load pandas for it."""
    chunks = [
        np.frombuffer(c.buffers()[1], np.float64, len(c), 8 * c.offset) for c in column.chunks
    ]
    return chunks[0] if len(chunks) == 1 else np.concatenate(chunks)


def _parse(data: bytes, delimiter: str, width: int, skip: int) -> Any:
    """Return an Arrow table of float64 columns, or None when a cell is no number."""
    import pyarrow as pa
    from pyarrow import csv

    names = [str(i) for i in range(width)]
    real = pa.float64()
    try:
        return csv.read_csv(
            pa.py_buffer(data),
            read_options=csv.ReadOptions(skip_rows=skip, column_names=names),
            parse_options=csv.ParseOptions(delimiter=delimiter, quote_char=False),
            convert_options=csv.ConvertOptions(
                column_types=dict.fromkeys(names, real), null_values=[], check_utf8=False
            ),
        )
    except pa.ArrowInvalid:
        return None
