"""Header rows above the data: names, a group row above them, a units row below them."""

from __future__ import annotations

import re
from dataclasses import dataclass

from cmjlab.errors import ReadError
from cmjlab.files.cells import kind_of
from cmjlab.files.dialect import Dialect, cut
from cmjlab.files.headings import is_component, unit_of
from cmjlab.units import FORCE_UNITS, TIME_UNITS

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
        cells = _units_row(lines, above, dialect)
        if cells is not None:
            units, at = cells, at - 1
            used.append(lines[above[at + 1]])
    names, groups = [""] * width, [""] * width
    if at >= 0:
        fitted = _fitted(lines[above[at]], dialect)
        if fitted is not None and _all_words(fitted):
            names = fitted
            used.append(lines[above[at]])
            if at >= 1 and _need_groups(names):
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


def _need_groups(names: list[str]) -> bool:
    """Return whether names say little without the row above them: doubled, or a bare axis."""
    filled = [n for n in names if n]
    return len(set(filled)) < len(filled) or any(is_component(n) for n in filled)


def _units_row(lines: list[str], above: list[int], dialect: Dialect) -> list[str] | None:
    """Return the cells of the last line above the data when they are units, None when not.

    Under a row of names, other cells may stand among the units (a remark, a number, cells
    behind the last column): they are no unit of any column.
    """
    cells = _fitted(lines[above[-1]], dialect)
    if cells is not None and any(cells) and all(unit_of(c) for c in cells if c):
        return cells
    names = _fitted(lines[above[-2]], dialect) if len(above) > 1 else None
    cells = _squared(lines[above[-1]], dialect)
    if names is None or cells is None or not _all_words(names):
        return None
    units = [unit_of(c) for c in cells]
    named = all(name for name, unit in zip(names, units, strict=True) if unit)
    filled = sum(c != "" for c in cells)
    known = sum(u != "" for u in units)
    below = known >= max(2, 0.5 * filled) or filled < sum(n != "" for n in names)
    if not (named and below and {*FORCE_UNITS, *TIME_UNITS} & set(units)):
        return None
    return [c if unit else "" for c, unit in zip(cells, units, strict=True)]


def _squared(line: str, dialect: Dialect) -> list[str] | None:
    """Return a line as ``width`` cells, cut or filled up behind; None when blanks separate."""
    if dialect.delimiter in ("", " ", "fixed"):
        return _fitted(line, dialect)
    cells = cut(line, dialect.delimiter, True)[: dialect.width]
    return cells + [""] * (dialect.width - len(cells))


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
