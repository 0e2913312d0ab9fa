"""The glossary page holds the whole catalog, and nothing else."""

from __future__ import annotations

import html
import re

import pytest

from cmjlab.catalog import CHECKS, METRICS, STATISTICS
from cmjlab.errors import ArgumentError
from cmjlab.report.render.glossary import PARTS, glossary_rows, write_glossary
from cmjlab.words.catalog import read_words


def test_every_entry_stands_once_with_its_source(tmp_path):
    page = write_glossary(tmp_path / "glossary.html").read_text(encoding="utf-8")
    keys = re.findall(r"<code>(.*?)</code>", page)
    assert keys == [*METRICS, *STATISTICS, *CHECKS]
    for entry in (*METRICS.values(), *STATISTICS.values(), *CHECKS.values()):
        assert html.escape(entry.reference, quote=True).replace("&#x27;", "&#39;") in page
    assert "from memory" not in page
    assert "abstract read" not in page
    assert "http" not in page
    assert " src=" not in page


def test_rows_fit_their_columns_and_have_no_hole():
    for title, rows in glossary_rows(read_words()).items():
        assert {len(r) for r in rows} == {len(PARTS[title])}
        place = PARTS[title].index("source")
        assert all(r[0] and r[1] and r[3] and r[place] for r in rows)


def test_markdown_keeps_one_line_per_entry(tmp_path):
    text = write_glossary(tmp_path / "glossary.md").read_text(encoding="utf-8")
    rows = [line for line in text.splitlines() if line.startswith("| ")]
    assert len(rows) == len(METRICS) + len(STATISTICS) + len(CHECKS) + 2 * len(PARTS)


def test_other_endings_are_refused(tmp_path):
    with pytest.raises(ArgumentError, match=r"\.html or \.md"):
        write_glossary(tmp_path / "glossary.pdf")
