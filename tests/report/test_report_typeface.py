"""Page and figures have one face, and nothing in a figure is printed smaller than 8 points."""

from __future__ import annotations

import base64
import io
import re

import pytest
from fontTools.ttLib import TTFont
from matplotlib.text import Text

from cmjlab.plots.style import SMALLEST_PT, TEXT_WIDTH_CM
from cmjlab.report.blocks.templates import stylesheet
from cmjlab.report.render.html import render_html
from cmjlab.report.render.typeface import FAMILY, font_faces, subset_of


@pytest.fixture(scope="module")
def page(kit_full):
    return render_html(kit_full)


def _fonts(page: str) -> list[TTFont]:
    found = re.findall(r"data:font/woff;base64,([A-Za-z0-9+/=]+)", page)
    return [TTFont(io.BytesIO(base64.b64decode(text))) for text in found]


def test_the_page_brings_its_letters_along_once(page):
    fonts = _fonts(page)
    assert len(fonts) == 2
    assert sum(len(f.reader.file.getvalue()) for f in fonts) < 60_000
    assert re.search(r'html \{ font: [^"]*"Report Sans"', page)
    assert "font-src data:" in page


def test_every_sign_of_the_page_that_the_face_has_is_among_its_letters(page):
    import matplotlib as mpl

    text = set(re.sub(r"<[^>]*>", "", page[page.index("</style>") :]))
    whole = set(TTFont(f"{mpl.get_data_path()}/fonts/ttf/DejaVuSans.ttf").getBestCmap())
    wanted = {ord(c) for c in text if ord(c) >= 32} & whole
    assert len(wanted) > 60
    for font in _fonts(page):
        assert wanted <= set(font.getBestCmap())


def test_letters_are_those_of_the_figures_under_a_name_of_our_own():
    """The licence of the letters asks for another name on what was changed, and for its notice."""
    import matplotlib as mpl

    ours = TTFont(io.BytesIO(subset_of("Regular", "Ah−")))
    theirs = TTFont(f"{mpl.get_data_path()}/fonts/ttf/DejaVuSans.ttf")
    for sign in "Ah−":
        glyph = ours["glyf"][ours.getBestCmap()[ord(sign)]]
        same = theirs["glyf"][theirs.getBestCmap()[ord(sign)]]
        assert list(glyph.coordinates) == list(same.coordinates)
    names = {r.nameID: str(r) for r in ours["name"].names}
    assert names[1] == FAMILY
    for number in (1, 3, 4, 6):
        assert not re.search("dejavu|bitstream|vera", names[number], re.I)
    assert "Bitstream" in names[0]
    assert "(c) Bitstream" in names[13]


def test_letters_that_the_face_lacks_are_left_to_the_reader_s_machine():
    assert font_faces("日本") == font_faces("")
    assert font_faces("Ж") != font_faces("")


def test_figures_are_printed_as_drawn_with_letters_of_8_points_and_more(kit_full):
    widths = {}
    for key, figure in kit_full.figures.items():
        width = float(figure.get_size_inches()[0]) * 2.54
        assert width <= TEXT_WIDTH_CM + 0.01, key
        widths[key] = round(width, 1)
        texts = [t for t in figure.findobj(Text) if t.get_text().strip() and t.get_visible()]
        assert min(t.get_fontsize() for t in texts) >= SMALLEST_PT, key
    assert {k for k, w in widths.items() if w < TEXT_WIDTH_CM} == set()


def test_no_rule_of_the_page_shrinks_a_figure():
    rules = [line for line in stylesheet("report.css").splitlines() if "img" in line]
    assert len(rules) >= 2
    for rule in rules:
        for limit in re.findall(r"max-(?:width|height): ([\d.]+)cm", rule):
            assert float(limit) >= TEXT_WIDTH_CM
