"""Header rows above the data: names, a group row above them, a units row below them."""

from __future__ import annotations

import re
from dataclasses import dataclass

from cmjlab.errors import ReadError
from cmjlab.files.cells import kind_of
from cmjlab.files.dialect import Dialect, cut
from cmjlab.files.headings import unit_of

_BLANKS = re.compile(r"\t|\s{2,}")


@dataclass(frozen=True)
class Header:
    """Per column: name, group, unit; and the lines they came from."""

    names: list[str]
    groups: list[str]
    units: list[str]
    n_lines: int = 0
    lines: tuple[str, ...] = ()


def read_header(name: str, lines: list[str], dialect: Dialect) -> Header:
    """Read the rows directly above the data.

    Raises
    ------
    ReadError
        When the header names another number of columns than the rows hold.
    """
    width = dialect.width
    above = [i for i in range(max(0, dialect.first - 4), dialect.first) if lines[i].strip()]
    at = len(above) - 1
    units, used = [""] * width, []
    if at >= 0:
        cells = _fitted(lines[above[at]], dialect)
        if cells is not None and _all_units(cells):
            units, at = cells, at - 1
            used.append(lines[above[at + 1]])
    names, groups = [""] * width, [""] * width
    if at >= 0:
        fitted = _fitted(lines[above[at]], dialect)
        if fitted is not None and _all_words(fitted):
            names = fitted
            used.append(lines[above[at]])
            if at >= 1 and len(set(filter(None, names))) < len(list(filter(None, names))):
                upper = _fitted(lines[above[at - 1]], dialect)
                if upper is not None and _all_words(upper):
                    groups = _spread(upper)
                    used.append(lines[above[at - 1]])
        else:
            _refuse_mismatch(name, lines[above[at]], above[at] + 1, dialect)
    units = [u or "" for u in units]
    return Header(names, groups, [u.strip("[](){} ") for u in units], len(used), tuple(used))


def same_header(line: str, header: Header) -> bool:
    """Return whether a line repeats one of the header's lines."""
    return any(line.strip() == known.strip() for known in header.lines if known.strip())


def _all_units(cells: list[str]) -> bool:
    filled = [c for c in cells if c]
    return bool(filled) and all(unit_of(c) for c in filled)


def _all_words(cells: list[str]) -> bool:
    return any(cells) and all(
        kind_of(c, ".") in ("text", "empty", "error") or not c[0].isdigit() for c in cells
    )


def _spread(cells: list[str]) -> list[str]:
    """Fill a group name over the empty cells to its right."""
    out, current = [], ""
    for cell in cells:
        current = cell or current
        out.append(current)
    return out


def _fitted(line: str, dialect: Dialect) -> list[str] | None:
    """Return a header line as ``width`` cells, or None when it does not fit."""
    width = dialect.width
    line = line.lstrip("#% ") if dialect.delimiter == "" else line
    for cells in _cuts(line, dialect):
        while len(cells) > width and not cells[-1]:
            cells = cells[:-1]
        if cells and cells[0] in ("#", "%", "//") and len(cells) == width + 1:
            cells = cells[1:]
        trailing = dialect.kinds[-1] == "empty" and width > 1
        if len(cells) == width - 1 and trailing:
            cells = [*cells, ""]
        if len(cells) == width:
            return cells
    return None


def _cuts(line: str, dialect: Dialect) -> list[list[str]]:
    if dialect.delimiter == "fixed":
        return [dialect.cut(line), [c.strip() for c in _BLANKS.split(line.strip())]]
    if dialect.delimiter != " ":
        return [cut(line, dialect.delimiter, True), cut(line, dialect.delimiter)]
    words = line.split()
    joined: list[str] = []
    for word in words:
        if joined and word[:1] in "([{":
            joined[-1] += " " + word
        else:
            joined.append(word)
    return [words, joined, [c.strip() for c in _BLANKS.split(line.strip())]]


def _refuse_mismatch(name: str, line: str, number: int, dialect: Dialect) -> None:
    """Stop when a line looks like a header for another number of columns."""
    if dialect.delimiter in ("", " ", "fixed"):
        return
    cells = [c for c in cut(line, dialect.delimiter, True) if c]
    width = sum(k != "empty" for k in dialect.kinds)
    if len(cells) < 2 or not _all_words(cells) or len(cells) == width:
        return
    if dialect.delimiter == "," and width == 2 * len(cells):
        hint = (
            "The comma seems to separate columns and to mark decimals at once. Export with"
            " semicolons or with decimal points."
        )
    else:
        hint = "Export the file again, or correct the header line."
    raise ReadError(
        f"{name}: line {number} names {len(cells)} columns, but the rows below hold {width}. {hint}"
    )
