"""The report as a Word document: the same ReportData, tables as real tables, pictures with words."""

from __future__ import annotations

import contextlib
import io
import os
from pathlib import Path
from typing import Any

from cmjlab.errors import StudyError
from cmjlab.report.data import ReportData

_TEXT_CM = 16.5


def write_docx(data: ReportData, path: str | os.PathLike[str]) -> Path:
    """Write the report as .docx.

    Parameters
    ----------
    data : ReportData
        From ``cmjlab.report.gather.gather``.
    path : path
        File to write; an existing one is replaced.

    Raises
    ------
    StudyError
        The extra ``docx`` is not installed, or the file cannot be written.
    """
    try:
        import docx
    except ImportError:
        raise StudyError(
            'a Word document needs the extra "docx": python -m pip install "cmjlab[docx]".'
        ) from None
    document = docx.Document()
    document.core_properties.title = data.title
    document.core_properties.comments = f"Made with cmjlab {data.version}"
    document.add_paragraph(data.subtitle)
    document.add_heading(data.title, 0)
    document.add_paragraph(f"{data.words['made_on']} {data.date}")
    for number, section in enumerate(data.sections):
        if number == 1:
            document.add_page_break()
        document.add_heading(section.title, 1)
        for block in section.blocks:
            _add(document, block, data)
    document.add_paragraph(f"{data.words['footer']} cmjlab {data.version}.")
    target = Path(path)
    part = target.with_name(target.name + ".part")
    try:
        target.parent.mkdir(parents=True, exist_ok=True)
        document.save(str(part))
        os.replace(part, target)
    except OSError as error:
        with contextlib.suppress(OSError):
            part.unlink(missing_ok=True)
        raise StudyError(
            f"{target}: cannot be written ({error.strerror or error}). Close the program that shows it."
        ) from None
    return target


def _add(document: Any, block: Any, data: ReportData) -> None:
    """Add one block to the document."""
    if block.kind == "paragraph":
        document.add_paragraph(block.text)
    elif block.kind == "heading":
        document.add_heading(block.text, 2)
    elif block.kind == "items":
        style = "List Number" if block.ordered else "List Bullet"
        for item in block.items:
            document.add_paragraph(item, style=style)
    elif block.kind == "facts":
        for term, text in block.pairs:
            paragraph = document.add_paragraph()
            paragraph.add_run(f"{term}: ").bold = True
            paragraph.add_run(text)
    elif block.kind == "table":
        _add_table(document, block)
    elif block.kind == "figure":
        _add_figure(document, block, data)


def _add_table(document: Any, block: Any) -> None:
    from docx.enum.text import WD_ALIGN_PARAGRAPH

    title = document.add_paragraph()
    title.add_run(block.title).bold = True
    title.paragraph_format.keep_with_next = True
    table = document.add_table(rows=1, cols=len(block.columns))
    table.style = "Light List"
    rows = [block.columns, *block.rows]
    for number, row in enumerate(rows):
        cells = table.rows[0].cells if number == 0 else table.add_row().cells
        for cell, text, numeric in zip(cells, row, block.numeric, strict=True):
            cell.text = text
            if numeric:
                cell.paragraphs[0].alignment = WD_ALIGN_PARAGRAPH.RIGHT
    _repeat_header(table.rows[0])
    if block.note:
        document.add_paragraph(block.note)


def _repeat_header(row: Any) -> None:
    """Mark the first row as a header that is repeated on every page."""
    from docx.oxml import OxmlElement

    mark = OxmlElement("w:tblHeader")
    row._tr.get_or_add_trPr().append(mark)


def _add_figure(document: Any, block: Any, data: ReportData) -> None:
    from docx.shared import Cm

    picture = data.figures.get(block.key)
    if picture is not None:
        width = min(_TEXT_CM, block.width_cm)
        shape = document.add_picture(io.BytesIO(picture.png(dpi=200)), width=Cm(width))
        shape._inline.docPr.set("descr", block.alt)
    document.add_paragraph(block.caption)
