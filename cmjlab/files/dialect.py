"""Find the dialect of a text table: separator, decimal mark, header rows, where data stand.

Separator and decimal mark are decided together, from lines in the middle of the file, where
only data stand. When two readings fit the same lines, the reader stops and asks.
"""

from __future__ import annotations

import csv
from collections import Counter
from dataclasses import dataclass, replace
from itertools import takewhile

from cmjlab.delimiters import mark_of, marks, shown, sure_marks
from cmjlab.errors import ReadError
from cmjlab.files.cells import kind_of, number_of
from cmjlab.files.remedies import write_in_layout
from cmjlab.layout import Layout

_SAMPLE = 24


@dataclass(frozen=True)
class Dialect:
    """How the lines of a text table are to be cut into cells.

    ``delimiter`` is a character, "" for one column, or "fixed" with ``bounds``; ``kinds``
    holds "number", "clock", "text" or "empty" per column; lines count from 0.
    """

    delimiter: str
    decimal: str
    width: int
    kinds: tuple[str, ...]
    quoted: bool = False
    grouped: bool = False
    bounds: tuple[tuple[int, int], ...] = ()
    first: int = 0
    last: int = 0

    @property
    def delimiter_word(self) -> str:
        """The delimiter as a person writes it in a layout."""
        return "fixed width" if self.delimiter == "fixed" else shown(self.delimiter)

    def cut(self, line: str) -> list[str]:
        """Cut one line into its cells, blanks around them removed."""
        if self.delimiter == "fixed":
            return [line[a:b].strip() for a, b in self.bounds]
        return cut(line, self.delimiter, self.quoted)


def cut(line: str, delimiter: str, quoted: bool = False) -> list[str]:
    """Cut a line at a delimiter ("" means: one cell; " " means: any blanks)."""
    if delimiter == "":
        return [line.strip().strip('"')]
    if delimiter == " ":
        return [c.strip('"') for c in line.split()] if quoted else line.split()
    if quoted:
        row = next(csv.reader([line], delimiter=delimiter, skipinitialspace=True), [])
        return [c.strip() for c in row]
    return [c.strip() for c in line.split(delimiter)]


def find_dialect(name: str, lines: list[str], layout: Layout) -> Dialect:
    """Return the dialect of a file's lines.

    Raises
    ------
    ReadError
        When there is no table of numbers, or two dialects fit.
    """
    sample = _middle(lines)
    if not sample:
        raise ReadError(f"{name}: the file holds no lines of text.")
    best = _choose(name, lines, _candidates(sample, layout))
    if best is None:
        best = _fixed(sample, layout)
    if best is None:
        raise ReadError(_no_table(name, lines))
    return _with_region(name, lines, best, layout)


def _middle(lines: list[str]) -> list[str]:
    """Return up to 24 filled lines spread over the middle half of the file."""
    count = len(lines)
    if count <= 2 * _SAMPLE:
        filled = [line for line in lines if line.strip()]
        return filled[len(filled) // 4 :] if len(filled) > 6 else filled
    step = max(1, count // (2 * _SAMPLE))
    picked = lines[count // 4 : count // 4 + _SAMPLE * step : step]
    filled = [line for line in picked if line.strip()]
    return filled or [line for line in lines if line.strip()][-_SAMPLE:]


def _candidates(sample: list[str], layout: Layout) -> list[tuple[float, Dialect]]:
    delimiters = (mark_of(layout.delimiter),) if layout.delimiter else marks()
    decimals = (layout.decimal,) if layout.decimal else (".", ",")
    text = "\n".join(sample)
    quoted = '"' in text
    found = []
    for delimiter in delimiters:
        if delimiter and delimiter not in text and len(delimiters) > 1:
            continue
        if delimiter == " " and not any(len(line.split()) > 1 for line in sample):
            continue
        rows = [cut(line, delimiter, quoted) for line in sample]
        width, often = Counter(map(len, rows)).most_common(1)[0]
        if often < 0.7 * len(rows):
            continue
        rows = [row for row in rows if len(row) == width]
        for decimal in decimals:
            if delimiter == "," and decimal == "," and not quoted:
                continue
            share, dialect = _rated(rows, delimiter, decimal, quoted)
            if "number" in dialect.kinds:
                found.append((share, dialect))
    return found


def _rated(
    rows: list[list[str]], delimiter: str, decimal: str, quoted: bool
) -> tuple[float, Dialect]:
    """Return the share of filled cells that are no text, and the dialect."""
    kinds, filled, good, grouped = [], 0, 0, False
    for column in zip(*rows, strict=True):
        counts = Counter(kind_of(c, decimal) for c in column)
        numbers = counts["number"] + counts["grouped"]
        grouped |= counts["grouped"] > 0
        present = len(column) - counts["empty"]
        filled += present
        good += present - counts["text"]
        if not present:
            kinds.append("empty")
        elif counts["clock"] >= 0.6 * present:
            kinds.append("clock")
        elif numbers >= 0.6 * present:
            kinds.append("number")
        else:
            kinds.append("text")
    share = good / filled if filled else 0.0
    return share, Dialect(delimiter, decimal, len(kinds), tuple(kinds), quoted, grouped)


def _choose(name: str, lines: list[str], found: list[tuple[float, Dialect]]) -> Dialect | None:
    """Return the best dialect; raise when two that differ in values fit equally well."""
    if not found:
        return None
    top = max(share for share, _ in found)
    if top < 0.5:
        return None
    best = [d for share, d in found if share == top]
    # A separator that is never part of a number leaves no doubt about itself.
    for sure in sure_marks():
        if any(d.delimiter == sure and d.width > 1 for d in best):
            best = [d for d in best if d.delimiter == sure]
            break
    best = _distinct(best, lines)
    if len(best) > 1:
        best = _by_header(best, lines)
    if len(best) > 1:
        best = _by_fraction(best, lines)
    if len(best) > 1:
        raise ReadError(_two_dialects(name, best, lines))
    return best[0]


def _values(dialect: Dialect, lines: list[str]) -> list[list[float | None]]:
    return [[number_of(c, dialect.decimal) for c in dialect.cut(line)] for line in _middle(lines)]


def _distinct(best: list[Dialect], lines: list[str]) -> list[Dialect]:
    """Keep one of several dialects that give the same numbers."""
    kept: list[Dialect] = []
    seen: list[list[list[float | None]]] = []
    for dialect in best:
        values = _values(dialect, lines)
        if values not in seen:
            seen.append(values)
            kept.append(dialect)
    return kept


def _by_header(best: list[Dialect], lines: list[str]) -> list[Dialect]:
    """Let the header decide: it is cut into as many words as the rows have cells."""
    header = _last_words(lines)
    if any(kind_of(c, best[0].decimal) == "number" for c in cut(header, best[0].delimiter)):
        return best
    if "," in header:
        fitting = [d for d in best if d.delimiter == "," and len(cut(header, ",")) == d.width]
    else:
        fitting = [d for d in best if d.delimiter != ","]
    return fitting or best


def _last_words(lines: list[str]) -> str:
    """Return the line with letters right above the first row of numbers, else the first line."""
    filled = [line for line in lines[:200] if any(c.isalnum() for c in line)]
    words = list(takewhile(lambda line: any(c.isalpha() for c in line), filled))
    return words[-1] if words else next(iter(filled), "")


def _by_fraction(best: list[Dialect], lines: list[str]) -> list[Dialect]:
    """Let leading zeros decide: "05" behind a comma is a fraction, no whole number."""
    comma = [d for d in best if d.decimal == ","]
    split = [d for d in best if d.delimiter == "," and d.width > 1]
    if len(comma) == 1 and len(best) == 2 and split:
        cells = [cut(line, ",")[-1] for line in _middle(lines)]
        if any(len(c) > 1 and c.startswith("0") and c.isdigit() for c in cells):
            return comma
    return best


def _two_dialects(name: str, best: list[Dialect], lines: list[str]) -> str:
    example = _middle(lines)[0].strip()
    a, b = best[0], best[1]
    first = ", ".join(f"{v:g}" for v in _values(a, [example])[0] if v is not None)
    second = ", ".join(f"{v:g}" for v in _values(b, [example])[0] if v is not None)
    return (
        f"{name}: the line {example!r} can be read as {first} or as {second}. State which:"
        f" {write_in_layout(_stated(a))}; or {write_in_layout(_stated(b))}."
    )


def _stated(dialect: Dialect) -> dict[str, str]:
    return {"delimiter": dialect.delimiter_word, "decimal": dialect.decimal}


def _no_table(name: str, lines: list[str]) -> str:
    first = next((line.strip() for line in lines if line.strip()), "")
    first = first if len(first) <= 60 else first[:57] + "..."
    return (
        f"{name}: no table of numbers was found ({len(lines)} lines, the first is {first!r})."
        " A force recording is rows of numbers, one row per sample."
    )


def _fixed(sample: list[str], layout: Layout) -> Dialect | None:
    """Cut at the positions that are blank in every line (columns with empty cells)."""
    if layout.delimiter or any("\t" in line for line in sample) or len(sample) < 3:
        return None
    length = max(map(len, sample))
    taken = [any(i < len(line) and line[i] != " " for line in sample) for i in range(length)]
    starts = [i for i in range(length) if taken[i] and (i == 0 or not taken[i - 1])]
    if len(starts) < 2:
        return None
    edges = [0, *[_edge(taken, a) for a in starts[1:]], 10_000]
    bounds = tuple(zip(edges[:-1], edges[1:], strict=True))
    probe = Dialect("fixed", ".", len(bounds), (), bounds=bounds)
    rows = [probe.cut(line) for line in sample]
    share, rated = max(
        (_rated(rows, "fixed", d, False) for d in (".", ",")), key=lambda found: found[0]
    )
    return replace(rated, bounds=bounds) if share > 0.9 and "number" in rated.kinds else None


def _edge(taken: list[bool], start: int) -> int:
    """Return the first blank position before a column that starts at ``start``."""
    edge = start
    while edge > 0 and not taken[edge - 1]:
        edge -= 1
    return edge


def is_data(dialect: Dialect, line: str) -> bool:
    """Return whether a line is a row of the table's data."""
    cells = dialect.cut(line)
    width = dialect.width
    if len(cells) != width and not (len(cells) == width - 1 and dialect.kinds[-1] == "empty"):
        return False
    numbers = 0
    for cell, kind in zip(cells, dialect.kinds, strict=False):
        if kind not in ("number", "clock"):
            continue
        found = kind_of(cell, dialect.decimal)
        if found == "text":
            return False
        numbers += found in ("number", "grouped", "clock")
    return numbers > 0


def _with_region(name: str, lines: list[str], dialect: Dialect, layout: Layout) -> Dialect:
    """Find the first and the last line of the data."""
    first = layout.skip_lines if layout.skip_lines >= 0 else 0
    count = len(lines)
    while first < count and not (
        is_data(dialect, lines[first]) and _goes_on(dialect, lines, first + 1)
    ):
        first += 1
    last = count - 1
    while last > first and not is_data(dialect, lines[last]):
        last -= 1
    if first >= count:
        raise ReadError(_no_table(name, lines))
    return replace(dialect, first=first, last=last)


def _goes_on(dialect: Dialect, lines: list[str], at: int) -> bool:
    """Return whether one of the next three filled lines is data too (or none is left)."""
    following = [line for line in lines[at : at + 8] if line.strip()][:3]
    return not following or any(is_data(dialect, line) for line in following)
