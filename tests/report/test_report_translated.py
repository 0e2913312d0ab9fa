"""A lab can translate the report: whatever a person reads on the page comes from the words."""

from __future__ import annotations

import re
import string

import pytest
from report_kit import kit_study

import cmjlab as cj
from cmjlab.catalog import CHECKS, METRICS, STATISTICS
from cmjlab.report.gather import gather
from cmjlab.words.catalog import families

MARK = "¤"
#: A run of three words in our own language.
_ENGLISH = re.compile(r"\b[A-Za-z]{2,}(?:,? [a-z]{2,}){2,}")
#: Blocks of text that a lab cannot translate yet: figures speak English, papers their titles.
_PASSED = {"figure"}
_PASSED_SECTIONS = {"references"}


def _marked(sentence: str) -> str:
    """Return the gaps of a sentence with a mark in place of its words."""
    fields = [
        "{" + name + (f":{spec}" if spec else "") + "}"
        for _, name, spec, _ in string.Formatter().parse(sentence)
        if name
    ]
    return MARK + MARK.join(fields) + MARK if fields else MARK


def _quoted(text: str) -> str:
    return '"' + text.replace("\\", "\\\\").replace('"', '\\"') + '"'


def _translation() -> str:
    sections: dict[str, list[str]] = {}
    for family in families().values():
        for key, sentence in family.items():
            section, name = key.split(".", 1)
            text = "xx" if key == "page.language" else _marked(sentence)
            sections.setdefault(section, []).append(f"{_quoted(name)} = {_quoted(text)}")
    for section, names in (("label", METRICS), ("statistic", STATISTICS)):
        sections[section] = [f"{_quoted(name)} = {_quoted(MARK)}" for name in names]
    return "\n".join(f"[{s}]\n" + "\n".join(lines) for s, lines in sections.items())


@pytest.fixture(scope="module", params=["random", "other"])
def data(request, tmp_path_factory):
    study = kit_study(tmp_path_factory.mktemp("translated"))
    (study.folder / "words.toml").write_text(_translation(), encoding="utf-8")
    plan = study.plan.replace(groups_formed=request.param)
    return gather(cj.Study.open(study.folder).with_choices(plan=plan))


def _texts(part) -> list[str]:
    if isinstance(part, str):
        return [part]
    return [t for p in part for t in _texts(p)] if isinstance(part, tuple) else []


def _untranslated(data) -> set[str]:
    """Return texts of the study and of the rules of quality, which are not words of the report."""
    known = {c.label for c in CHECKS.values()} | {c.test for c in CHECKS.values()}
    known |= {c.remedy.rstrip(".") for c in CHECKS.values()}
    known |= set(data.tables["checks"]["reason"]) | set(data.tables["excluded_jumps"]["reason"])
    return known | set(data.tables["missing_tests"]["reason"])


def test_no_sentence_of_the_page_is_left_in_our_language(data):
    known = sorted(_untranslated(data), key=len, reverse=True)
    left = []
    for section in data.sections:
        for block in section.blocks:
            if block.kind in _PASSED or section.key in _PASSED_SECTIONS:
                continue
            fields = ("text", "title", "note", "items", "pairs", "columns", "rows", "caption")
            for text in _texts(tuple(getattr(block, f, "") for f in fields)):
                rest = text
                for own in known:
                    rest = re.sub(re.escape(own), "", rest, flags=re.I)
                left += [f"{section.key}: {found.group()}" for found in _ENGLISH.finditer(rest)]
    assert not left, "\n".join(dict.fromkeys(left))


def test_the_test_sees_a_sentence_that_is_left():
    assert _ENGLISH.search("¤ The interval includes zero ¤")
    assert not _ENGLISH.search("¤+1.2 cm¤ base1 (2026-08-31), 10 strength")


def test_captions_titles_and_sentences_to_copy_are_translated(data):
    for section in data.sections:
        assert MARK in section.title
        for block in section.blocks:
            if block.kind == "figure":
                assert MARK in block.caption
    for reader in ("coach", "colleague", "thesis"):
        texts = data.tables["sentences"][reader]
        assert texts.str.contains(MARK).all()
        assert not texts.str.contains(_ENGLISH.pattern).any()
