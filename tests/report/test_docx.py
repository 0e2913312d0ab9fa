"""The Word document holds what the page holds, as real headings, tables, lists and pictures."""

from __future__ import annotations

import dataclasses
import sys
import zipfile

import pytest

from cmjlab.errors import MissingExtraError, StudyError
from cmjlab.report.blocks.data import FigureBlock, Items, ReportData, Section, TableBlock
from cmjlab.report.render.docx import clean, render_docx, write_docx

docx = pytest.importorskip("docx", reason="the extra 'docx' is not installed")
from docx.oxml.ns import qn  # noqa: E402


@pytest.fixture(scope="module")
def data(kit_report):
    return kit_report


@pytest.fixture(scope="module")
def path(data, tmp_path_factory):
    return write_docx(data, tmp_path_factory.mktemp("out") / "report.docx")


@pytest.fixture(scope="module")
def document(path):
    return docx.Document(str(path))


def _blocks(data, kind):
    return [b for s in data.sections if s.on_paper for b in s.blocks if isinstance(b, kind)]


def _small(*blocks, **changes) -> ReportData:
    made = ReportData("T", "2026-11-02", "s", "0", (Section("a", "A", blocks),))
    return dataclasses.replace(made, **changes)


def _open(data, tmp_path):
    return docx.Document(str(write_docx(data, tmp_path / "r.docx")))


def test_sections_are_headings_in_order(document, data):
    titles = [p.text for p in document.paragraphs if p.style.name == "Heading 1"]
    assert titles == [s.title for s in data.sections if s.on_paper]


def test_tables_are_real_tables_with_the_texts_of_the_page(document, data):
    blocks = _blocks(data, TableBlock)
    assert len(document.tables) == len(blocks)
    for table, block in zip(document.tables, blocks, strict=True):
        cells = [tuple(c.text for c in row.cells) for row in table.rows]
        assert cells == [block.columns, *block.rows]
        assert table.rows[0]._tr.trPr.find(qn("w:tblHeader")) is not None
        assert table._tbl.tblPr.find(qn("w:tblCaption")).get(qn("w:val")) == block.title
    captions = [p.text for p in document.paragraphs if p.style.name == "Caption"]
    assert {f"{b.label}. {b.title}" for b in blocks} <= set(captions)
    fields = [e.text for e in document.element.iter(qn("w:instrText"))]
    assert fields.count("SEQ Table \\* ARABIC") == len(blocks)


def test_numbers_stand_to_the_right(document, data):
    table, block = document.tables[0], _blocks(data, TableBlock)[0]
    for cell, numeric in zip(table.rows[1].cells, block.numeric, strict=True):
        assert (cell.paragraphs[0].alignment == 2) is numeric


def test_pictures_have_alt_text_and_fit_between_the_margins(document, data):
    blocks = _blocks(data, FigureBlock)
    shapes = document.inline_shapes
    assert [s._inline.docPr.get("descr") for s in shapes] == [b.alt for b in blocks]
    assert all(len(b.alt) > 20 for b in blocks)
    page = document.sections[0]
    width = page.page_width - page.left_margin - page.right_margin
    assert all(s.width <= width and s.height < 0.85 * page.page_height for s in shapes)


def test_every_word_of_the_page_is_there(document, data):
    texts = "\n".join(p.text for p in document.paragraphs)
    for block in _blocks(data, Items):
        for item in block.shown:
            assert item in texts


def test_page_is_a4_with_the_caution_and_a_number_at_its_foot(document, data):
    page = document.sections[0]
    assert (round(page.page_width.mm), round(page.page_height.mm)) == (210, 297)
    assert data.caution in page.footer.paragraphs[0].text
    assert "PAGE" in page.footer._element.xml
    contents = next(p for p in document.paragraphs if p.text == data.words.say("page.contents"))
    assert contents.paragraph_format.page_break_before


def test_contents_name_every_section_with_the_page_of_its_heading(document, data):
    lines = [p for p in document.paragraphs if "PAGEREF" in p._p.xml]
    assert [p.text.split("\t")[0] for p in lines] == [
        s.title for s in data.sections[1:] if s.on_paper
    ]
    marked = {
        e.get(qn("w:name")): p.text
        for p in document.paragraphs
        for e in p._p.iter(qn("w:bookmarkStart"))
    }
    for line in lines:
        code = next(e.text for e in line._p.iter(qn("w:instrText")))
        assert marked[code.split()[1]] == line.text.split("\t")[0]
    assert document.settings.element.find(qn("w:updateFields")).get(qn("w:val")) == "true"


def test_a_table_of_up_to_45_rows_stays_on_one_page(tmp_path):
    def kept(rows: int) -> list[bool]:
        table = TableBlock("t", ("a",), (("x",),) * rows, (False,))
        made = _open(_small(table), tmp_path).tables[0]
        return [bool(r.cells[0].paragraphs[0].paragraph_format.keep_with_next) for r in made.rows]

    assert kept(45) == [True] * 45 + [False]
    assert not any(kept(46))


def test_properties_language_and_date(document, data):
    own = document.core_properties
    assert (own.title, own.author, own.created.date().isoformat()) == (data.title, "", data.date)
    languages = {e.get(qn("w:val")) for e in document.styles.element.iter(qn("w:lang"))}
    assert languages == {"en-GB"}


def test_nothing_is_loaded_from_outside(path):
    with zipfile.ZipFile(path) as archive:
        links = [n for n in archive.namelist() if n.endswith(".rels")]
        assert not [n for n in links if b'TargetMode="External"' in archive.read(n)]


def test_each_ordered_list_begins_with_one(tmp_path):
    lists = (Items(("a", "b"), ordered=True), Items(("c",)), Items(("d", "e"), ordered=True))
    document = _open(_small(*lists), tmp_path)
    numbers = [
        p._p.pPr.numPr.numId.val for p in document.paragraphs if p.style.name == "List Number"
    ]
    assert numbers[0] == numbers[1] != numbers[2] == numbers[3]
    started = {
        n.numId
        for n in document.part.numbering_part.element.num_lst
        if n.find(qn("w:lvlOverride")) is not None
    }
    assert set(numbers) <= started


def test_signs_that_xml_cannot_hold_are_marked_not_fatal(tmp_path):
    table = TableBlock("t\x00", ("a",), (("x\x0b\ud800",),), (False,))
    document = _open(_small(table, Items(("\x1b[31m",))), tmp_path)
    assert document.tables[0].rows[1].cells[0].text == "x\ufffd\ufffd"
    assert clean("Zoë <b> & 日本") == "Zoë <b> & 日本"


def test_a_draft_says_so(tmp_path):
    texts = [p.text for p in _open(_small(draft=True), tmp_path).paragraphs]
    assert _small().words.say("page.draft") in texts
    assert _small().words.say("page.draft") not in [
        p.text for p in _open(_small(), tmp_path).paragraphs
    ]


def test_a_figure_without_its_picture_is_refused():
    with pytest.raises(StudyError, match="figure 'one' has no picture"):
        render_docx(_small(FigureBlock("one", "c", "a", "<svg/>")))


def test_without_the_library_the_extra_is_named(monkeypatch):
    monkeypatch.setitem(sys.modules, "docx", None)
    with pytest.raises(MissingExtraError, match=r"cmjlab\[docx\]"):
        render_docx(_small())
