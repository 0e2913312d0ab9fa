"""The section of whole curves stands in the full report only and says what the result says."""

from __future__ import annotations

import shutil
from types import SimpleNamespace

from report_kit import text_of

from cmjlab.report.build.choices import Choices
from cmjlab.report.build.context import Context
from cmjlab.report.gather import gather
from cmjlab.report.sections.curves import curves_section
from cmjlab.study.demo.demo import demo_study
from cmjlab.study.study import Study
from cmjlab.words.catalog import read_words


def test_the_full_report_shows_figure_sentences_and_table(kit, kit_full, kit_report):
    section = kit_full.section("curves")
    result = kit.compare_curves()
    text = text_of(section)
    assert str(result.sentences[-1]) in text  # the athletes
    for group in result.settings["groups"]:
        assert f"{group} (n = {int(result.row('curve_largest_t', group=group)['n'])})" in text
    assert "curves" in kit_full.figures
    assert kit_full.tables["curves"].equals(result.table)
    assert "curves" not in [s.key for s in kit_report.sections]
    assert "curves" not in kit_report.tables


def test_groups_that_say_the_same_stand_in_one_sentence(tmp_path):
    """The demo study: neither the first comparison nor two of its groups show a place."""
    folder = tmp_path / "demo"
    shutil.copytree(demo_study(), folder, ignore=shutil.ignore_patterns("results"))
    study = Study.open(folder)
    analyses = SimpleNamespace(jumps=study.measure())
    section = curves_section(Context(study, analyses, read_words(), Choices(full=True)))
    lines = [b for b in section.blocks if b.kind == "items"][0].items
    assert len(lines) == 5
    assert lines[0].startswith(
        "Force per body mass along the jump, base2 to post, fast_braking compared with usual"
    )
    assert "includes zero everywhere for strength (n = 10, p = " in lines[3]
    assert "; usual (n = 9, p = " in lines[3]


def test_without_a_change_the_section_says_why(kit, tmp_path):
    folder = tmp_path / "early"
    shutil.copytree(kit.folder, folder, ignore=shutil.ignore_patterns("results"))
    for path in (folder / "recordings").glob(f"*{kit.after}*"):
        path.unlink()
    data = gather(Study.open(folder), draft=True, choices=Choices(full=True))
    text = text_of(data.section("curves"))
    assert "Whole curves are not compared: " in text
    assert "in both" in text or "no session after" in text
