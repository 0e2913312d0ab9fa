"""Every figure and table has a number, and some text of the report speaks of it."""

from __future__ import annotations

import html
import re

import pytest

from cmjlab.report.blocks.data import FigureBlock, Heading, Items, Paragraph, Section, TableBlock
from cmjlab.report.blocks.numbers import numbered, places
from cmjlab.report.render.html import render_html
from cmjlab.words.catalog import read_words

WORDS = read_words()


def _figure(key: str, caption: str = "What it shows.") -> FigureBlock:
    return FigureBlock(key, caption, "alt", "<svg/>")


def _table(title: str = "A table", key: str = "") -> TableBlock:
    return TableBlock(title, ("a",), (("1",),), (False,), key=key)


def _made(*blocks):
    return numbered([Section("a", "A", blocks)], WORDS)[0].blocks


def _never_referred_to(sections) -> list[str]:
    """Return the labels that no text names."""
    said = " ".join(
        text
        for s in sections
        for b in s.blocks
        if isinstance(b, Paragraph | Items)
        for text in ([b.shown] if isinstance(b, Paragraph) else b.shown)
    )
    return [label for label in places(sections) if not re.search(rf"\b{label}(?!\d)", said)]


@pytest.fixture(params=["kit_report", "kit_full"])
def data(request):
    return request.getfixturevalue(request.param)


def test_numbers_run_in_the_order_of_the_report_without_a_gap(data):
    blocks = [b for s in data.sections for b in s.blocks]
    for kind, word in (("figure", "Figure"), ("table", "Table")):
        labels = [b.label for b in blocks if b.kind == kind]
        assert len(labels) >= 5
        assert labels == [f"{word} {n}" for n in range(1, len(labels) + 1)]


def test_every_figure_and_table_is_referred_to(data):
    assert _never_referred_to(data.sections) == []


def test_one_that_nobody_refers_to_is_found():
    bare = [Section("a", "A", (_table(), Paragraph("Nothing.")))]
    labelled = [Section("a", "A", (TableBlock("t", (), (), (), label="Table 1"),))]
    assert _never_referred_to(bare) == []  # no number, no reference
    assert _never_referred_to(labelled) == ["Table 1"]
    assert _never_referred_to(numbered(bare, WORDS)) == []


def test_a_reference_on_the_page_leads_to_its_figure_or_table(data):
    page = render_html(data)
    ids = set(re.findall(r'\bid="([^"]+)"', page))
    links = re.findall(r'<a href="#((?:figure|table)-[^"]+)">([^<]+)</a>', page)
    assert {html.unescape(text) for _, text in links} == set(places(data.sections))
    assert {anchor for anchor, _ in links} <= ids


def test_what_a_text_says_it_speaks_of_is_named_there_and_nowhere_else():
    blocks = _made(
        Paragraph("Near."), _figure("one"), Heading("h"), Paragraph("It shows this.", see=("one",))
    )
    assert blocks[0].shown == "Near."
    assert blocks[3].shown == "It shows this (Figure 1)."


def test_the_nearest_text_before_names_what_nobody_speaks_of():
    blocks = _made(
        Paragraph("Far."),
        Items(("One.", "Two:")),
        Items(("Small.",), small=True),
        Paragraph("Note.", "note"),
        _table(),
        _figure("f"),
    )
    assert blocks[0].shown == "Far."
    assert blocks[1].shown == ("One.", "Two (Table 1, Figure 1):")
    assert [b.refers for b in blocks[2:4]] == ["", ""]


def test_else_the_first_text_after_it_does():
    blocks = _made(Paragraph("Before."), Heading("h"), _table(), Items(("One.", "Two.")))
    assert blocks[0].shown == "Before."
    assert blocks[3].shown == ("One (Table 1).", "Two.")


def test_else_a_line_of_its_own_stands_before_it():
    blocks = _made(Paragraph("x."), Heading("h"), _table(), _figure("f"), Heading("i"), _table("B"))
    texts = [b.text for b in blocks if isinstance(b, Paragraph)]
    assert texts == ["x.", "See Table 1 and Figure 1.", "See Table 2."]
    assert [b.kind for b in blocks] == [
        "paragraph", "heading", "paragraph", "table", "figure", "heading", "paragraph", "table",
    ]  # fmt: skip


def test_pictures_in_cells_and_untitled_ones_have_no_number():
    small = TableBlock("T", ("a",), (("1",),), (False,), pictures=(_figure("p", ""),))
    blocks = _made(small, _table(""), _figure("q", ""), _table("U"))
    assert [b.label for b in blocks if b.kind == "table"] == ["Table 1", "", "Table 2"]
    assert [b.label for b in blocks if b.kind == "figure"] == [""]


def test_a_wrong_key_or_one_that_stands_twice_is_refused():
    with pytest.raises(
        ValueError, match="see='two': the report has no such figure or table; it has one"
    ):
        _made(_figure("one"), Paragraph("x", see=("two",)))
    with pytest.raises(ValueError, match="two figures or tables have the key 'one'"):
        _made(_figure("one"), _table(key="one"))


def test_figure_1_is_no_part_of_figure_11():
    figures = [_figure(f"f{n}") for n in range(1, 12)]
    page = numbered([Section("a", "A", (Paragraph("All."), *figures))], WORDS)
    assert places(page)["Figure 11"] == "figure-f11"
    text = page[0].blocks[0].shown
    assert text.endswith("Figure 10, Figure 11).")
