"""The block sheets of a study with maxima: kilos, weeks, names on request, one page per person."""

from __future__ import annotations

import re

import pytest
from report_kit import CHROMIUM, kit_study, printed

import cmjlab as cj
from cmjlab.report.build.subgroups import study_subgroups
from cmjlab.report.sheets.block import block_sheets, filled_sheets, write_block_sheets
from cmjlab.report.sheets.block_each import write_person_sheets
from cmjlab.report.sheets.block_kilos import maxima
from cmjlab.study.check_study import check_study
from cmjlab.study.folder.block_settings import BlockSettings
from cmjlab.study.folder.create import create_study
from cmjlab.study.folder.study_folder import StudyFolder
from cmjlab.words.catalog import read_words

BLOCK = """exercise,subgroup,start_position,range,intent,load,sets,reps,weeks,percent_of
back squat,low,standing,level,push,80-90 % 1RM,4,3-5,,
back squat,usual,standing,level,steady,70 % 1RM,3,6,1-2,
back squat,usual,standing,level,steady,75-80 % 1RM,3,5,3-4,
front squat,low,standing,level,steady,60 % 1RM,3,6,,
hop,all,standing,short,quick,body weight,2,5,,
"""
MEASURES = """athlete,session,measure,value,unit,how
A01,base1,squat_1rm,90,kg,tested
A01,base2,squat_1rm,100,kg,tested
A01,post,squat_1rm,200,kg,tested
A02,base1,squat_1rm,180,lb,tested
A03,post,squat_1rm,80,kg,tested
A04,base2,squat_1rm,22,kg,estimated
"""


@pytest.fixture(scope="module")
def study(tmp_path_factory) -> cj.Study:
    folder = kit_study(tmp_path_factory.mktemp("kilos"), athletes=10).folder
    (folder / "block.csv").write_text(BLOCK, encoding="utf-8")
    (folder / "measures.csv").write_text(MEASURES, encoding="utf-8")
    (folder / "subgroups.csv").write_text(
        "subgroup,rule,athlete,reason\nlow,else,,height first\nusual,,A01,own wish\n",
        encoding="utf-8",
    )
    (folder / "names.csv").write_text("athlete,name\nA04,Invented Person\n", encoding="utf-8")
    toml = folder / "study.toml"
    toml.write_text(
        toml.read_text(encoding="utf-8") + "\n[block]\nweeks = 4\nplates_kg = [20, 10, 5, 2.5]\n",
        encoding="utf-8",
    )
    return cj.Study.open(folder)


@pytest.fixture(scope="module")
def groups(study):
    return study_subgroups(study)


@pytest.fixture(scope="module")
def sheets(study, groups):
    return {s.subgroup: s for s in filled_sheets(study, groups, read_words(), {})}


def test_a_maximum_is_the_latest_before_the_block_and_in_kg(study):
    found, unusable = maxima(study, "squat_1rm")
    assert {a: (m.kg, m.session) for a, m in found.items()} == {
        "A01": (100.0, "base2"),  # 200 was tested after the block
        "A04": (22.0, "base2"),
    }
    assert unusable == {"A02"}


def test_weeks_take_the_percentages_of_their_rows(sheets):
    (squat,) = sheets["usual"].kilos
    assert squat.percents == (70.0, 70.0, 75.0, 80.0)
    (row,) = [r for r in squat.rows if r.athlete == "A01"]
    assert [w.kg for w in row.weeks] == [70.0, 70.0, 75.0, 80.0]  # steps of 5 kg


def test_who_has_no_kilos_and_why(sheets):
    squat, front = sheets["low"].kilos
    why = {r.athlete: r.reason for r in squat.rows}
    assert (why["A02"], why["A03"], why["A04"]) == ("not_in_kg", "no_maximum", "")
    assert front.measure is None
    assert all(r.maximum is None for r in front.rows)
    (light,) = [r for r in squat.rows if r.athlete == "A04"]
    assert light.weeks[0].kg is None  # 17.6 kg: the bar is heavier


def test_pages_say_kilos_reasons_and_what_to_do(study, groups, tmp_path):
    text = write_block_sheets(study, tmp_path / "s.html", groups=groups).read_text("utf-8")
    assert "weeks 1–2: 70 % 1RM; weeks 3–4: 75–80 % 1RM" in text
    assert '<td class="num">75 <span class="tick"></span></td>' in text
    assert '<td class="num">17* <span class="tick"></span></td>' in text
    assert "* Lighter than the bar of 20 kg" in text
    assert "no squat 1RM up to the start of the block" in text
    assert "squat 1RM is not in kg" in text
    assert "write which 1RM counts into column percent_of" in text
    assert "a load that leaves two or three good repetitions" in text
    assert "none with pain" in text
    assert "hang up only what everybody named on the page agreed to" in text
    assert "Invented Person" not in text


def test_what_concerns_one_person_stands_with_the_coaches_only(study, groups, tmp_path):
    text = write_block_sheets(study, tmp_path / "s.html", groups=groups).read_text("utf-8")
    first, *pages = re.split(r'<section class="page', text)[1:]
    assert "A01 was moved here by a person: own wish." in first
    assert not any("own wish" in page for page in pages)


def test_one_page_per_person_with_names_when_asked(study, groups, tmp_path):
    plain = write_person_sheets(study, tmp_path / "e.html", groups=groups).read_text("utf-8")
    assert plain.count('<section class="page"') == len(
        groups.members("low") + groups.members("usual")
    )
    assert "Invented Person" not in plain
    named = write_person_sheets(
        study, tmp_path / "n.html", groups=groups, names={"A04": "Invented Person"}
    ).read_text("utf-8")
    (page,) = [p for p in named.split("<section")[1:] if "Invented Person" in p]
    assert "A04" not in page
    assert page.count('class="tick"') == 4 * 3  # three exercises, four weeks
    assert re.search(r"<td>17\*<br><span class=\"tick\">", page)


def test_a_row_for_some_weeks_beside_one_for_all_is_refused():
    import pandas as pd

    rows = pd.DataFrame(
        [("squat", "a", "80 %", ""), ("squat", "a", "90 %", "3-4")],
        columns=["exercise", "subgroup", "load", "weeks"],
    )
    with pytest.raises(cj.CmjlabError, match="'squat' stands twice for 'a'; keep one row"):
        block_sheets(rows, ["a"])


@pytest.mark.parametrize(
    ("line", "code", "severity"),
    [
        ("squat,low,,,,90-80 % 1RM,,,,", "impossible_percent", "fail"),
        ("squat,low,,,,180 % 1RM,,,,", "impossible_percent", "fail"),
        ("front squat,low,,,,80 % 1RM,,,,", "no_maximum", "warn"),
        ("squat,low,,,,80 % 1RM,,,,press_1rm", "no_maximum", "warn"),
        ("squat,low,,,,80 % 1RM,,,soon,", "bad_weeks", "fail"),
        ("squat,low,,,,80 % 1RM,,,3-9,", "week_after_block", "warn"),
        (
            "back squat,low,,,,80 % 1RM,,,1-4,\nback squat,low,,,,80 % 1RM,,,4,",
            "weeks_twice",
            "fail",
        ),
    ],
)
def test_the_check_names_the_cell(tmp_path, line, code, severity):
    folder = tmp_path / "s"
    create_study(folder)
    (folder / "block.csv").write_text(BLOCK.splitlines()[0] + "\n" + line + "\n", encoding="utf-8")
    (folder / "measures.csv").write_text(MEASURES, encoding="utf-8")
    toml = folder / "study.toml"
    toml.write_text(toml.read_text("utf-8").replace("# weeks = 7", "weeks = 4"), encoding="utf-8")
    problems = check_study(folder)
    found = problems[(problems["file"] == "block") & (problems["code"] == code)]
    assert list(found["severity"]) == [severity]
    assert found["remedy"].iloc[0]


@pytest.mark.parametrize(
    ("text", "message"),
    [
        ("plates_kg = []", "plates_kg: found .*; a list of masses above 0"),
        ('plates_kg = ["20"]', "plates_kg: found"),
        ("plates_kg = [20, -5]", "plates_kg: found"),
        ("bar_kg = 200", "bar_kg: found 200, allowed is 0.0 to 60.0 kg"),
        ("plate_kg = [20]", "there is no setting 'plate_kg'.*plates_kg"),
        ('maximum_until = "base9"', "base9"),
    ],
)
def test_bar_and_plates_are_checked(tmp_path, text, message):
    folder = tmp_path / "s"
    create_study(folder)
    toml = folder / "study.toml"
    toml.write_text(toml.read_text("utf-8").replace("[block]\n", f"[block]\n{text}\n"), "utf-8")
    problems = check_study(folder)
    part = problems[problems["column"].str.startswith("block")]
    assert list(part["severity"]) == ["fail"]
    assert re.search(message, part["found"].iloc[0])


def test_weeks_come_from_the_plan_where_the_block_says_nothing(study, tmp_path):
    assert study.settings.weeks_of_block == 4
    folder = tmp_path / "s"
    create_study(folder, settings={"plan": {"block_weeks": 6.0}})
    settings = StudyFolder.read(folder).settings
    assert settings.weeks_of_block == 6
    assert settings.block == BlockSettings()


@pytest.mark.browser
@pytest.mark.skipif(CHROMIUM is None, reason="no Chromium")
def test_one_sheet_of_paper_a_subgroup_and_a_person(study, groups, tmp_path):
    for path, pages in (
        (write_block_sheets(study, tmp_path / "s.html", groups=groups), 3),
        (write_person_sheets(study, tmp_path / "e.html", groups=groups), 10),
    ):
        assert len(re.findall(rb"/Type\s*/Page\b", printed(path, tmp_path))) == pages
