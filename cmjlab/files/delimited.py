"""Read a text table of any dialect with care: every row and cell is accounted for."""

from __future__ import annotations

import math
import re
from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from cmjlab.checks import listed
from cmjlab.delimiters import table_marks
from cmjlab.errors import ReadError
from cmjlab.files.cells import ERROR_WORDS, clock_seconds, kind_of, number_of
from cmjlab.files.columns import BadCell, Columns, FloatArray
from cmjlab.files.dialect import Dialect, find_dialect
from cmjlab.files.header import Header, read_header, same_header
from cmjlab.files.notes import note
from cmjlab.files.text import Text
from cmjlab.layout import Layout

_COMMENT = re.compile(r"\s*(#|%|//|;;)")
_RATE = re.compile(
    r"(?:rate|freq|hz\b|\bfs\b|abtast|takt|tasso|fréquence|muestreo|amostragem|campionamento)",
    re.IGNORECASE,
)
#: Rates of something else than force samples.
_OTHER_RATE = re.compile(
    r"filter|filtre|filtro|cut-?\s?off|grenzfreq|pass|notch|heart|herz|pulse|video|camera|kamera"
    r"|point rate|baud|mains|refresh|display",
    re.IGNORECASE,
)
#: How a header of simulation programs announces its rows.
_ROWS = re.compile(r"(?:nRows|datarows)\s*[=: ]\s*(\d{1,9})", re.IGNORECASE)
_FIRST_NUMBER = re.compile(r"(?<![\w.])\d+(?:[.,]\d+)?(?![\w]*[:/])")
#: A column with fewer numbers than this share is not usable as a signal.
_MIN_SHARE = 0.8
_ERROR_CELLS = sorted({v for w in ERROR_WORDS for v in (w, w.upper(), w.title())} | {"", "NaN"})


def read_delimited(name: str, text: Text, layout: Layout) -> Columns:
    """Return the columns of a text table.

    Parameters
    ----------
    name : str
        File name for messages.
    text : Text
        Its lines.
    layout : Layout
        What a person stated.

    Raises
    ------
    ReadError
        When there is no table, two readings fit, or rows contradict each other.
    """
    lines = text.lines
    dialect = find_dialect(name, lines, layout)
    header = read_header(name, lines, dialect)
    columns = Columns(
        name,
        header.names,
        [None] * dialect.width,
        header.groups,
        header.units,
        clock=tuple(i for i, k in enumerate(dialect.kinds) if k == "clock"),
        first_line=dialect.first + 1,
        notes=list(text.notes),
        facts={"dialect": dialect, "encoding": text.encoding, "header_lines": header.n_lines},
    )
    columns.stated_rates = _stated_rates(lines[: dialect.first])
    _note_dialect(columns, dialect)
    body = lines[dialect.first : dialect.last + 1]
    if _last_is_cut(lines, dialect, ends=text.ends_with_newline):
        columns.notes.append(
            note("last_line_cut", f"Line {dialect.last + 1} is cut short and was left out.")
        )
        body = body[:-1]
    _note_footer(columns, lines, dialect, ends=text.ends_with_newline)
    _fill(columns, body, dialect, header)
    _note_missing_rows(columns, lines[: dialect.first])
    return columns


def _note_missing_rows(columns: Columns, above: list[str]) -> None:
    """Compare the rows with the number that lines such as "nRows=5000" announce."""
    for line in above:
        announced = _ROWS.fullmatch(line.strip(_blank()))
        if announced and int(announced[1]) > columns.n_rows:
            columns.notes.append(
                note(
                    "rows_missing",
                    f"The header announces {announced[1]} rows, {columns.n_rows} are there: the"
                    " file seems to be cut short.",
                )
            )


def _note_dialect(columns: Columns, dialect: Dialect) -> None:
    if dialect.decimal == ",":
        columns.notes.append(note("decimal_comma", "The comma was read as decimal mark."))
    if dialect.grouped:
        columns.notes.append(note("thousands", "Marks that group thousands were removed."))
    if dialect.delimiter == "fixed":
        columns.notes.append(
            note(
                "fixed_width", f"{dialect.width} columns were cut at positions blank in every line."
            )
        )


def _note_footer(columns: Columns, lines: list[str], dialect: Dialect, *, ends: bool) -> None:
    rest = [line.strip() for line in lines[dialect.last + 1 :] if line.strip(_blank())]
    if (
        len(rest) == 1
        and not ends
        and kind_of(dialect.cut(rest[0])[0], dialect.decimal) == "number"
    ):
        columns.notes.append(
            note("last_line_cut", f"Line {len(lines)} is cut short ({rest[0]!r}) and was left out.")
        )
    elif rest:
        shown = rest[0] if len(rest[0]) <= 40 else rest[0][:37] + "..."
        columns.notes.append(
            note(
                "footer",
                f"{len(rest)} line(s) behind the data left out, from line {dialect.last + 2}: {shown!r}.",
            )
        )


def _blank() -> str:
    """Return the characters that fill a line without saying anything."""
    return " " + "".join(table_marks())


def _stated_rates(lines: list[str]) -> dict[str, float]:
    """Find sampling rates written above the data: words -> hertz."""
    found: dict[str, float] = {}
    for line in lines[:200]:
        if not _RATE.search(line) or _OTHER_RATE.search(line) or len(line) > 300:
            continue
        numbers = _FIRST_NUMBER.findall(line)
        if len(numbers) == 1:
            rate = float(numbers[0].replace(",", "."))
            if re.search(r"\d\s*khz", line, re.IGNORECASE) or "(khz)" in line.lower():
                rate *= 1000.0
            if 1.0 <= rate <= 1e6:
                found[line.strip(_blank() + '"#')] = rate
    return found


def _last_is_cut(lines: list[str], dialect: Dialect, *, ends: bool) -> bool:
    """Return whether the file stops in the middle of its last row.

    Only a file without a final line end can: its last row lacks cells, or its last cell has
    a number of decimals that no earlier cell of this column has, or is shorter than all.
    """
    if ends or dialect.last != len(lines) - 1 or dialect.last - dialect.first < 5:
        return False
    last = dialect.cut(lines[dialect.last])
    before = [
        dialect.cut(line) for line in lines[max(dialect.first, dialect.last - 300) : dialect.last]
    ]
    before = [row for row in before if len(row) == dialect.width]
    if len(last) < dialect.width:
        return dialect.kinds[-1] != "empty" or len(last) < dialect.width - 1
    at = max(i for i, kind in enumerate(dialect.kinds) if kind != "empty")
    mark = dialect.decimal
    seen = {len(row[at].partition(mark)[2]) for row in before}
    shortest = min(len(row[at]) for row in before) if before else 0
    decimals = len(last[at].partition(mark)[2])
    return decimals not in seen or last[at].endswith(mark) or len(last[at]) < shortest


def _fill(columns: Columns, body: list[str], dialect: Dialect, header: Header) -> None:
    """Cut all rows and turn their cells into numbers."""
    if dialect.decimal == "," and dialect.delimiter != "," and not dialect.grouped:
        text = "\n".join(body)
        if "." not in text:
            body = text.replace(",", ".").split("\n")
            dialect = replace(dialect, decimal=".")
    if _fill_by_arrow(columns, body, dialect):
        return
    rows, lost = _rows(columns, body, dialect, header)
    table = list(zip(*rows, strict=True)) if rows else [()] * dialect.width
    for i, kind in enumerate(dialect.kinds):
        if kind == "empty" or (kind == "text" and not _worth_trying(table[i], dialect)):
            continue
        values, bad = _numbers(table[i], dialect, clock=kind == "clock")
        bad_rows = [b for b in bad if b not in lost]
        if len(bad_rows) > (1 - _MIN_SHARE) * len(table[i]) and kind == "text":
            continue
        columns.values[i] = values
        columns.bad[i] = [BadCell(b, columns.line(b), table[i][b]) for b in bad_rows]


def _fill_by_arrow(columns: Columns, body: list[str], dialect: Dialect) -> bool:
    """Let pyarrow convert even rows of plain numbers and known error words; False: it cannot."""
    plain = dialect.delimiter not in (" ", "fixed") and not dialect.quoted
    plain = plain and dialect.delimiter.isascii()
    plain = plain and not dialect.grouped and dialect.decimal == "."
    only_numbers = not {"clock", "text"} & set(dialect.kinds)
    # pyarrow takes an empty line for a row of empty cells; the careful way skips it.
    if not (plain and only_numbers) or (dialect.width > 1 and "" in body):
        return False
    import pyarrow as pa
    from pyarrow import csv

    names = [str(i) for i in range(dialect.width)]
    kinds = [pa.float64() if k == "number" else pa.string() for k in dialect.kinds]
    data = ("\n".join(body) + "\n").encode()
    try:
        table = csv.read_csv(
            pa.py_buffer(data),
            read_options=csv.ReadOptions(column_names=names, block_size=len(data) + 1),
            parse_options=csv.ParseOptions(
                delimiter=dialect.delimiter or "\x1f", quote_char=False, ignore_empty_lines=False
            ),
            convert_options=csv.ConvertOptions(
                column_types=dict(zip(names, kinds, strict=True)), null_values=_ERROR_CELLS
            ),
        )
    except pa.ArrowInvalid:
        return False
    if table.num_rows != len(body):
        return False
    for i, kind in enumerate(dialect.kinds):
        if kind == "number":
            values = table.column(i).to_numpy()
            bad = np.flatnonzero(~np.isfinite(values)).tolist()
            columns.values[i] = values
            columns.bad[i] = [BadCell(b, columns.line(b), dialect.cut(body[b])[i]) for b in bad]
    return True


def _worth_trying(cells: tuple[str, ...], dialect: Dialect) -> bool:
    probe = cells[:: max(1, len(cells) // 50)]
    numbers = sum(kind_of(c, dialect.decimal) in ("number", "grouped") for c in probe)
    return numbers > 0.5 * len(probe)


def _rows(
    columns: Columns, body: list[str], dialect: Dialect, header: Header
) -> tuple[list[list[str]], set[int]]:
    """Return the cells of every row, and which rows are damaged (all their cells empty)."""
    width = dialect.width
    if dialect.delimiter in ("", "fixed") or dialect.quoted:
        rows = [dialect.cut(line) for line in body]
    else:
        # Blanks are split at any run of them; cells keep theirs, which number parsing ignores.
        delimiter = None if dialect.delimiter == " " else dialect.delimiter
        rows = [line.split(delimiter) for line in body]
    if set(map(len, rows)) == {width}:
        return rows, set()
    return _uneven_rows(columns, body, rows, dialect, header)


def _uneven_rows(
    columns: Columns,
    body: list[str],
    rows: list[list[str]],
    dialect: Dialect,
    header: Header,
) -> tuple[list[list[str]], set[int]]:
    width, trailing = dialect.width, dialect.kinds[-1] == "empty"
    kept: list[list[str]] = []
    numbers: list[int] = []
    blank = comments = 0
    lost: dict[int, int] = {}
    for i, row in enumerate(rows):
        line = dialect.first + i + 1
        if len(row) != width:
            if not body[i].strip(' \t"' + dialect.delimiter):
                blank += 1
                continue
            if _COMMENT.match(body[i]):
                comments += 1
                continue
            if trailing and len(row) == width - 1:
                row = [*row, ""]
            elif len(row) > width and not any(c.strip() for c in row[width:]):
                row = row[:width]
            else:
                _refuse_second_header(columns.file, body[i], line, header)
                lost[len(kept)] = line
                row = [""] * width
        kept.append(row)
        numbers.append(line)
    columns.line_numbers = np.array(numbers, dtype=np.int64)
    _note_uneven(columns, blank, comments, lost, len(kept))
    return kept, set(lost)


def _note_uneven(
    columns: Columns, blank: int, comments: int, lost: dict[int, int], count: int
) -> None:
    if blank:
        columns.notes.append(note("blank_lines", f"{blank} empty lines inside the data skipped."))
    if comments:
        columns.notes.append(
            note("comment_lines", f"{comments} comment line(s) inside the data skipped.")
        )
    if len(lost) > 0.05 * count:
        raise ReadError(
            f"{columns.file}: {len(lost)} of {count} rows have another number of cells than the"
            f" others, the first in line {min(lost.values())}. Export the file again."
        )
    if lost:
        where = listed([str(line) for line in lost.values()])
        columns.notes.append(
            note(
                "damaged_rows",
                f"{len(lost)} row(s) with a wrong number of cells (line {where}); these samples"
                " are lost.",
            )
        )


def _refuse_second_header(name: str, line: str, number: int, header: Header) -> None:
    if same_header(line, header):
        raise ReadError(
            f"{name}: line {number} repeats the header, so the file holds more than one recording."
            " Save each recording as a file of its own."
        )


def _numbers(
    cells: Sequence[str], dialect: Dialect, *, clock: bool
) -> tuple[FloatArray, list[int]]:
    """Return the numbers of a column, and the rows in which there is none."""
    if clock:
        found = [clock_seconds(c) for c in cells]
    elif dialect.decimal == "." and not dialect.grouped:
        try:
            values = np.array(list(map(float, cells)))
            return values, np.flatnonzero(~np.isfinite(values)).tolist()
        except ValueError:
            found = [_float_or_none(c, dialect) for c in cells]
    else:
        found = [number_of(c.strip('" '), dialect.decimal) for c in cells]
    values = np.array([math.nan if v is None else v for v in found])
    return values, np.flatnonzero(~np.isfinite(values)).tolist()


def _float_or_none(cell: str, dialect: Dialect) -> float | None:
    try:
        return float(cell)
    except ValueError:
        return number_of(cell.strip('" '), dialect.decimal)
