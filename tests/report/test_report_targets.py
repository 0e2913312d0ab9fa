"""Targets on the first page: one row each, with the numbers and the verdict of the result."""

from __future__ import annotations

import re

import pandas as pd
import pytest
from report_kit import kit_study, text_of

import cmjlab as cj
from cmjlab.report.build.analyses import analyse
from cmjlab.report.gather import gather
from cmjlab.report.render.docx import render_docx
from cmjlab.report.render.html import render_html
from cmjlab.report.write import files_of

ROWS = (
    "subgroup,metric,wanted,amount,why\n"
    "jump,jump_height_m,more,0.01,higher\n"
    "jump,time_to_takeoff_s,unchanged,0.5,as quick as before\n"
    "usual,jump_height_m,unchanged,0.0001,no change\n"
)


@pytest.fixture(scope="module")
def study(tmp_path_factory) -> cj.Study:
    folder = kit_study(tmp_path_factory.mktemp("targets")).folder
    (folder / "targets.csv").write_text(ROWS, encoding="utf-8")
    text = (folder / "study.toml").read_text(encoding="utf-8")
    text = text.replace("[plan]\n", '[plan]\ngroups_formed = "random"\n', 1)
    (folder / "study.toml").write_text(text, encoding="utf-8")
    return cj.Study.open(folder)


@pytest.fixture(scope="module")
def data(study):
    return gather(study)


def table_of(data):
    return next(b for b in data.section("coach").blocks if b.kind == "table")


def test_one_row_per_target_with_the_numbers_of_the_result(study, data):
    answers = analyse(study).results["targets"].points["targets"]
    block = table_of(data)
    assert study.plan.groups_formed == "random"
    assert len(block.rows) == len(block.pictures) == len(answers) == 3
    for row, answer in zip(block.rows, answers.itertuples(), strict=True):
        assert row[0].startswith(f"{answer.subgroup}: ")
        unit = 100 if answer.metric == "jump_height_m" else 1000
        digits = 1 if unit == 100 else 0
        for value in (answer.change, answer.change_low, answer.change_high):
            assert f"{abs(unit * value):.{digits}f}" in row[3]
        assert row[4] == f"{answer.athletes_beyond} of {answer.athletes_known}"
    assert block.rows[2][3].endswith("within the group")  # the comparison group itself
    assert block.rows[0][1] == "1.0 cm more"
    assert block.rows[1][2] == "unchanged, as wanted"


def test_every_statement_names_group_and_measure(data):
    page = text_of(data.section("coach"))
    assert "jump: " in page
    assert "time to take-off stayed unchanged, as wanted" in page
    advice = next(b for b in data.section("coach").blocks if b.kind == "items" and b.ordered)
    about = [i for i in advice.items if "next block" in i or "Keep what" in i or "Judge" in i]
    assert about
    assert all(re.search("jump height|time to take-off", i) for i in about)
    assert "targets.csv" not in page


def test_the_answers_are_written_as_a_table_beside_the_report(study, data, tmp_path):
    assert list(data.tables["targets"]["verdict"])
    page = cj.write_report(study, tmp_path)
    written = pd.read_csv(files_of(page) / "targets.csv")
    assert written["subgroup"].tolist() == ["jump", "jump", "usual"]
    assert set(written["basis"]) == {"against", "within"}


def test_a_report_does_not_replace_the_tables_that_a_person_wrote(study):
    page = cj.write_report(study, study.folder / "report.html")
    assert (files_of(page) / "targets.csv").is_file()
    assert (study.folder / "targets.csv").read_text(encoding="utf-8") == ROWS


def test_pictures_stand_in_the_table_of_page_and_word(data):
    page = render_html(data)
    cells = re.findall(r'<td role="cell" class="picture"[^>]*><img [^>]*alt="([^"]*)"', page)
    assert len(cells) == 3
    assert all("solid line: no change" in alt for alt in cells)
    word = render_docx(data)
    import io

    from docx import Document

    tables = Document(io.BytesIO(word)).tables
    small = next(t for t in tables if len(t._tbl.findall(".//{*}drawing")) == 3)
    assert len(small.rows) == 4
    described = small._tbl.findall(".//{*}docPr")
    assert all("solid line" in d.get("descr") for d in described)


def test_a_study_without_targets_is_asked_for_them_in_one_line(kit_report):
    page = text_of(kit_report.section("coach"))
    assert page.count("targets.csv") == 1
    assert "targets" not in kit_report.tables


def test_nobody_is_said_to_have_been_told_what_nobody_stated(data, kit_report):
    for report in (data, kit_report):
        said = " ".join(text_of(s) for s in report.sections)
        for claim in ("as usual", "as planned", "were planned", "groups were not formed at random"):
            assert claim not in said


def test_targets_that_cannot_be_answered_say_why(study, tmp_path):
    other = kit_study(tmp_path / "own", sessions=("base1", "post")).folder
    (other / "targets.csv").write_text(ROWS.replace("jump,", "nobody,"), encoding="utf-8")
    text = (other / "athletes.csv").read_text(encoding="utf-8")
    (other / "subgroups.csv").write_text(
        "subgroup,rule,athlete,reason\nnobody,else,,\n", encoding="utf-8"
    )
    assert "nobody" not in text
    page = text_of(gather(cj.Study.open(other)).section("coach"))
    assert "nobody of nobody has both sessions" in page


def test_the_demo_names_time_to_takeoff_as_reached_and_depth_as_its_row_says(tmp_path):
    demo = cj.Study.open(cj.demo_study(), tmp_path)
    data = gather(demo)
    rows = {row[0]: row for row in table_of(data).rows}
    assert rows["fast_braking: time to take-off"][1:3] == ("40 ms less", "reached")
    assert rows["fast_braking: countermovement depth"][2] == "not shown to be unchanged"
    said = data.section("coach").blocks[3].items
    assert said[1].startswith("fast_braking: time to take-off did what was wanted (−")
