"""The PDF has contents with the page of each section; headings and tables stay whole."""

from __future__ import annotations

import re
import shutil

import pytest
from pypdf import PdfReader

from cmjlab.report.render.contents import filled, has_contents, pages_of
from cmjlab.report.write import write_data

ONE = '<li><a href="#a">A</a><span class="page" data-of="a"></span></li>'


def test_contents_are_filled_by_their_section_and_can_be_filled_again():
    assert has_contents(ONE)
    once = filled(ONE, {"a": 3, "b": 4})
    assert once == ONE.replace("></span>", ">3</span>")
    assert filled(once, {"a": 12}) == ONE.replace("></span>", ">12</span>")
    assert filled(once, {}) == ONE
    assert not has_contents("<p>A</p>")


@pytest.fixture(scope="module")
def printed(kit_report, tmp_path_factory):
    if not any(shutil.which(n) for n in ("chromium", "chromium-browser")):
        pytest.skip("no Chromium on this machine")
    path = write_data(kit_report, tmp_path_factory.mktemp("pdf") / "r.pdf")
    return path, [page.extract_text() for page in PdfReader(path).pages]


def _line(text: str) -> str:
    return " ".join(text.split())


@pytest.mark.browser
def test_the_pdf_names_the_page_of_every_section(printed, kit_report):
    path, pages = printed
    contents = _line(pages[1])
    known = pages_of(path)
    for section in kit_report.sections[1:]:
        if not section.on_paper:
            assert section.title not in contents
            continue
        number = known[section.key]
        assert re.search(rf"{re.escape(section.title)}\W*{number}\b", contents), section.title
        assert section.title in _line(pages[number - 1])


@pytest.mark.browser
def test_every_page_has_its_number_and_no_heading_at_its_foot(printed, kit_report):
    _, pages = printed
    headings = {s.title for s in kit_report.sections}
    headings |= {b.text for s in kit_report.sections for b in s.blocks if b.kind == "heading"}
    for number, text in enumerate(pages, start=1):
        lines = [_line(t) for t in text.splitlines() if t.strip()]
        assert str(number) in (lines[0], lines[-1])
        body = [t for t in lines if t != str(number)]
        assert body[-1] not in headings


@pytest.mark.browser
def test_no_table_is_broken(printed, kit_report):
    """A table of up to 45 rows stands on one page: its caption and its last cell."""
    _, pages = printed
    tables = [b for s in kit_report.sections if s.on_paper for b in s.blocks if b.kind == "table"]
    assert len(tables) >= 5
    for table in tables:
        page = next(p for p in pages if f"{table.label}. {table.title[:20]}" in _line(p))
        last = [c for c in table.rows[-1] if c][-1].replace("\u00a0", " ")
        assert last in _line(page), table.label
