"""The reliability section says which part of the noise is the lab's."""

from __future__ import annotations

from report_kit import text_of

import cmjlab as cj
from cmjlab.errors import StatsError
from cmjlab.report.build.analyses import analyse
from cmjlab.report.build.context import Context
from cmjlab.report.sections import lab
from cmjlab.words.catalog import read_words


def test_the_share_of_the_lab_is_told_and_is_that_of_lab_truth(kit, kit_report):
    found = cj.lab_truth(kit, "jump_height_m", profiles=10, repeats=6, most=20)
    shown = text_of(next(s for s in kit_report.sections if s.key == "reliability"))
    assert str(found.sentences[0]) in shown
    share = next(s for s in found.sentences if s.key in ("lab_truth.share", "lab_truth.no_share"))
    assert str(share).split(":", 1)[1] in shown  # the page shortens the label
    assert f"{found.settings['profiles'] * 6} simulated jumps" in shown


def test_what_cannot_be_told_has_its_reason(kit, monkeypatch):
    def refuse(*_, **__):
        raise StatsError("no noise to be seen")

    monkeypatch.setattr(lab, "lab_truth", refuse)
    blocks = lab.lab_paragraph(Context(kit, analyse(kit), read_words()))
    assert "no noise to be seen" in blocks[0].text
