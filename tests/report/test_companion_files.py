"""What comes along with the report, as far as the study has it."""

from __future__ import annotations

import pytest
from report_kit import kit_study

from cmjlab.report.gather import gather
from cmjlab.report.write import files_of, write_data


@pytest.mark.parametrize(
    ("sessions", "check"),
    [(("base1",), False), (("base1", "base2"), True), (("base1", "post"), True)],
)
def test_drafts_come_with_what_there_is(tmp_path, sessions, check, undrawn):
    study = kit_study(tmp_path, sessions=sessions, athletes=3)
    page = write_data(gather(study, draft=True), tmp_path / "out")
    names = {p.name for p in files_of(page).iterdir()}
    assert {"results.xlsx", "references.bib", "methods.txt"} <= names
    assert ("check_in_R.R" in names) is check
    assert not [n for n in names if n.endswith(".part")]


def test_methods_and_references_are_those_of_the_page(tmp_path, kit_report):
    data = kit_report
    path = write_data(data, tmp_path / "out")
    page = path.read_text(encoding="utf-8")
    methods = (files_of(path) / "methods.txt").read_text(encoding="utf-8")
    paragraph = data.section("methods").blocks[0].text
    assert paragraph in methods
    assert paragraph in page
    assert "@article{McGraw1996," in (files_of(path) / "references.bib").read_text("utf-8")
