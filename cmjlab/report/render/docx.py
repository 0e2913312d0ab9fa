"""The report as a Word document: the same ReportData as the page, with real tables.

Headings are heading styles, tables are tables with a header row that repeats, lists are
lists, figures are pictures with alt text: the document can be edited, navigated and read out.
"""

from __future__ import annotations

import datetime as dt
import io
import os
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any

from cmjlab.errors import StudyError
from cmjlab.extras import optional
from cmjlab.files.atomic_write import atomic_write
from cmjlab.report.blocks.data import Facts, FigureBlock, Items, Paragraph, ReportData, TableBlock
from cmjlab.report.render.docx_fields import (
    ask_for_fields,
    bookmark,
    caption,
    clean,
    contents,
    element,
    field,
)

_TEXT_WIDTH_CM = 17.0
#: Heights that keep the page for coaches on one sheet, and the rest in proportion.
_FIRST_HEIGHT_CM = 7.5
_MOST_HEIGHT_CM = 22.0
_DPI = 200
#: Width of a letter of a table, and of the edges of its cell.
_SIGN_CM, _EDGES_CM = 0.155, 0.45
#: Longest table that is kept on one page.
_MOST_ROWS_TOGETHER = 45
#: A face that every word processor has; a document cannot count on that of the figures.
_FACE = "Arial"
_INK, _LINE, _HEAD, _GROUND = "1C2733", "9AA3AD", "E6E8EA", "F4F5F6"
#: Style -> size, space before and after, in points.
_STYLES = {
    "Normal": (9.5, 0, 4),
    "Title": (18, 0, 3),
    "Subtitle": (9.5, 0, 1),
    "Heading 1": (14, 10, 3),
    "Heading 2": (11, 7, 2),
    "Caption": (8.5, 4, 2),
    "List Bullet": (9.5, 0, 1),
    "List Number": (9.5, 0, 1),
}


def write_docx(data: ReportData, path: str | os.PathLike[str]) -> Path:
    """Write the report as a .docx file.

    Parameters
    ----------
    data : ReportData
        From :func:`cmjlab.report.gather.gather`; pictures are taken from ``data.figures``.
    path : path
        The file; its folder is made when absent, an existing file is replaced.

    Returns
    -------
    Path

    Raises
    ------
    MissingExtraError
        The extra ``docx`` is not installed.
    StudyError
        The file cannot be written (it is open in another program).
    """
    target = Path(path)
    atomic_write(target, render_docx(data))
    return target


def render_docx(data: ReportData) -> bytes:
    """Return the report as the bytes of a .docx file; see :func:`write_docx`."""
    document = _new_document(data)
    document.add_paragraph(clean(data.subtitle), style="Subtitle")
    document.add_paragraph(clean(data.title), style="Title")
    document.add_paragraph(clean(f"{data.words.say('page.made_on')} {data.date}"))
    if data.draft:
        _boxed(document, data.words.say("page.draft"))
    printed = [s for s in data.sections if s.on_paper]
    for number, section in enumerate(printed):
        if number == 1:  # the coach page stands alone
            contents(document, data.words.say("page.contents"), printed, _TEXT_WIDTH_CM)
        bookmark(document.add_heading(clean(section.title), level=1), number)
        for block in section.blocks:
            if isinstance(block, FigureBlock):
                most = _FIRST_HEIGHT_CM if number == 0 else _MOST_HEIGHT_CM
                _figure(document, block, data.figures, most)
            else:
                _add(document, block, data.figures)
    ask_for_fields(document)
    out = io.BytesIO()
    document.save(out)
    return out.getvalue()


def _library() -> Any:
    return optional(
        "docx",
        extra="docx",
        purpose="a Word file needs",
        otherwise="The HTML report needs nothing.",
    )


# ---- the document ----------------------------------------------------------------------------


def _new_document(data: ReportData) -> Any:
    """Return an empty A4 document with our styles, properties and footer."""
    docx = _library()
    from docx.oxml.ns import qn
    from docx.shared import Cm, Pt, RGBColor

    document = docx.Document()
    page = document.sections[0]
    page.page_width, page.page_height = Cm(21.0), Cm(29.7)
    page.left_margin = page.right_margin = Cm(2.0)
    page.top_margin = page.bottom_margin = Cm(1.6)
    page.footer_distance = Cm(0.8)
    for name, (size, before, after) in _STYLES.items():
        style = document.styles[name]
        style.font.name, style.font.size = _FACE, Pt(size)
        style.font.color.rgb = RGBColor.from_string(_INK)
        fonts = style.element.get_or_add_rPr().get_or_add_rFonts()
        for key in [k for k in fonts.attrib if "Theme" in k]:
            del fonts.attrib[key]  # a theme would win over the font named here
        shape = style.paragraph_format
        shape.space_before, shape.space_after, shape.line_spacing = Pt(before), Pt(after), 1.0
    for border in document.styles["Title"].element.findall(f".//{qn('w:pBdr')}"):
        border.getparent().remove(border)
    document.styles["Caption"].font.bold = True
    document.styles["Caption"].paragraph_format.keep_with_next = True
    language = data.words.say("page.language")
    tag = {"en": "en-GB"}.get(language, language)
    for spoken in document.styles.element.iter(qn("w:lang")):
        spoken.set(qn("w:val"), tag)  # spelling and reading aloud follow it
    _properties(document, data, tag)
    _footer(page, data)
    return document


def _properties(document: Any, data: ReportData, language: str) -> None:
    own = document.core_properties
    own.title, own.subject = clean(data.title)[:255], clean(data.subtitle)[:255]
    own.author, own.comments, own.language = "", data.made_with, language
    own.created = own.modified = dt.datetime.fromisoformat(data.date)


def _footer(page: Any, data: ReportData) -> None:
    """Put the standing caution and the page number at the foot of each page."""
    from docx.shared import Pt

    paragraph = page.footer.paragraphs[0]
    text = paragraph.add_run(clean(f"{data.caution} {data.made_with}  "))
    for run in (text, field(paragraph, "PAGE", "1")):
        run.font.size = Pt(7.5)


# ---- blocks ----------------------------------------------------------------------------------


def _add(document: Any, block: Any, figures: Mapping[str, Any]) -> None:
    """Add one block of text or a table."""
    if isinstance(block, TableBlock):
        _table(document, block, figures)
    elif isinstance(block, Items):
        _items(document, block)
    elif isinstance(block, Facts):
        _facts(document, block)
    elif isinstance(block, Paragraph):
        _paragraph(document, block)
    else:
        document.add_heading(clean(block.text), level=2)


def _paragraph(document: Any, block: Paragraph) -> None:
    from docx.shared import Pt

    if block.tone in ("note", "caution"):
        _boxed(document, block.shown)
        return
    run = document.add_paragraph().add_run(clean(block.shown))
    if block.tone == "lead":
        run.font.size = Pt(10.5)


def _boxed(document: Any, text: str) -> None:
    """Add a paragraph with a line at its left and a grey ground."""
    properties = document.add_paragraph(clean(text))._p.get_or_add_pPr()
    borders = element("pBdr")
    borders.append(element("left", val="single", sz="18", space="6", color=_INK))
    shade = element("shd", val="clear", color="auto", fill=_GROUND)
    later = ("w:tabs", "w:spacing", "w:ind", "w:jc", "w:rPr")  # the order that the format wants
    properties.insert_element_before(borders, "w:shd", *later)
    properties.insert_element_before(shade, *later)


def _items(document: Any, block: Items) -> None:
    from docx.shared import Pt

    for number, item in enumerate(block.shown):
        paragraph = document.add_paragraph(style="List Number" if block.ordered else "List Bullet")
        run = paragraph.add_run(clean(item))
        if block.small:
            run.font.size = Pt(8.5)
        if block.ordered:
            _number(document, paragraph, first=number == 0)


def _number(document: Any, paragraph: Any, *, first: bool) -> None:
    """Let each ordered list begin with 1: a list of its own in the numbering part."""
    from docx.oxml.ns import qn

    numbering = document.part.numbering_part.element
    if first:
        style = document.styles["List Number"].element
        own = style.find(f".//{qn('w:numId')}").get(qn("w:val"))
        listed = next(n for n in numbering.num_lst if str(n.numId) == own)
        new = numbering.add_num(listed.abstractNumId.val)
        new.add_lvlOverride(ilvl=0).add_startOverride(1)
    last = max(n.numId for n in numbering.num_lst)
    properties = paragraph._p.get_or_add_pPr().get_or_add_numPr()
    properties.get_or_add_ilvl().val = 0
    properties.get_or_add_numId().val = last


def _facts(document: Any, block: Facts) -> None:
    from docx.shared import Cm

    for term, text in block.pairs:
        paragraph = document.add_paragraph()
        paragraph.paragraph_format.left_indent = Cm(0.6)
        paragraph.paragraph_format.first_line_indent = Cm(-0.6)
        paragraph.add_run(clean(f"{term}: ")).bold = True
        paragraph.add_run(clean(text))


def _table(document: Any, block: TableBlock, figures: Mapping[str, Any]) -> None:
    """Add a real table: caption above, header row repeated on each page, numbers to the right."""
    from docx.enum.text import WD_ALIGN_PARAGRAPH
    from docx.shared import Pt

    caption(document, block.kind, block.label, block.title)
    columns, numbers = block.columns, block.numeric
    if block.pictures:
        columns, numbers = (*columns, block.picture_head), (*numbers, False)
    table = document.add_table(rows=1 + len(block.rows), cols=len(columns))
    _frame_table(table, block.title)
    whole = len(block.rows) <= _MOST_ROWS_TOGETHER
    texts_of = (columns, *((*row, "") if block.pictures else row for row in block.rows))
    for number, (row, texts) in enumerate(zip(table.rows, texts_of, strict=True)):
        properties = row._tr.get_or_add_trPr()
        properties.append(element("cantSplit"))
        if number == 0:
            properties.append(element("tblHeader"))
        for cell, text, numeric in zip(row.cells, texts, numbers, strict=True):
            paragraph = cell.paragraphs[0]
            paragraph.paragraph_format.space_after = Pt(1)
            paragraph.paragraph_format.keep_with_next = whole and number < len(block.rows)
            run = paragraph.add_run(clean(text))
            run.font.size, run.bold = Pt(8), number == 0
            if numeric:
                paragraph.alignment = WD_ALIGN_PARAGRAPH.RIGHT
            if number == 0:
                shade = element("shd", val="clear", color="auto", fill=_HEAD)
                cell._tc.get_or_add_tcPr().append(shade)
    for row, small in zip(table.rows[1:], block.pictures, strict=bool(block.pictures)):
        if small.key in figures:
            _picture(row.cells[-1].paragraphs[0], small, figures, small.width_cm)
        else:  # a bar that only a page can draw: its words
            row.cells[-1].paragraphs[0].add_run(clean(small.alt)).font.size = Pt(8)
    _widths(table, texts_of, block.pictures)
    below = document.add_paragraph()  # two tables without a paragraph between would be one
    below.add_run(clean(block.note)).font.size = Pt(8)
    if not block.note:
        below.paragraph_format.line_spacing = Pt(5)


def _frame_table(table: Any, title: str) -> None:
    """Give a table thin lines between rows, and its title for those who hear it."""
    from docx.oxml.ns import qn

    properties = table._tbl.tblPr
    borders = element("tblBorders")
    for edge in ("top", "bottom", "insideH"):
        borders.append(element(edge, val="single", sz="4", space="0", color=_LINE))
    later = [properties.find(qn(n)) for n in ("w:shd", "w:tblLayout", "w:tblCellMar", "w:tblLook")]
    place = next((e for e in later if e is not None), None)
    if place is None:
        properties.append(borders)
    else:
        place.addprevious(borders)
    properties.append(element("tblCaption", val=clean(title)))


def _widths(table: Any, texts_of: Sequence[Sequence[str]], pictures: Sequence[FigureBlock]) -> None:
    """Give each column its longest word, and share the rest by their texts; pictures need theirs."""
    from docx.shared import Cm

    weights, least = [], []
    for texts in zip(*texts_of, strict=True):
        longest = max(len(word) for text in texts for word in text.split(" "))
        least.append(_SIGN_CM * longest + _EDGES_CM)
        weights.append(max(longest + 1.5, min(34.0, max(map(len, texts)) ** 0.85), 5.0))
    wide = max((p.width_cm for p in pictures), default=-0.4) + 0.4
    shared, least = (weights[:-1], least[:-1]) if pictures else (weights, least)
    spare = _TEXT_WIDTH_CM - wide - sum(least)
    if spare < 0:  # some word breaks whatever is done
        least, spare = [0.0] * len(least), _TEXT_WIDTH_CM - wide
    widths = [a + spare * weight / sum(shared) for a, weight in zip(least, shared, strict=True)]
    for column, width in zip(table.columns, [*widths, *([wide] if pictures else [])], strict=True):
        column.width = Cm(width)
        for cell in column.cells:
            cell.width = column.width


def _figure(document: Any, block: FigureBlock, figures: Mapping[str, Any], most: float) -> None:
    """Add a picture with its alt text, at most so high (cm), and its caption on the same page."""
    from docx.enum.text import WD_ALIGN_PARAGRAPH

    paragraph = document.add_paragraph()
    paragraph.alignment = WD_ALIGN_PARAGRAPH.CENTER
    paragraph.paragraph_format.keep_with_next = True
    _picture(paragraph, block, figures, _TEXT_WIDTH_CM, most)
    below = caption(document, block.kind, block.label, block.caption, bold=False)
    below.paragraph_format.keep_with_next = False


def _picture(
    paragraph: Any, block: FigureBlock, figures: Mapping[str, Any], widest: float,
    most: float = _MOST_HEIGHT_CM,
) -> None:  # fmt: skip
    """Add a picture with its alt text to a paragraph, at most so wide and high (cm)."""
    from docx.shared import Cm

    if block.key not in figures:
        raise StudyError(f"figure {block.key!r} has no picture: gather the report again.")
    picture = figures[block.key]
    wide, high = (float(v) * 2.54 for v in picture.get_size_inches())
    scale = min(1.0, widest / wide, most / high)
    shape = paragraph.add_run().add_picture(
        io.BytesIO(picture.png(dpi=_DPI)), width=Cm(wide * scale)
    )
    shape._inline.docPr.set("descr", clean(block.alt))
    shape._inline.docPr.set("name", clean(block.key))
