"""From plain data to a page: everything escaped, nothing loaded, nothing missing."""

from __future__ import annotations

import dataclasses
import html
import re
from html.parser import HTMLParser

import pandas as pd
import pytest

from cmjlab.errors import StudyError
from cmjlab.method import Method
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
from cmjlab.report.render.html import render_html
from cmjlab.report.sections.methods import changed_settings, method_text
from cmjlab.report.write import file_stem, files_of, write_data
from cmjlab.words.catalog import Words, gaps, read_words

NASTY = "<img src=x onerror=\"alert(1)\">Zoë & 'Ünal' {{ 7*7 }} $x$ 日本"
SVG = '<svg xmlns="http://www.w3.org/2000/svg" width="1" height="1"></svg>'


def _data(text: str = NASTY) -> ReportData:
    blocks = (
        Heading(text),
        Paragraph(text, "lead"),
        Items((text, text), ordered=True),
        Facts(((text, text),)),
        TableBlock(text, (text, "n"), ((text, text),), (False, True), text),
        FigureBlock("figure", text, text, SVG, 10.0),
    )
    return ReportData(
        title=text,
        date="2026-11-02",
        subtitle=text,
        version="0",
        sections=(Section("coach", text, blocks), Section("more", text, blocks)),
        tables={"values": pd.DataFrame({"athlete": ["07"], "x": [1 / 3]})},
        provenance={"recordings": {"ä.csv": "00"}},
    )


class Reader(HTMLParser):
    """Collects tags, attributes and text of a page."""

    def __init__(self) -> None:
        super().__init__()
        self.tags: list[tuple[str, dict[str, str | None]]] = []
        self.text: list[str] = []
        self.open: list[str] = []

    def handle_starttag(self, tag, attrs):
        self.tags.append((tag, dict(attrs)))
        if tag not in ("meta", "img", "br", "link", "hr"):
            self.open.append(tag)

    def handle_endtag(self, tag):
        assert self.open.pop() == tag

    def handle_data(self, data):
        self.text.append(data)


def read(page: str) -> Reader:
    reader = Reader()
    reader.feed(page)
    reader.close()
    assert reader.open == []
    return reader


def test_every_text_appears_literally_and_as_nothing_else():
    reader = read(render_html(_data()))
    text = "".join(reader.text)
    assert text.count(NASTY) >= 15
    images = [a for t, a in reader.tags if t == "img"]
    assert len(images) == 2
    assert all(a["alt"] == NASTY and a["src"].startswith("data:image/svg+xml;") for a in images)
    assert not any("onerror" in a for _, a in reader.tags)
    assert not any(t == "script" for t, _ in reader.tags)


def test_page_asks_no_host_for_anything():
    page = render_html(_data("plain"))
    reader = read(page)
    for tag, attributes in reader.tags:
        for name in ("src", "href", "data", "action"):
            value = attributes.get(name)
            assert value is None or value.startswith(("data:", "#")), (tag, name, value)
    assert "@import" not in page
    assert set(re.findall(r"url\(.{6}", page)) == {'url("data:'}
    policy = [a for t, a in reader.tags if a.get("http-equiv") == "Content-Security-Policy"]
    assert "default-src 'none'" in policy[0]["content"]


def test_page_has_language_viewport_headings_in_order_and_captions():
    reader = read(render_html(_data("plain")))
    tags = [t for t, _ in reader.tags]
    assert dict(reader.tags)["html"]["lang"] == "en"
    assert any(a.get("name") == "viewport" for _, a in reader.tags)
    levels = [int(t[1]) for t in tags if re.fullmatch(r"h[1-6]", t)]
    assert levels[0] == 1
    assert levels.count(1) == 1
    assert all(b - a <= 1 for a, b in zip(levels, levels[1:], strict=False))
    assert tags.count("caption") == tags.count("table") == 2
    ids = [a["id"] for _, a in reader.tags if "id" in a and not a["id"].startswith("figure-")]
    assert len(ids) == len(set(ids))


def test_missing_data_is_an_error_not_a_hole():
    data = dataclasses.replace(_data(), words=Words({}))
    with pytest.raises(Exception, match="language"):
        render_html(data)


def test_part_for_a_notebook_is_escaped_too():
    section = _data().sections[0]
    assert NASTY in html.unescape(section._repr_html_())
    assert "<img src=x" not in section._repr_html_()


def test_files_are_written_whole_with_full_precision(tmp_path):
    path = write_data(_data("Block & <1>: Übung"), tmp_path / "new")
    assert path.name == "report_block-1-ubung_2026-11-02.html"
    table = pd.read_csv(files_of(path) / "values.csv", dtype={"athlete": str})
    assert table["x"].iloc[0] == 1 / 3
    assert table["athlete"].iloc[0] == "07"
    assert "ä.csv" in (files_of(path) / "provenance.json").read_text(encoding="utf-8")
    assert not list(path.parent.rglob("*.part"))


def test_a_place_that_cannot_be_written_is_said(tmp_path):
    (tmp_path / "file").write_text("", encoding="utf-8")
    with pytest.raises(StudyError, match="cannot be written"):
        write_data(_data(), tmp_path / "file" / "below.html")


@pytest.mark.parametrize(
    ("title", "stem"),
    [("Spring block", "report_spring-block_d"), ("日本", "report_study_d"), ("../x", "report_x_d")],
)
def test_file_name_has_plain_characters_only(title, stem):
    assert file_stem(title, "d") == stem


# ---- words ---------------------------------------------------------------------------------


def test_a_sentence_is_never_shown_with_a_hole():
    words = Words({"a.b": "{n} jumps"})
    assert words.say("a.b", n=3) == "3 jumps"
    with pytest.raises(KeyError):
        words.say("a.b")
    with pytest.raises(KeyError, match="no sentence 'a.c'"):
        words.say("a.c")


def test_a_lab_can_replace_sentences(tmp_path):
    own = tmp_path / "words.toml"
    own.write_text('[titles]\ncoach = "Auf einen Blick"\n', encoding="utf-8")
    words = read_words(own)
    assert words.say("titles.coach") == "Auf einen Blick"
    assert words.say("titles.methods") == read_words().say("titles.methods")


@pytest.mark.parametrize(
    ("text", "message"),
    [
        ('[titles]\ncoch = "x"', "there is no sentence 'titles.coch'. Did you mean 'titles.coach'"),
        (
            '[coach]\ndone_days = "{wrong}"',
            r"coach.done_days has a gap {wrong}; its gaps are: after, before, days",
        ),
        ('[coach]\ndone_days = "50 % {"', "coach.done_days"),
        ("[titles\n", "no readable TOML"),
    ],
)
def test_wrong_words_are_named(tmp_path, text, message):
    own = tmp_path / "words.toml"
    own.write_text(text, encoding="utf-8")
    with pytest.raises(StudyError, match=message):
        read_words(own)


def test_no_sentence_speaks_of_significance_or_scores():
    words = read_words()
    for key in words.keys:
        sentence = " ".join(words.part(key.split(".")[0]).values()).lower()
        assert "significan" not in sentence
        assert "out of 100" not in sentence
        for adjective in ("very likely", "unlikely", "almost certainly", "responder "):
            assert adjective not in sentence


def test_cautions_say_everything_that_must_be_said():
    text = " ".join(read_words().part("cautions").values())
    for word in (
        "pain", "injury", "surgery", "concussion", "chest", "dizziness", "fever", "illness",
        "pregnancy", "clearance", "Stop".lower(), "landing" if "landing" in text else "land",
        "not diagnoses", "licensed", "consent", "guardian", "assent", "personal data", "local law",
        "verdict",
    ):  # fmt: skip
        assert word in text, word


# ---- methods written from the Method -------------------------------------------------------


@pytest.mark.parametrize(
    "field",
    ["weighing", "body_weight", "onset_rule", "onset_search", "takeoff_rule", "event_placing",
     "filter", "integration", "integration_start", "phase_model"],
)  # fmt: skip
def test_every_choice_has_its_sentence(field):
    allowed = next(f for f in dataclasses.fields(Method) if f.name == field).metadata["allowed"]
    words = read_words()
    texts = set()
    for value in allowed:
        try:
            method = Method().replace(**{field: value})
        except ValueError:  # a choice that contradicts another default
            method = Method(onset_rule="sd").replace(**{"onset_search": "forward", field: value})
        texts.add(method_text(words, method))
    assert len(texts) == len(allowed)


def test_methods_text_holds_the_numbers_used():
    method = Method(onset_rule="sd", onset_sd=4.0, weighing_duration_s=0.8, takeoff_newton=12.0)
    text = method_text(read_words(), method)
    assert "4 standard deviations" in text
    assert "800 ms" in text
    assert "12 N" in text
    names = [row[0] for row in changed_settings(method)]
    assert names == ["weighing duration s", "onset rule", "onset sd", "takeoff newton"]


def test_gaps_are_found():
    assert gaps("{a} of {b:.1f}, {{no}}") == {"a", "b"}


def test_papers_are_listed_once_in_their_fullest_form():
    from cmjlab.report.sections.closing import cited

    sources = [
        "Owen et al. 2014, J Strength Cond Res 28:1552 (abstract read)",
        "5 SD as in Owen et al. 2014; limits our own",
        "McGraw & Wong 1996, with its correction; Shrout & Fleiss 1979",
        "Pérez-Castilla et al. 2021, Meas Phys Educ Exerc Sci 25:227 (abstract read)",
        "common practice, no source",
        "Hopkins 2000, Sports Med 30:1 (from memory)",
        "Hothorn, Bretz & Westfall 2008, Biom J 50:346",
    ]
    assert cited(sources) == [
        "Hopkins 2000, Sports Med 30:1",
        "Hothorn, Bretz & Westfall 2008, Biom J 50:346",
        "McGraw & Wong 1996",
        "Owen et al. 2014, J Strength Cond Res 28:1552",
        "Pérez-Castilla et al. 2021, Meas Phys Educ Exerc Sci 25:227",
        "Shrout & Fleiss 1979",
    ]
