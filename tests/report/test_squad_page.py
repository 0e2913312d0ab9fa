"""The page of a squad: every athlete once, numbers of the result, bars that a print shows."""

from __future__ import annotations

import re
import shutil

import pandas as pd
import pytest
from report_kit import text_of
from typer.testing import CliRunner

import cmjlab as cj
from cmjlab.cli.app import app
from cmjlab.plots.change_bar import change_bar
from cmjlab.report.build.choices import Choices
from cmjlab.report.build.squad import study_squad
from cmjlab.report.squad_page import squad_page, write_squad_page

REFERENCE = 'metric,sex,level,mean,sd,n,source\njump_height_m,,under 19,0.30,0.05,40,"Author 2020, table 1"\n'


@pytest.fixture(scope="module")
def study(kit, tmp_path_factory):
    """The kit with rules, one of them with a relative cut, and a reference."""
    folder = tmp_path_factory.mktemp("squad") / "kit"
    shutil.copytree(kit.folder, folder, ignore=shutil.ignore_patterns("results"))
    (folder / "subgroups.csv").write_text(
        "subgroup,rule,athlete,reason\njump,jump_height_m < median,,height first\nusual,else,,\n",
        encoding="utf-8",
    )
    (folder / "reference.csv").write_text(REFERENCE, encoding="utf-8")
    return cj.Study.open(folder)


@pytest.fixture(scope="module")
def page(study):
    return squad_page(study, date="2026-11-02")


def test_every_athlete_has_one_row_with_the_numbers_of_the_result(study, page):
    table = next(b for b in page.section("squad").blocks if b.kind == "table")
    frame = study_squad(study).places.points["squad"].query("metric == 'jump_height_m'")
    frame = frame.set_index("athlete")
    assert sorted(r[0] for r in table.rows) == sorted(frame.index)
    height = table.columns.index("Height (cm)")
    place = table.columns.index("Height percentile (likely range)")
    for row in table.rows:
        mine = frame.loc[row[0]]
        assert row[height] == f"{100 * mine['value']:.1f}"
        numbers = [int(x) for x in re.findall(r"\d+", row[place])]
        expected = [mine["percentile"], mine["percentile_low"], mine["percentile_high"]]
        assert numbers == [int(f"{x:.0f}") for x in expected]


def test_the_reference_is_named_with_level_and_source(page):
    text = text_of(page.section("squad"))
    assert "Author 2020, table 1, under 19" in text
    assert "jump height" in text


def test_bars_show_change_against_own_noise(study, page):
    table = next(b for b in page.section("squad").blocks if b.kind == "table")
    changes = (
        study_squad(study).changes.rows("individual_change").query("metric == 'jump_height_m'")
    )
    changes = changes.set_index("athlete")
    assert len(table.pictures) == len(table.rows)
    for row, bar in zip(table.rows, table.pictures, strict=True):
        if row[0] not in changes.index or pd.isna(changes.loc[row[0], "estimate"]):
            assert bar.alt == "No change, because a session is missing."
            continue
        low, high = changes.loc[row[0], ["ci_low", "ci_high"]]
        assert ("more than the noise" in bar.alt) == (low > 0 or high < 0)


def test_a_bar_is_full_only_beyond_the_noise_and_keeps_its_scale():
    within, beyond = change_bar(0.01, 0.02, 0.04), change_bar(-0.03, 0.02, 0.04)
    assert 'fill="#ffffff"' in within
    assert 'fill="#ffffff"' not in beyond
    boxes = [
        re.findall(r'<rect x="([\d.]+)" y="5.5" width="([\d.]+)"', b)[0] for b in (within, beyond)
    ]
    (x1, w1), (x2, w2) = [tuple(map(float, b)) for b in boxes]
    assert x1 == 60.0
    assert w2 / w1 == pytest.approx(3.0, rel=0.02)
    assert x2 + w2 == pytest.approx(60.0, abs=0.1)
    assert change_bar(float("nan"), float("nan"), 1.0).count("<rect") == 0


def test_the_page_is_one_file_with_cautions_and_its_table_beside(study, tmp_path):
    path = write_squad_page(study, tmp_path / "squad.html")
    html = path.read_text(encoding="utf-8")
    assert "<script" not in html
    assert not re.search(r'(src|href)="(?!data:|#)', html)
    assert "No score is a verdict on a person" in html
    assert "data:image/svg+xml" in html
    table = pd.read_csv(tmp_path / "squad.csv")
    assert {"athlete", "percentile_low", "reference_percentile", "source"} <= set(table)


def test_names_stand_on_the_page_only_when_asked(kit, tmp_path):
    plain = squad_page(kit, date="2026-11-02")
    assert "O'Brien" not in text_of(plain.section("squad"))
    named = squad_page(kit, date="2026-11-02", choices=Choices(names=True))
    assert "O'Brien" in text_of(named.section("squad"))
    assert "shows names" in named.caution


def test_without_rules_there_are_neither_groups_of_rules_nor_certainty(kit):
    section = squad_page(kit, date="2026-11-02").section("squad")
    table = next(b for b in section.blocks if b.kind == "table")
    assert "Certain" not in table.columns
    assert "Group" in table.columns  # of the roster


def test_the_command_writes_the_page(study, tmp_path):
    done = CliRunner().invoke(app, ["squad", str(study.folder), "--results", str(tmp_path / "out")])
    assert done.exit_code == 0, done.output
    assert (tmp_path / "out" / "squad.html").is_file()
    assert "personal data" in done.output


def test_the_study_gives_the_same_places(study):
    mine = study.squad().points["squad"]
    page = study_squad(study).places.points["squad"]
    same = page[page["metric"].isin(mine["metric"])].reset_index(drop=True)
    assert mine["percentile"].to_list() == pytest.approx(same["percentile"].to_list())


@pytest.mark.parametrize(
    ("row", "code"),
    [
        ("jump_hight_m,,,0.3,0.05,,S", "unknown_metric"),
        ("jump_height_m,,,0.3,,,S", "reference_without_spread"),
        ("jump_height_m,,,0.3,-1,,S", "reference_without_spread"),
        ("jump_height_m,,,0.3,0.05,,", "empty_cell"),
        ("jump_height_m,,a,0.3,0.05,,S\njump_height_m,,b,0.3,0.05,,S", "reference_twice"),
    ],
)
def test_a_reference_that_cannot_be_used_is_named(kit, tmp_path, row, code):
    shutil.copytree(kit.folder, tmp_path / "kit", ignore=shutil.ignore_patterns("results"))
    head = REFERENCE.splitlines()[0]
    (tmp_path / "kit" / "reference.csv").write_text(f"{head}\n{row}\n", encoding="utf-8")
    found = cj.check_study(tmp_path / "kit")
    assert code in set(found.loc[found["file"].str.startswith("reference"), "code"])


def test_quantiles_that_fall_are_named(kit, tmp_path):
    shutil.copytree(kit.folder, tmp_path / "kit", ignore=shutil.ignore_patterns("results"))
    text = "metric,p25,p75,source\njump_height_m,0.3,0.2,S\n"
    (tmp_path / "kit" / "reference.csv").write_text(text, encoding="utf-8")
    assert "percentiles_do_not_rise" in set(cj.check_study(tmp_path / "kit")["code"])
