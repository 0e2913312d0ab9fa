"""The section of whole curves stands in the full report only and says what the result says."""

from __future__ import annotations

import shutil

from report_kit import text_of

from cmjlab.report.build.choices import Choices
from cmjlab.report.gather import gather
from cmjlab.study.study import Study


def test_the_full_report_shows_figure_sentences_and_table(kit, kit_full, kit_report):
    section = kit_full.section("curves")
    result = kit.compare_curves()
    text = text_of(section)
    assert all(
        str(s).replace("\u00a0", " ") in text.replace("\u00a0", " ") for s in result.sentences
    )
    assert "curves" in kit_full.figures
    assert kit_full.tables["curves"].equals(result.table)
    assert "curves" not in [s.key for s in kit_report.sections]
    assert "curves" not in kit_report.tables


def test_without_a_change_the_section_says_why(kit, tmp_path):
    folder = tmp_path / "early"
    shutil.copytree(kit.folder, folder, ignore=shutil.ignore_patterns("results"))
    for path in (folder / "recordings").glob(f"*{kit.after}*"):
        path.unlink()
    data = gather(Study.open(folder), draft=True, choices=Choices(full=True))
    text = text_of(data.section("curves"))
    assert "Whole curves are not compared: " in text
    assert "in both" in text or "no session after" in text
