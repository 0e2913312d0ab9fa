"""How much a file may hold once it is unpacked: far more than any recording, far less than a bomb.

Some bytes can stand for gigabytes: packed text, packed twice, cells of a workbook that lie far
apart. Each is refused from its counts, before it is taken apart. A recording of one jump has some
thousand rows; the largest honest files that we know stay below a tenth of these limits (common
practice, no source).
"""

from __future__ import annotations

from collections.abc import Sequence

from cmjlab.errors import ReadError

#: Most lines of a text file, and of a table that a person keeps.
MOST_LINES, MOST_TABLE_LINES = 5_000_000, 1_000_000
#: Longest line of a recording: every column of a spreadsheet, with a number of 7 digits in each.
LONGEST_LINE = 130_000
#: Most cells of a table, rows times the widest row.
MOST_CELLS = 5_000_000
#: Most columns: as many as a spreadsheet has.
MOST_COLUMNS = 16_384
#: Most signs of a cell in a table of text: what Python's module csv allows by itself.
MOST_SIGNS_OF_A_CELL = 131_072
#: Unpacked bytes for each packed byte; text of measured numbers has 3 to 10.
MOST_INFLATED = 100
#: What is unpacked up to this size is never called inflated.
_FREE_BYTES = 5_000_000


def refuse_inflated(name: str, packed: int, unpacked: int) -> None:
    """Stop when some bytes stand for very many.

    Raises
    ------
    ReadError
        Packed by more than :data:`MOST_INFLATED`, and large.
    """
    if unpacked > max(_FREE_BYTES, MOST_INFLATED * packed):
        raise ReadError(
            f"{name}: {packed / 1e6:.3g} MB unpack to more than {unpacked / 1e6:.0f} MB; measured"
            " numbers never pack so small. Save the numbers as plain text (.csv)."
        )


def refuse_many_lines(name: str, lines: int, most: int = MOST_LINES) -> None:
    """Stop before a text is cut into more lines than any file of its kind has.

    Raises
    ------
    ReadError
        There are more than ``most``.
    """
    if lines > most:
        raise ReadError(
            f"{name}: {lines} lines are more than the {most} that are read. Cut the file into"
            " parts, or remove its empty lines."
        )


def refuse_long_line(name: str, lines: Sequence[str]) -> None:
    """Stop when a line is longer than any row of numbers.

    Raises
    ------
    ReadError
        A line has more than :data:`LONGEST_LINE` characters.
    """
    longest = max(map(len, lines), default=0)
    if longest > LONGEST_LINE:
        number = 1 + next(i for i, line in enumerate(lines) if len(line) == longest)
        raise ReadError(
            f"{name}: line {number} has {longest} characters; a row of numbers has some hundreds,"
            f" and at most {LONGEST_LINE} are read. Export one row per sample."
        )


def refuse_many_cells(name: str, text: str, delimiter: str) -> None:
    """Stop before a table's text is cut into more cells or columns than any table has.

    Raises
    ------
    ReadError
        There are more than :data:`MOST_CELLS`, or a header of more than :data:`MOST_COLUMNS`.
    """
    cells = text.count(delimiter)
    if cells > MOST_CELLS:
        raise ReadError(
            f"{name}: {cells} cells are more than the {MOST_CELLS} that are read. Cut it."
        )
    columns = text.partition("\n")[0].count(delimiter) + 1
    if columns > MOST_COLUMNS:
        raise ReadError(
            f"{name}: {columns} columns are more than the {MOST_COLUMNS} of a spreadsheet. Put what"
            " is one kind of value into one column."
        )
