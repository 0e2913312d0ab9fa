"""Fields of a Word document: numbers of tables and figures, page numbers, contents.

A field is a text that the word processor makes itself; what is written here is shown until it
does. The document asks for that when it is opened.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from typing import Any

from cmjlab.report.blocks.data import Section

#: Characters that XML cannot hold; they appear as the sign for an unknown character.
_NO_XML = re.compile(r"[\x00-\x08\x0b\x0c\x0e-\x1f\ud800-\udfff\ufffe\uffff]")
#: Elements of the settings that follow the wish for new fields, in the order that the format wants.
_AFTER_UPDATE = (
    "hdrShapeDefaults", "footnotePr", "endnotePr", "compat", "docVars", "rsids", "themeFontLang",
    "clrSchemeMapping", "shapeDefaults", "decimalSymbol", "listSeparator",
)  # fmt: skip
#: Shown for a page number until the word processor knows it.
_UNKNOWN = "–"


def clean(text: object) -> str:
    """Return a text that a Word file can hold; everything else stays as it is."""
    return _NO_XML.sub("\ufffd", str(text))


def element(tag: str, /, **values: str) -> Any:
    """Return an element of the document format with its attributes."""
    from docx.oxml import OxmlElement
    from docx.oxml.ns import qn

    made = OxmlElement(f"w:{tag}")
    for key, value in values.items():
        made.set(qn(f"w:{key}"), value)
    return made


def field(paragraph: Any, code: str, shown: str) -> Any:
    """Add a run whose text the word processor makes: a page number, the number of a table."""
    run = paragraph.add_run()
    for kind in ("begin", "code", "separate", "shown", "end"):
        if kind in ("code", "shown"):
            part = element("instrText" if kind == "code" else "t")
            part.text = code if kind == "code" else shown
        else:
            part = element("fldChar", fldCharType=kind)
        run._r.append(part)
    return run


def caption(document: Any, kind: str, label: str, text: str, *, bold: bool = True) -> Any:
    """Add a caption whose number is a field, so that more of them can be put between."""
    paragraph = document.add_paragraph(style="Caption")
    number = re.search(r"\d+$", label)
    if number:
        paragraph.add_run(clean(label[: number.start()]))
        field(paragraph, f"SEQ {kind.capitalize()} \\* ARABIC", number.group())
        paragraph.add_run(". ")
    elif label:
        paragraph.add_run(clean(f"{label}. "))
    paragraph.add_run(clean(text)).bold = bold
    return paragraph


def bookmark(paragraph: Any, number: int) -> None:
    """Put a bookmark round a heading, so that the contents know its page."""
    start = element("bookmarkStart", id=str(number), name=_name(number))
    paragraph._p.insert(1 if paragraph._p.pPr is not None else 0, start)
    paragraph._p.append(element("bookmarkEnd", id=str(number)))


def _name(number: int) -> str:
    return f"section_{number}"


def contents(document: Any, title: str, sections: Sequence[Section], width_cm: float) -> None:
    """Add the contents on a new page: one line per section, with the page of its bookmark.

    ``sections`` are all of the document; the first one stands before the contents and is left out.
    """
    from docx.enum.text import WD_TAB_ALIGNMENT, WD_TAB_LEADER
    from docx.shared import Cm, Pt

    head = document.add_paragraph()
    head.add_run(clean(title)).bold = True
    head.paragraph_format.page_break_before = head.paragraph_format.keep_with_next = True
    for number, section in enumerate(sections[1:], start=1):
        line = document.add_paragraph()
        line.paragraph_format.space_after = Pt(1)
        stops = line.paragraph_format.tab_stops
        stops.add_tab_stop(Cm(width_cm), WD_TAB_ALIGNMENT.RIGHT, WD_TAB_LEADER.DOTS)
        line.add_run(clean(section.title))
        line.add_run("\t")
        field(line, f"PAGEREF {_name(number)} \\h", _UNKNOWN)


def ask_for_fields(document: Any) -> None:
    """Let the word processor make every field when the document is opened."""
    from docx.oxml.ns import qn

    settings = document.settings.element
    later = {qn(f"w:{name}") for name in _AFTER_UPDATE}
    place = next((child for child in settings if child.tag in later), None)
    wish = element("updateFields", val="true")
    if place is None:
        settings.append(wish)
    else:
        place.addprevious(wish)
