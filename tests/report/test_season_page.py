"""The weeks of a study: what is followed, the page, the command, and the section of the report."""

from __future__ import annotations

from pathlib import Path

import pandas as pd
import pytest
from report_kit import text_of
from season_kit import BACK, season_study
from typer.testing import CliRunner

import cmjlab as cj
from cmjlab.cli.app import app
from cmjlab.plots.season import season_figure, week_picture
from cmjlab.report.sheets.season import season_page, write_season_page
from cmjlab.study.weeks import returning, stable_sessions

HEIGHT = "jump_height_m"


@pytest.fixture(scope="module")
def study(tmp_path_factory: pytest.TempPathFactory) -> cj.Study:
    return season_study(tmp_path_factory.mktemp("season"))


@pytest.fixture(scope="module")
def season(study: cj.Study) -> cj.Result:
    return study.follow()


def test_a_study_follows_its_weeks_from_its_baselines(study, season):
    assert season.settings["stable"] == ["base1", "base2"]
    assert season.settings["weeks"] == ["mon1", "mon2"]
    assert "braking_impulse_asymmetry_percent" in season.settings["metrics"]
    points = season.points["weeks"]
    assert sorted(set(points["athlete"])) == ["A00", "A01", "A02", "A03", "A04"]
    mine = points[(points["athlete"] == BACK) & (points["session"] == "mon1")].set_index("metric")
    assert mine.loc[HEIGHT, "alarm"] == "below"
    assert mine.loc["braking_impulse_asymmetry_percent", "alarm"] == "below"
    # 16 points of force were put in; the impulse of a phase shows about as much.
    difference = mine.loc["braking_impulse_asymmetry_percent", "difference"]
    assert difference == pytest.approx(-16.0, abs=3.0)
    assert returning(study, ["mon1", "mon2"]) == [BACK]
    assert returning(study, []) == []


def test_the_same_typical_error_as_the_reliability(study, season):
    noise = cj.reliability(study.sessions_table(), HEIGHT)
    assert season.value("typical_error", metric=HEIGHT) == pytest.approx(
        noise.value("typical_error")
    )


def test_weeks_change_neither_reliability_nor_the_block(study):
    table = study.sessions_table()
    without = table[table["role"] != "monitoring"].copy()
    without["session"] = without["session"].cat.remove_unused_categories()
    for call in (
        lambda t: cj.reliability(t, HEIGHT),
        lambda t: cj.change_within(t, HEIGHT, before="base2", after="post"),
        lambda t: cj.change_mixed(t, HEIGHT),
    ):
        pd.testing.assert_frame_equal(call(table).table, call(without).table)


def test_sessions_csv_declares_stable_weeks(tmp_path: Path):
    study = season_study(tmp_path, stable={"base1": "no", "mon1": "yes", "post": "yes"})
    assert stable_sessions(study) == ["base2", "mon1", "post"]
    found = study.follow([HEIGHT], settings=cj.FollowSettings(looks=4))
    assert found.settings["stable"] == ["base2", "mon1", "post"]
    assert found.settings["weeks"] == ["mon2"]
    assert found.settings["looks"] == 4


def test_the_page_shows_who_stands_out_first_and_no_name_unasked(study, season, tmp_path):
    page = season_page(study, season)
    first = page.parts[0].lines[0]
    assert first.athlete == BACK
    assert first.alarmed or first.concluded
    assert "worse" in first.season
    assert [b.athlete for b in page.backs] == [BACK]
    plain = write_season_page(study, season, tmp_path / "a.html").read_text(encoding="utf-8")
    named = write_season_page(
        study, season, tmp_path / "b.html", names={BACK: "Zoë <b>&Ünal"}
    ).read_text(encoding="utf-8")
    assert "Ünal" not in plain
    assert "Zoë &lt;b&gt;&amp;Ünal" in named
    for words in ("clinicians decide on the return", "Flags and asymmetries are not diagnoses",
                  "No score is a verdict", "By chance alone"):  # fmt: skip
        assert words in plain
    assert "http://" not in plain.replace("http://www.w3.org", "")
    with pytest.raises(cj.CmjlabError, match="returning"):
        season_page(study, season, athletes_back=["A09"])


def test_figures_show_the_numbers(season):
    figure = season_figure(season, BACK)
    assert len(figure.axes) == len(season.settings["metrics"])
    row = season.points["weeks"].query("athlete == @BACK and metric == @HEIGHT").iloc[0]
    dots = [line for line in figure.axes[0].lines if line.get_marker() == "s"]
    assert dots[0].get_ydata()[0] == pytest.approx(100 * row["difference"])
    assert "below the weekly limits" in figure.alt_text
    small = week_picture(
        season.points["weeks"].query("athlete == 'A00' and metric == @HEIGHT"), ["mon1", "mon2"]
    )
    assert small.alt_text.startswith("Jump height")
    assert small.svg().startswith("<svg")


def test_the_command_writes_table_and_page(study, tmp_path):
    done = CliRunner().invoke(app, ["follow", str(study.folder), "--looks", "20", "--names"])
    assert done.exit_code == 0, done.output
    assert f"{BACK}" in done.output
    assert "within a season of 20 weeks" in done.output.replace("\n", " ")
    table = pd.read_csv(study.folder / "results" / "follow.csv")
    assert set(table["session"]) == {"mon1", "mon2"}
    assert "Ünal" in (study.folder / "results" / "follow.html").read_text(encoding="utf-8")
    assert "Ünal" not in done.output
    other = CliRunner().invoke(app, ["follow", str(study.folder), "--metric", "jump hight"])
    assert other.exit_code != 0
    assert "Did you mean" in other.output


def test_the_report_has_a_short_section_where_there_are_weeks(study, kit_report):
    from cmjlab.report.gather import gather

    data = gather(study, date="2026-11-02")
    section = data.section("season")
    text = text_of(section)
    assert "These weeks are no part of the comparison" in text
    assert f"{BACK}: below the own level" in text
    assert "not diagnoses" in text
    assert "Health data are personal data" in text
    assert "back after an absence" not in text
    assert [s.key for s in data.sections].index("season") > 0
    assert "follow" in data.tables
    assert "season" not in [s.key for s in kit_report.sections]


def test_the_notebook_follows_the_weeks_or_says_that_it_shows_invented_ones(study, kit):
    from cmjlab.report.notebooks.season import (
        alarms_by_week,
        limits_by_stable_weeks,
        main_metric,
        weeks_to_follow,
        whom_to_show,
    )

    own, words = weeks_to_follow(study, looks=12)
    assert "mon1 and mon2" in words
    assert whom_to_show(study, own) == BACK
    counts = alarms_by_week(own, main_metric(own)).frame
    assert list(counts["week"]) == ["mon1", "mon2"]
    assert counts["alarms"].sum() >= 1
    limits = limits_by_stable_weeks(own, HEIGHT).frame
    widths = [float(v.removeprefix("±")) for v in limits["week"]]
    assert widths == sorted(widths, reverse=True)
    invented, words = weeks_to_follow(kit, looks=12)
    assert "INVENTED" in words
    assert invented.settings["weeks"] == ["week1", "week2", "week3", "week4"]
    assert whom_to_show(kit, invented)


def test_a_study_without_weeks_or_baselines_says_what_to_do(kit, tmp_path):
    with pytest.raises(cj.StatsError, match="Give sessions the role monitoring"):
        kit.follow()
    none = season_study(tmp_path, stable={"base1": "no", "base2": "no"})
    with pytest.raises(cj.StatsError, match="no session is known to be stable"):
        none.follow()
