"""Tables that a person keeps, read by their declaration in ``cmjlab.tables``.

Every cell that cannot be used becomes a problem with file, row and column; the rest of the
table is still read, so that all problems are known at once.
"""

from __future__ import annotations

import math
import re
import unicodedata
from functools import cache
from pathlib import Path

import pandas as pd

from cmjlab.catalog import METRICS
from cmjlab.checks import suggestion
from cmjlab.errors import ReadError
from cmjlab.files.formula_guard import unguarded
from cmjlab.study.folder.cells import Cells, find_table, read_cells
from cmjlab.study.folder.ids import tidy_id
from cmjlab.study.folder.problems import Problems
from cmjlab.tables import ATHLETES, JUMPS, SESSIONS, Column, Table

#: Column with the row number that a spreadsheet shows; not part of any declared table.
ROW = "row_in_file"
_IDS = ("athlete", "session")
#: What people write into a cell that has no value.
MISSING = {"", "na", "n/a", "nan", "-", "–", "none", "null"}
_ISO = re.compile(r"\d{4}-\d{2}-\d{2}")


def read_user_table(folder: Path, stem: str, table: Table, problems: Problems) -> pd.DataFrame:
    """Return a table of the folder in its declared columns, empty when there is no file.

    Parameters
    ----------
    folder : Path
        Study folder.
    stem : str
        File name without ending.
    table : Table
        Declaration of the columns; further columns are kept as text or numbers.
    problems : Problems
        Receives whatever is wrong.
    """
    paths = find_table(folder, stem)
    if len(paths) > 1:
        problems.add(
            "fail", "table_twice", where=(stem, "", ""),
            found=", ".join(p.name for p in paths), expected="one file",
            remedy="Keep one of them.",
        )  # fmt: skip
    if not paths:
        return _empty(table)
    try:
        cells = read_cells(paths[0])
    except ReadError as problem:
        found = str(problem).removeprefix(f"{paths[0].name}: ")
        problems.add("fail", "not_a_table", where=(paths[0].name, "", ""), found=found,
                     expected="a table", remedy="Save it as .csv (UTF-8) or .xlsx.")  # fmt: skip
        return _empty(table)
    return from_cells(cells, table, problems)


def _empty(table: Table) -> pd.DataFrame:
    return _without_rows(table).copy()


@cache
def _without_rows(table: Table) -> pd.DataFrame:
    out = table.empty()
    out[ROW] = pd.Series(dtype="Int64")
    return out


def from_cells(cells: Cells, table: Table, problems: Problems) -> pd.DataFrame:
    """Return text cells as the declared table, with the column :data:`ROW`."""
    name = cells.path.name
    if not cells.header:
        problems.add(
            "warn", "empty_table", where=(name, "", ""), found="no header row",
            expected=", ".join(table.names), remedy="Fill it in or remove the file.",
        )  # fmt: skip
        return _empty(table)
    columns = _header(cells, table, problems)
    for row, number in zip(cells.rows, cells.numbers, strict=True):
        if len(row) > len(cells.header):
            problems.add(
                "fail", "too_many_cells", where=(name, number, ""), found=f"{len(row)} cells",
                expected=f"{len(cells.header)} cells",
                remedy="Put text that holds the separator in quotation marks.",
            )  # fmt: skip
    data: dict[str, object] = {}
    for position, column in enumerate(columns):
        if not column or column in data:
            continue
        words = [r[position] for r in cells.rows]
        if column in table.names:
            data[column] = cast_cells(words, table.column(column), (name, cells.numbers), problems)
            warn_numeric_ids(cells, position, column, problems)
        else:
            data[column] = _free(words)
    out = table.cast(pd.DataFrame(data, index=pd.RangeIndex(len(cells.rows))))
    out[ROW] = pd.array(cells.numbers, dtype="Int64")
    _required(out, table, name, problems)
    return out


@cache
def _reserved(table: Table) -> frozenset[str]:
    """Return names that an own column of a table may not have.

    Columns of the roster stand in every table of results, so there they may not be called like a
    column or a metric of those.
    """
    if table is not ATHLETES:
        return frozenset({ROW})
    return frozenset({ROW, *JUMPS.names, *SESSIONS.names, *METRICS}) - set(table.names)


def _header(cells: Cells, table: Table, problems: Problems) -> list[str]:
    """Return the column names in their declared spelling; name what is missing or unknown."""
    name = cells.path.name
    known = {n.casefold(): n for n in table.names}
    columns = []
    for position, word in enumerate(cells.header, start=1):
        tidy = re.sub(r"[\s\-]+", "_", unicodedata.normalize("NFC", word).strip())
        column = known.get(tidy.casefold(), tidy)
        if column and column in columns:
            problems.add(
                "fail", "column_twice", where=(name, 1, column), found=f"column {position} again",
                expected="every name once", remedy="Rename or remove one of them.",
            )  # fmt: skip
        elif column in _reserved(table):
            problems.add(
                "warn", "reserved_column", where=(name, 1, column), found=word,
                expected="a name that no table of results has",
                remedy=f"Rename it, for instance to own_{column}. It is left out.",
            )  # fmt: skip
            column = ""
        elif column and column not in table.names:
            near = suggestion(column, table.names)
            problems.add(
                "warn" if near else "note", "unknown_column", where=(name, 1, column),
                found=word, expected=", ".join(table.names),
                remedy=f"{near} It is kept, but not used.".strip(),
            )  # fmt: skip
        columns.append(column)
    for c in table.columns:
        if c.required and c.name not in columns:
            problems.add(
                "fail", "missing_column", where=(name, 1, c.name),
                found=", ".join(cells.header), expected=f"a column {c.name!r} ({c.description})",
                remedy=f"Add the column.{suggestion(c.name, cells.header)}",
            )  # fmt: skip
    return columns


def cast_cells(
    words: list[str], column: Column, place: tuple[str, list[int]], problems: Problems
) -> list[object]:
    """Return the cells of one column in its type; unusable cells become missing."""
    name, numbers = place
    out: list[object] = []
    for word, number in zip(words, numbers, strict=True):
        try:
            out.append(_value(word, column))
        except ValueError as problem:
            found, expected, remedy = problem.args
            problems.add(
                "fail", "bad_value", where=(name, number, column.name), found=found,
                expected=expected, remedy=remedy,
            )  # fmt: skip
            out.append(None)
            continue
        if column.name in _IDS and word != str(out[-1] or ""):
            _tell_repair(word, str(out[-1] or ""), (name, number, column.name), problems)
    return out


def _tell_repair(word: str, used: str, place: tuple[str, object, str], problems: Problems) -> None:
    """Say which blanks, prefix or Unicode form of an id were set right."""
    if word.strip() != word:
        kind, what = "blanks_in_id", "blanks around the id"
    elif unicodedata.normalize("NFC", word) != word:
        kind, what = "unicode_form", "accents in the decomposed Unicode form"
    else:
        return
    problems.add(
        "note", kind, where=place, found=word, expected=used,
        remedy=f"Read as {used!r} ({what}); correct the table.",
    )  # fmt: skip


def _value(word: str, column: Column) -> object:
    text = unicodedata.normalize("NFC", word).strip()
    if column.name in _IDS:
        return tidy_id(text) or None
    if text.casefold() in MISSING:
        return None
    if column.allowed:
        return _one_of(text, column)
    if column.dtype == "date":
        return iso_date(text)
    if column.dtype in ("number", "integer"):
        value = to_number(text)
        if column.dtype == "integer":
            if value != int(value):
                raise ValueError(text, "a whole number", "Correct the cell.")
            value = int(value)
        if not column.low <= value <= column.high:
            span = f"{column.low:g} to {column.high:g}"
            raise ValueError(text, span, "Correct the cell, or leave it empty.")
        return value
    return unguarded(text)


def _one_of(text: str, column: Column) -> str:
    word = text.casefold().replace(" ", "_")
    if word in column.allowed:
        return word
    raise ValueError(
        text,
        ", ".join(column.allowed),
        f"Use one of these words.{suggestion(word, column.allowed)}",
    )


def iso_date(text: str) -> str:
    """Return a date as YYYY-MM-DD; any other form raises ValueError(found, expected, remedy)."""
    expected = "a date as year-month-day, e.g. 2026-04-03"
    day = re.sub(r"[ T]\d{1,2}:\d{2}(:\d{2}(\.\d+)?)?$", "", text)
    if _ISO.fullmatch(day):
        try:
            return pd.Timestamp(day).date().isoformat()
        except ValueError:
            raise ValueError(text, expected, "There is no such day.") from None
    parts = re.fullmatch(r"(\d{1,2})[./\- ](\d{1,2})[./\- ](\d{2}|\d{4})", text)
    if parts and int(parts[1]) <= 12 and int(parts[2]) <= 12 and parts[1] != parts[2]:
        reason = "Day and month cannot be told apart in this form. Write the date the ISO way."
    else:
        reason = "Write the date the ISO way."
    raise ValueError(text, expected, reason)


def to_number(text: str) -> float:
    """Return a number written with decimal point or comma; ValueError(found, expected, remedy)."""
    expected = "a number, e.g. 1.75"
    word = text.replace("\xa0", "").replace("\u202f", "").replace("−", "-").strip()
    if re.fullmatch(r"[+-]?[1-9]\d{0,2},\d{3}", word):
        raise ValueError(
            text, expected,
            "The comma may be a decimal mark or part thousands; write a point, or no mark.",
        )  # fmt: skip
    if re.fullmatch(r"[+-]?\d+,\d+", word):
        word = word.replace(",", ".")
    try:
        value = float(word)
    except ValueError:
        raise ValueError(text, expected, "Only the number; the unit has its own column.") from None
    if not math.isfinite(value):
        raise ValueError(text, expected, "Leave the cell empty when there is no value.")
    return value


def _free(words: list[str]) -> pd.Series:
    """Return a column of the user's own: numbers if all cells are numbers, else text."""
    texts = [unicodedata.normalize("NFC", w).strip() for w in words]
    filled = [t for t in texts if t.casefold() not in MISSING]
    plain_numbers = all(re.fullmatch(r"[+-]?\d+([.,]\d+)?", t) for t in filled)
    if filled and plain_numbers and not any(re.match(r"0\d", t) for t in filled):
        values = [
            float(t.replace(",", ".")) if t.casefold() not in MISSING else math.nan for t in texts
        ]
        return pd.Series(values, dtype="float64")
    return pd.Series([t if t.casefold() not in MISSING else None for t in texts], dtype="str")


def warn_numeric_ids(cells: Cells, position: int, column: str, problems: Problems) -> None:
    """A workbook that keeps ids as numbers has lost their leading zeros."""
    if column != "athlete" or not cells.numeric:
        return
    rows = [n for n in cells.numbers if (n, position) in cells.numeric]
    if rows:
        problems.add(
            "warn", "ids_as_numbers", where=(cells.path.name, rows[0], column),
            found=f"{len(rows)} id(s) kept as numbers", expected="cells formatted as text",
            remedy="Leading zeros are lost if there were any: format the column as text, type again.",
        )  # fmt: skip


def _required(out: pd.DataFrame, table: Table, name: str, problems: Problems) -> None:
    needed = [c.name for c in table.columns if c.required]
    told = {(r["row"], r["column"]) for r in problems.rows if r["file"] == name}
    for column in needed:
        for number in out.loc[out[column].isna(), ROW]:
            if (str(number), column) not in told and ("1", column) not in told:
                problems.add(
                    "fail", "empty_cell", where=(name, number, column), found="empty",
                    expected=table.column(column).description, remedy="Fill it in or remove the row.",
                )  # fmt: skip
    key = list(table.key)
    if not key or out.empty:
        return
    twice = out[
        out.duplicated(key, keep=False)
        & out[[k for k in key if k not in table.key_optional]].notna().all(axis=1)
    ]
    for values, group in twice.groupby(key, dropna=False, sort=False):
        shown = "/".join(str(v) for v in (values if isinstance(values, tuple) else (values,)))
        rows = [str(n) for n in group[ROW]]
        problems.add(
            "fail", "row_twice", where=(name, ", ".join(rows), ", ".join(key)), found=shown,
            expected="one row for each", remedy="Remove or correct one of them.",
        )  # fmt: skip
