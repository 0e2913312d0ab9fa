"""The Word document says what the page says."""

from __future__ import annotations

import pandas as pd
import pytest

from cmjlab.errors import StudyError
from cmjlab.plots.style import Picture, picture, styled
from cmjlab.report.blocks.data import (
    Facts,
    FigureBlock,
    Heading,
    Items,
    Paragraph,
    ReportData,
    Section,
    TableBlock,
)
from cmjlab.report.render.docx import write_docx

docx = pytest.importorskip("docx")
NASTY = 'Zoë <b>&"Ünal" 日本'


@styled
def _figure() -> Picture:
    figure = picture(8, 6)
    figure.subplots().plot([0, 1], [0, 1])
    figure.alt_text = NASTY
    return figure


@pytest.fixture
def data() -> ReportData:
    figure = _figure()
    blocks = (
        Heading(NASTY),
        Paragraph(NASTY),
        Items((NASTY, "two"), ordered=True),
        Facts((("term", NASTY),)),
        TableBlock("Table", ("name", "n"), ((NASTY, "7"), ("b", "8")), (False, True), "note"),
        FigureBlock("one", "caption", NASTY, figure.svg(), 8.0),
    )
    return ReportData(
        title=NASTY, date="2026-11-02", subtitle="s", version="0",
        sections=(Section("coach", "First", blocks), Section("more", "Second", blocks)),
        tables={"t": pd.DataFrame()}, figures={"one": figure},
    )  # fmt: skip


def test_document_holds_every_block(data, tmp_path):
    document = docx.Document(str(write_docx(data, tmp_path / "new" / "r.docx")))
    texts = [p.text for p in document.paragraphs]
    assert texts.count(NASTY) == 1 + 2 * 3
    assert texts.count(f"term: {NASTY}") == 2
    assert [t for t in texts if t in ("First", "Second")] == ["First", "Second"]
    assert len(document.tables) == 2
    cells = [[c.text for c in row.cells] for row in document.tables[0].rows]
    assert cells == [["name", "n"], [NASTY, "7"], ["b", "8"]]
    assert len(document.inline_shapes) == 2
    assert document.inline_shapes[0]._inline.docPr.get("descr") == NASTY
    assert document.core_properties.title == NASTY


def test_a_place_that_cannot_be_written_is_said(data, tmp_path):
    (tmp_path / "file").write_text("", encoding="utf-8")
    with pytest.raises(StudyError, match="cannot be written"):
        write_docx(data, tmp_path / "file" / "r.docx")
