"""Block sheets and athletes' pages: shared and different, printed clean, nothing that judges."""

from __future__ import annotations

import re

import numpy as np
import pandas as pd
import pytest
from report_kit import CHROMIUM, kit_study, printed

import cmjlab as cj
from cmjlab.errors import ArgumentError, StudyError
from cmjlab.report.blocks.rule_words import rule_words
from cmjlab.report.build.subgroups import strength_cut, study_subgroups
from cmjlab.report.sheets.athlete import athlete_page, gather_material, write_athlete_summaries
from cmjlab.report.sheets.block import block_sheets, overview, write_block_sheets
from cmjlab.stats.subgroups.rules import read_rules
from cmjlab.words.catalog import read_words


def block(*rows: tuple[str, ...]) -> pd.DataFrame:
    columns = ["exercise", "subgroup", "start_position", "range", "intent", "load", "sets", "reps"]
    return pd.DataFrame(rows, columns=columns)


TWO = block(
    ("squat", "weak", "standing", "level", "push", "80-90 % 1RM", "4", "3-5"),
    ("squat", "usual", "standing", "level", "steady", "70 % 1RM", "3", "6"),
    ("hop", "all", "standing", "short", "quick", "body weight", "2", "5"),
    ("hop", "usual", "standing", "short", "quick", "body weight", "3", "5"),
    ("pull", "weak", "bar on blocks", "full", "push", "90 %", "4", ""),
)


# ---- what is shared, what differs ---------------------------------------------------------


def test_shared_and_different_cells():
    weak, usual = block_sheets(TWO, ["weak", "usual"])
    squat = weak.lines[0]
    assert [c.shared for c in squat.cells] == [True, True, False, False, False]
    assert [c.content for c in squat.cells][3:] == ["80–90 % 1RM", "4 × 3–5"]
    hop = {s.subgroup: s.lines[1] for s in (weak, usual)}
    assert hop["weak"].cells[-1].content == "2 × 5"  # the row for everybody
    assert hop["usual"].cells[-1].content == "3 × 5"  # its own row counts first
    assert hop["weak"].cells[0].shared
    assert weak.lines[2].only
    assert weak.lines[2].cells[-1].content == "4"
    assert not squat.only
    assert len(usual.lines) == 2


def test_the_overview_says_what_all_share():
    exercises = overview(block_sheets(TWO, ["weak", "usual"]))
    name, common, apart = exercises[0]
    assert (name, common) == ("squat", ["standing", "level"])
    assert apart == [["push", "80–90 % 1RM", "4 × 3–5"], ["steady", "70 % 1RM", "3 × 6"]]
    assert exercises[2][2][1] == []


@pytest.mark.parametrize(
    ("table", "message"),
    [
        (TWO.iloc[:0], "block.csv has no rows"),
        (TWO.assign(subgroup="strong"), "there is no subgroup 'strong'; subgroups are weak, usual"),
        (pd.concat([TWO, TWO.iloc[:1]]), "'squat' stands twice for 'weak'"),
    ],
)
def test_a_block_that_does_not_fit_is_named(table, message):
    with pytest.raises(StudyError, match=message):
        block_sheets(table, ["weak", "usual"])


def test_rules_in_words_of_a_coach():
    rule = "relative_strength < 1.32 and time_to_takeoff_s >= 0.77 and position = wing"
    assert rule_words(rule, read_words()) == (
        "relative strength below 1.32, time to take-off at least 770 ms and position is wing"
    )
    assert rule_words("countermovement_depth_m > median", read_words()) == (
        "countermovement depth above median"
    )


def test_the_cut_is_the_declared_one():
    table = pd.DataFrame(
        [("a", "relative_strength < median"), ("a", "relative_strength < 1.4"), ("b", "else")],
        columns=["subgroup", "rule"],
    )
    assert strength_cut(read_rules(table)) == 1.4
    assert strength_cut(read_rules(table.iloc[[0, 2]])) is None


# ---- a study ------------------------------------------------------------------------------


@pytest.fixture(scope="module")
def study(tmp_path_factory) -> cj.Study:
    place = kit_study(tmp_path_factory.mktemp("sheets"), athletes=10)
    folder = place.folder
    (folder / "subgroups.csv").write_text(
        "subgroup,rule,athlete,reason\nlow,jump_height_m < median,,height first\nusual,else,,as before\n"
        "usual,,A00,comes back <soon>\n",
        encoding="utf-8",
    )
    lines = [
        "exercise,subgroup,start_position,range,intent,load,sets,reps",
        "squat,low,standing,level,push & stop,80 %,4,3-5",
        "squat,usual,standing,level,steady,70 %,3,6",
    ]
    (folder / "block.csv").write_text("\n".join(lines) + "\n", encoding="utf-8")
    (folder / "targets.csv").write_text(
        "subgroup,metric,wanted,amount,why\nlow,jump_height_m,more,0.02,<height> first.\n"
        "low,countermovement_depth_m,unchanged,,\n",
        encoding="utf-8",
    )
    (folder / "names.csv").write_text("athlete,name\nA01,Invented Person\n", encoding="utf-8")
    return cj.Study.open(folder)


@pytest.fixture(scope="module")
def groups(study):
    return study_subgroups(study)


def test_every_result_or_its_reason(groups):
    assert set(groups.results) | set(groups.reasons) >= {
        "placement",
        "threshold",
        "measures",
        "split",
        "standing",
    }
    assert "cut of relative_strength" in groups.reasons["threshold"]
    assert groups.session == "base1"
    assert groups.subgroups == ["low", "usual"]
    assert "A00" in groups.members("usual")
    assert len(groups.differences) > 0  # the roster has other groups than the rules


def test_sheets_are_self_contained_and_escaped(study, groups, tmp_path):
    path = write_block_sheets(study, tmp_path / "sheet.html", groups=groups)
    text = path.read_text(encoding="utf-8")
    assert text.count('class="page"') == 3
    assert "push &amp; stop" in text
    assert "A00 was moved here by a person: comes back &lt;soon&gt;." in text
    assert "<script" not in text
    assert not re.search(r"https?://", text)
    assert 'class="own">80 %' in text
    aim = "Target: Jump height (take-off velocity), more by at least 2.0 cm. Why: &lt;height&gt; first."
    assert f"<li>{aim}</li>" in text
    assert text.count("Target: ") == 2
    assert 'class="same">standing' in text
    assert "no verdict on a person" in text


@pytest.fixture(scope="module")
def material(study, groups):
    return gather_material(study, groups)


def test_a_page_has_result_making_change_noise_and_group(material):
    page = athlete_page(material, "A01")
    assert page.columns[1:4] == ("base1", "base2", "post")
    rows = {r[0]: r for r in page.rows}
    height = rows["Jump height (take-off velocity) (cm)"]
    table = material.groups.sessions
    mine = table[(table["athlete"] == "A01") & (table["session"] == "base1")]["jump_height_m"].iloc[
        0
    ]
    assert height[1] == f"{100 * mine:.1f}"
    assert height[4].startswith("± ")
    assert "times body weight" in page.how[0]
    assert "interval" in page.change[0]
    assert page.place[0].startswith(("low", "usual"))
    assert "A01" in page.alt


def test_who_has_no_second_test_gets_a_sentence(material):
    page = athlete_page(material, "A09")
    assert page.change == ("No change can be given: a test in base2 or post is missing.",)


def test_a_page_for_nobody_is_refused(material):
    with pytest.raises(ArgumentError, match="there is no 'Z1'; athletes are A00"):
        athlete_page(material, "Z1")


def test_pages_judge_nobody_and_show_names_only_when_given(study, groups, tmp_path):
    paths = write_athlete_summaries(
        study, tmp_path / "plain", groups=groups, athletes=["A01", "A02"]
    )
    for path in paths:
        text = path.read_text(encoding="utf-8").split("</style>")[1]
        assert "Invented Person" not in text
        plain = re.sub(r'src="data:[^"]+"', "", text).lower()
        for word in (
            "score of",
            "out of 100",
            "grade",
            "traffic",
            "quadrant",
            "good",
            "poor",
            "weak point",
            "green",
            "red",
        ):
            assert not re.search(rf"\b{word}\b", plain), word
        assert not re.search(r"https?://", plain)
        assert "<script" not in plain
    named = write_athlete_summaries(
        study, tmp_path / "named", groups=groups, athletes=["A01"], names={"A01": "Invented Person"}
    )
    assert "Invented Person" in named[0].read_text(encoding="utf-8")


def test_the_command_prints_evidence_placements_and_writes_the_record(study, tmp_path):
    from typer.testing import CliRunner

    from cmjlab.cli.app import app

    done = CliRunner().invoke(app, ["subgroups", str(study.folder), "--no-pages"])
    assert done.exit_code == 0, done.output
    assert done.output.index("Evidence first") < done.output.index("How certain each placement is")
    assert "low likely" in done.output
    assert 'selected_on = ["jump_height_m"]' in done.output
    assert "column group of athletes.csv differs" in done.output
    written = pd.read_csv(study.results / "subgroups.csv")
    assert set(written["subgroup"]) == {"low", "usual"}
    assert (study.results / "subgroups_record.json").is_file()
    assert not (study.results / "block_sheets.html").exists()


def test_a_study_without_rules_says_what_to_write(tmp_path):
    from typer.testing import CliRunner

    from cmjlab.cli.app import app

    plain = kit_study(tmp_path, sessions=("base1",), athletes=4)
    done = CliRunner().invoke(app, ["subgroups", str(plain.folder)])
    assert done.exit_code == 2
    assert "write subgroups.csv with columns subgroup, rule, athlete, reason" in done.output


# ---- printed ------------------------------------------------------------------------------


@pytest.mark.browser
@pytest.mark.skipif(CHROMIUM is None, reason="no Chromium")
def test_sheets_print_one_page_per_subgroup_and_one_per_athlete(study, groups, tmp_path):
    sheets = write_block_sheets(study, tmp_path / "sheet.html", groups=groups)
    page = write_athlete_summaries(study, tmp_path, groups=groups, athletes=["A01"])[0]
    for path, count in ((sheets, 3), (page, 1)):
        data = printed(path, tmp_path)
        assert len(re.findall(rb"/Type\s*/Page\b", data)) == count
        boxes = {
            tuple(map(float, b.split())) for b in re.findall(rb"/MediaBox\s*\[([^\]]+)\]", data)
        }
        assert all(np.allclose(b, (0, 0, 595, 842), atol=1.5) for b in boxes)  # A4 in points
