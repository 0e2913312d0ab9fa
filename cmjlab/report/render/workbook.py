"""``results.xlsx``: every table of the report on a sheet of its own, and a dictionary of it all.

Texts are written as texts, never as formulas; numbers have sixteen digits (the CSV
tables beside it have all); a missing value is an empty cell.
"""

from __future__ import annotations

import datetime as dt
import io
import math
import os
import re
from collections.abc import Iterator, Mapping
from pathlib import Path
from types import MappingProxyType
from typing import TYPE_CHECKING, Any

from cmjlab.catalog import CHECKS, METRICS, STATISTICS, Metric
from cmjlab.errors import StudyError
from cmjlab.files.atomic_write import atomic_write
from cmjlab.report.blocks.data import ReportData
from cmjlab.tables import CHECK_ROWS, JUMPS, SESSIONS, STATISTICS_TABLE, USER_TABLES, Table
from cmjlab.words.catalog import Words

if TYPE_CHECKING:
    import pandas as pd

#: Characters that a workbook cannot hold.
_NO_XML = re.compile(r"[\x00-\x08\x0b\x0c\x0e-\x1f\ud800-\udfff\ufffe\uffff]")
_MOST_CHARACTERS = 32_767
_MOST_ROWS = 1_048_576
_DECLARED: dict[str, Table] = {"jumps": JUMPS, "checks": CHECK_ROWS, "sessions": SESSIONS}
_HEADS = ("sheet", "name", "label", "unit", "meaning", "computed_as", "source")
#: Remarks of the first sheet on how to read the workbook.
_HOW_TO_READ = ("units", "empty", "dictionary")
_WIDE = 60
#: Columns that hold long texts, and their width; the others fit their head.
_WIDTHS = MappingProxyType(
    {
        "meaning": _WIDE,
        "reason": _WIDE,
        "method": _WIDE,
        "text": _WIDE,
        "computed_as": _WIDE,
        "file": 40,
    }
)


def write_workbook(data: ReportData, path: str | os.PathLike[str]) -> Path:
    """Write the report's tables as one workbook.

    Parameters
    ----------
    data : ReportData
    path : path
        The .xlsx file; its folder is made when absent.

    Returns
    -------
    Path

    Raises
    ------
    StudyError
        The file cannot be written (it is open in another program), or a table has more rows
        than a sheet can hold.
    """
    target = Path(path)
    atomic_write(target, render_workbook(data))
    return target


def render_workbook(data: ReportData) -> bytes:
    """Return the workbook as bytes; see :func:`write_workbook`."""
    from openpyxl import Workbook

    for name, frame in data.tables.items():
        if len(frame) + 1 > _MOST_ROWS:
            raise StudyError(
                f"{name}: {len(frame)} rows, a sheet holds {_MOST_ROWS - 1}. Use {name}.csv beside it."
            )
    book = Workbook(write_only=True)
    book.properties.creator = f"cmjlab {data.version}"
    book.properties.title = _clean(data.title)[:255]
    made = dt.datetime.fromisoformat(data.date)
    book.properties.created = book.properties.modified = made
    _about(book, data)
    for name, frame in data.tables.items():
        columns = [_plain_column(frame.iloc[:, i]) for i in range(frame.shape[1])]
        rows = zip(*columns, strict=True)
        _sheet(book, name, tuple(map(str, frame.columns)), rows, len(frame))
    _dictionary(book, data)
    out = io.BytesIO()
    book.save(out)
    return out.getvalue()


# ---- the dictionary --------------------------------------------------------------------------


def dictionary(data: ReportData) -> list[tuple[str, ...]]:
    """Return one row for every column, statistic and rule that occurs in a report's tables.

    Returns
    -------
    list of tuple
        sheet, name, label, unit, meaning, computed as, source. For statistics and rules the
        place says in which column the name is a value.
    """
    words, tables = data.words, data.tables
    say = words.say
    rows: list[tuple[str, ...]] = []
    for sheet, frame in tables.items():
        declared = _declared(sheet, frame)
        rows += [(sheet, str(c), *_column(words, str(c), declared)) for c in frame.columns]
    for name in _values(tables, "metric"):
        if name in METRICS:
            rows.append((say("workbook.in_metric"), name, *_metric(words, METRICS[name])))
    for name in _values(tables, "statistic"):
        s = STATISTICS[name]
        unit = say("workbook.metric_unit") if s.unit == "metric" else s.unit
        entry = (words.statistic(name), unit, s.meaning, s.formula, s.reference)
        rows.append((say("workbook.in_statistic"), name, *entry))
    for name in _values(tables, "code"):
        if name in CHECKS:
            c = CHECKS[name]
            entry = (c.label, c.unit, c.test, c.remedy, c.reference)
            rows.append((say("workbook.in_code"), name, *entry))
    return rows


def _declared(sheet: str, frame: pd.DataFrame) -> Table | None:
    if sheet in _DECLARED:
        return _DECLARED[sheet]
    return STATISTICS_TABLE if "statistic" in frame else None


def _metric(words: Words, metric: Metric) -> tuple[str, ...]:
    return (
        words.label(metric.key), metric.unit, metric.meaning, metric.formula, metric.reference,
    )  # fmt: skip


def _column(words: Words, name: str, declared: Table | None) -> tuple[str, ...]:
    """Return the entry of one column: from the catalog, its table, or the study's own tables."""
    if name in METRICS:
        return _metric(words, METRICS[name])
    if declared is not None and name in declared.names:
        c = declared.column(name)
        meaning = c.description
        if c.allowed:
            allowed = ", ".join(c.allowed)
            meaning = words.say("workbook.one_of", description=meaning, allowed=allowed)
        return ("", c.unit, meaning, "", "")
    of_people = words.part("workbook_column")
    if name in of_people and declared is None:
        return ("", "", of_people[name], "", "")
    for table in (JUMPS, SESSIONS, *USER_TABLES.values()):
        if name in table.names:
            c = table.column(name)
            source = words.say("workbook.of_study", table=table.name)
            return ("", c.unit, c.description, "", source)
    return (words.label(name), "", words.say("workbook.joined"), "", "")


def _values(tables: Mapping[str, pd.DataFrame], column: str) -> list[str]:
    found: dict[str, None] = {}
    for frame in tables.values():
        if column in frame:
            found |= dict.fromkeys(str(v) for v in frame[column].dropna().unique())
    return [v for v in found if v]


# ---- sheets ----------------------------------------------------------------------------------


def _about(book: Any, data: ReportData) -> None:
    """Put a first sheet in front that says what this is, and how to read it."""
    say = data.words.say
    rows = [
        (say("workbook.title"), data.title),
        (say("workbook.made_on"), data.date),
        (say("workbook.made_with"), say("workbook.program", version=data.version)),
        *((say(f"workbook.{k}"), say(f"workbook.{k}_how")) for k in _HOW_TO_READ),
        (say("workbook.people"), data.caution),
    ]
    rows += [(name, say("workbook.rows", n=len(frame))) for name, frame in data.tables.items()]
    heads = (say("workbook.what"), say("workbook.how"))
    _sheet(book, say("workbook.about"), heads, iter(rows), len(rows), widths=(0, _WIDE))


def _dictionary(book: Any, data: ReportData) -> None:
    """Put a last sheet behind that explains every column, statistic and rule."""
    entries = dictionary(data)
    heads = tuple(data.words.say(f"workbook.{h}") for h in _HEADS)
    widths = tuple(_WIDTHS.get(h, 0) for h in _HEADS)
    title = data.words.say("workbook.dictionary")
    _sheet(book, title, heads, iter(entries), len(entries), widths=widths)


def _sheet(
    book: Any,
    name: str,
    head: tuple[str, ...],
    rows: Iterator[tuple[Any, ...]],
    n: int,
    *,
    widths: tuple[int, ...] = (),
) -> None:
    """Add a sheet with a fixed head row, filter and widths that fit; long texts are broken.

    ``widths`` are those of a sheet of texts; a width of 0 fits the head.
    """
    from openpyxl.styles import Alignment, Font
    from openpyxl.utils import get_column_letter

    sheet = book.create_sheet(_sheet_name(name))
    sheet.freeze_panes = "B2" if len(head) > 3 else "A2"
    sheet.auto_filter.ref = f"A1:{get_column_letter(len(head))}{n + 1}"
    chosen = widths or tuple(_WIDTHS.get(title, 0) for title in head)
    for place, (title, wanted) in enumerate(zip(head, chosen, strict=True), start=1):
        width = wanted or max(10, min(28, len(title) + 3))
        sheet.column_dimensions[get_column_letter(place)].width = width
    sheet.append([_cell(sheet, title, font=Font(bold=True)) for title in head])
    align = Alignment(vertical="top", wrap_text=True) if widths else None
    for row in rows:
        sheet.append([_cell(sheet, value, alignment=align) for value in row])


def _cell(sheet: Any, value: Any, *, font: Any = None, alignment: Any = None) -> Any:
    """Return one cell, bare where it may be; text is text whatever it begins with."""
    from openpyxl.cell import WriteOnlyCell

    risky = isinstance(value, str) and value[:1] in ("=", "+", "-", "@")
    if not risky and font is None and alignment is None:
        return value
    cell = WriteOnlyCell(sheet, value=_clean(value) if isinstance(value, str) else value)
    if risky:
        cell.data_type, cell.quotePrefix = "s", True
    if font is not None:
        cell.font = font
    if alignment is not None:
        cell.alignment = alignment
    return cell


def _plain_column(column: pd.Series) -> list[Any]:
    """Return a column's values as a workbook keeps them; None for a missing one."""
    from pandas.api.types import is_bool_dtype, is_numeric_dtype

    missing = column.isna().tolist()
    values = column.tolist()
    if is_bool_dtype(column.dtype):
        return [None if m else bool(v) for v, m in zip(values, missing, strict=True)]
    if is_numeric_dtype(column.dtype):
        return [None if m else _finite(v) for v, m in zip(values, missing, strict=True)]
    return [None if m else _plain(v) for v, m in zip(values, missing, strict=True)]


def _finite(value: float) -> Any:
    """Return a number, or the word for one that a workbook cannot hold."""
    if math.isfinite(value):
        return value
    return "inf" if value > 0 else "-inf"


def _plain(value: Any) -> Any:
    """Return a value of a mixed column: numbers as numbers, everything else as text."""
    if isinstance(value, bool):
        return value
    return _finite(value) if isinstance(value, int | float) else _clean(value)[:_MOST_CHARACTERS]


def _clean(text: object) -> str:
    return _NO_XML.sub("\ufffd", str(text))


def _sheet_name(name: str) -> str:
    """Return a name that a sheet may have: at most 31 characters, no brackets, colon or slashes."""
    return re.sub(r"[\[\]:*?/\\]", " ", name)[:31]
