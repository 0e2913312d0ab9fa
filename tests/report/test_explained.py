"""Every statistic that a section of the report shows is explained in its glossary."""

from __future__ import annotations

import ast

from places import PACKAGE

from cmjlab.catalog import STATISTICS
from cmjlab.report.sections.closing import EXPLAINED

SECTIONS = PACKAGE / "report" / "sections"


def test_every_statistic_that_a_section_asks_for_is_explained():
    asked = {
        node.value
        for path in SECTIONS.glob("*.py")
        if path.name != "closing.py"
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8")))
        if isinstance(node, ast.Constant) and node.value in STATISTICS
    }
    assert len(asked) > 10
    assert not asked - set(EXPLAINED), "add them to EXPLAINED in cmjlab/report/sections/closing.py"
    assert set(EXPLAINED) <= set(STATISTICS)
