"""Read an .xlsx file: its one sheet of numbers, as a text table with known cells."""

from __future__ import annotations

import datetime
from typing import Any

from cmjlab.checks import listed
from cmjlab.errors import ReadError
from cmjlab.files.columns import Columns
from cmjlab.files.delimited import read_delimited
from cmjlab.files.notes import note
from cmjlab.files.remedies import write_in_layout
from cmjlab.files.text import Text
from cmjlab.files.workbook_cells import read_workbook
from cmjlab.layout import Layout


def read_sheet(name: str, data: bytes, layout: Layout) -> Columns:
    """Return the columns of a spreadsheet.

    Parameters
    ----------
    name : str
        File name for messages.
    data : bytes
        The file.
    layout : Layout
        ``sheet`` names the sheet when several hold numbers.

    Raises
    ------
    ReadError
        When it is damaged, has no sheet of numbers, or several.
    """
    sheets = read_workbook(name, data)
    chosen = _choose(name, sheets, layout)
    lines = ["\t".join(map(_as_text, row)).rstrip("\t") for row in sheets[chosen]]
    width = max((line.count("\t") for line in lines), default=0)
    lines = [line + "\t" * (width - line.count("\t")) for line in lines]
    notes = []
    if len(sheets) > 1:
        notes.append(note("sheet", f"Sheet {chosen!r} of {len(sheets)} was read."))
    text = Text(lines, "xlsx", True, tuple(notes))
    stated = layout.replace(delimiter="tab" if width else "none", decimal=".", encoding="")
    columns = read_delimited(f"{name} ({chosen})" if len(sheets) > 1 else name, text, stated)
    columns.facts["sheet"] = chosen
    return columns


def _choose(name: str, sheets: dict[str, list[tuple[Any, ...]]], layout: Layout) -> str:
    if layout.sheet:
        if layout.sheet not in sheets:
            raise ReadError(
                f"{name}: there is no sheet {layout.sheet!r}; the sheets are {listed(list(sheets))}."
            )
        return layout.sheet
    counts = {title: _numbers(rows) for title, rows in sheets.items()}
    filled = [title for title, count in counts.items() if count >= 10]
    if len(filled) == 1:
        return filled[0]
    if not filled:
        raise ReadError(
            f"{name}: no sheet holds a table of numbers (sheets: {listed(list(sheets))})."
        )
    raise ReadError(
        f"{name}: {len(filled)} sheets hold numbers: {listed(filled)}. State which:"
        f" {write_in_layout({'sheet': filled[0]})}."
    )


def _numbers(rows: list[tuple[Any, ...]]) -> int:
    return sum(any(isinstance(v, int | float) for v in row) for row in rows)


def _as_text(value: Any) -> str:
    if value is None:
        return ""
    if isinstance(value, datetime.datetime):
        return value.strftime("%Y-%m-%d %H:%M:%S.%f")
    if isinstance(value, datetime.time):
        return value.strftime("%H:%M:%S.%f")
    if isinstance(value, datetime.timedelta):
        return repr(value.total_seconds())
    if isinstance(value, float):
        return repr(value)
    return str(value).replace("\t", " ").replace("\n", " ").strip()
