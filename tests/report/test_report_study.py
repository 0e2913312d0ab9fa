"""The report of a study: the same numbers in words, tables and files; nobody lost on the way."""

from __future__ import annotations

import json
import re
import shutil

import pandas as pd
import pytest
from report_kit import kit_study, text_of

import cmjlab as cj
from cmjlab.errors import StudyError
from cmjlab.report.blocks.format import Estimate, cell, estimate_of
from cmjlab.report.blocks.readable import readable
from cmjlab.report.blocks.verdict import verdict
from cmjlab.report.build.analyses import analyse, change_results
from cmjlab.report.build.choices import Choices
from cmjlab.report.gather import gather
from cmjlab.report.render.html import render_html
from cmjlab.report.write import files_of, write_data, write_report
from cmjlab.words.catalog import read_words

HEIGHT = "jump_height_m"


@pytest.fixture
def study(kit):
    return kit


@pytest.fixture
def data(kit_full):
    return kit_full


def test_sections_stand_in_order_with_the_coach_page_first(data):
    assert [s.key for s in data.sections] == [
        "coach", "methods", "people", "reliability", "squad", "groups", "individuals", "curves",
        "drift", "limitations", "cautions", "sentences", "glossary", "provenance", "references",
    ]  # fmt: skip


def test_coach_page_says_done_changed_sure_next(data, study):
    text = text_of(data.section("coach"))
    headings = [b.text for b in data.section("coach").blocks if b.kind == "heading"]
    assert headings == ["What was done", "What changed", "How certain this is", "What to do next"]
    jumps = study.measure()
    assert f"Of {len(jumps)} recorded jumps, {int(jumps['accepted'].sum())} count" in text


def test_numbers_on_the_coach_page_are_those_of_the_result(data, study):
    result = change_results(study, [HEIGHT])[0]["change_within"]
    text = text_of(data.section("coach"))
    for _, row in result.rows("mean_change").iterrows():
        value = cell(read_words(), estimate_of(row), signed=True).replace("\u00a0", " ")
        assert value in text
        assert f"{abs(100 * row['estimate']):.1f}" in value


def test_nobody_is_lost(data, study):
    """Athletes of the roster = with a value + named as missing, in every session."""
    text = text_of(data.section("people"))
    flow = study.flow()
    for athlete in flow["missing"]["athlete"]:
        assert athlete in text
    for _, row in flow["excluded"].iterrows():
        assert row["file"] in text
        assert row["reason"] in text
    for row in flow["sessions"].to_dict("records"):
        assert row["planned"] == row["tested"] + row["missing"]


def test_the_person_who_stopped_is_explained(data):
    assert "left: moved away" in text_of(data.section("people"))


def test_everything_carries_its_interval_or_says_why(data):
    for key in ("groups", "individuals"):
        for block in data.section(key).blocks:
            if block.kind != "table":
                continue
            for row in block.rows:
                for shown in row[1:]:
                    if re.match(r"[+−-]?\d", shown) and "Drawn" not in block.columns:
                        ok = "\u00a0to\u00a0" in shown or re.fullmatch(r"[+−]?[\d.]+|[+−]?0", shown)
                        assert ok, shown


def test_figures_have_alt_texts_and_captions(data):
    figures = [b for s in data.sections for b in s.blocks if b.kind == "figure"]
    keys = {b.key for b in figures}
    assert {"paired_primary", "example_jump", "typical_errors", "agreement_primary"} <= keys
    assert {"difference_primary", "individual_primary"} <= keys
    assert all(len(b.alt) > 40 and b.caption and b.svg.startswith("<svg") for b in figures)
    assert set(data.figures) == keys


def test_glossary_explains_every_measure_of_the_report(data, study):
    text = text_of(data.section("glossary"))
    sessions = study.sessions_table()
    from cmjlab.catalog import METRICS

    for metric in study.plan.report_metrics:
        if metric in sessions and sessions[metric].notna().any():
            assert METRICS[metric].label in text


def test_cautions_and_limits_are_always_there(data):
    text = text_of(data.section("cautions"))
    assert "not diagnoses" in text
    assert "No score is a verdict on a person" in text
    assert len(data.section("limitations").blocks[0].items) >= 5


def test_progress_is_reported_and_never_goes_beyond_its_total(data, kit_steps):
    assert len(kit_steps) > 5
    assert all(0 <= s.done <= s.total and s.what for s in kit_steps)


def test_provenance_names_every_recording_and_setting(data, study):
    report = data.provenance["report"]
    assert set(report["recordings"]) == set(study.measure()["file"])
    assert all(re.fullmatch(r"[0-9a-f]{64}", h) for h in report["recordings"].values())
    assert report["method"] == study.method.to_dict()
    json.dumps(dict(data.provenance), default=str)


def test_written_files(study, data, tmp_path, undrawn):
    path = write_report(study, tmp_path)
    assert re.fullmatch(r"report_kit_\d{4}-\d\d-\d\d\.html", path.name)
    page = path.read_text(encoding="utf-8")
    assert "<script" not in page
    names = {p.name for p in files_of(path).iterdir()}
    assert {"jumps.csv", "sessions.csv", "change_within.csv", "reliability.csv"} <= names
    table = pd.read_csv(files_of(path) / "change_within.csv")
    found = change_results(study)[0]["change_within"].table
    assert table["estimate"].to_list() == pytest.approx(found["estimate"].to_list(), nan_ok=True)


def test_a_word_document_is_written_when_its_name_asks_for_it(data, tmp_path):
    docx = pytest.importorskip("docx")
    path = write_data(data, tmp_path / "report.docx")
    texts = " ".join(p.text for p in docx.Document(str(path)).paragraphs)
    assert "What to do next" in texts
    assert (files_of(path) / "sessions.csv").is_file()


def test_report_of_unchanged_data_is_the_same(study, data):
    again = gather(study, date="2026-11-02", choices=Choices(full=True))
    assert render_html(again) == render_html(data)


def test_without_a_post_session_a_draft_says_what_is_missing(tmp_path, undrawn):
    study = kit_study(tmp_path, sessions=("base1", "base2"))
    with pytest.raises(StudyError, match="no change over the block.*--draft"):
        gather(study)
    data = gather(study, draft=True)
    assert data.draft
    assert "no change over the block can be shown".lower() in text_of(data.section("coach")).lower()
    assert "Missing in this report" in text_of(data.section("limitations"))
    assert "Draft" in render_html(data)


def test_with_one_baseline_reliability_is_said_to_be_missing(tmp_path, undrawn):
    study = kit_study(tmp_path, sessions=("base1", "post"))
    data = gather(study)
    assert "Not available: 1 session(s) with role baseline" in text_of(data.section("reliability"))
    assert "not known here" in text_of(data.section("coach"))
    assert "change_individual" not in data.tables


def test_nothing_usable_is_refused_in_words(tmp_path):
    study = kit_study(tmp_path, sessions=("base1",), athletes=2)
    for path in (study.folder / "recordings").iterdir():
        path.write_text("time,force\n" + "\n".join(f"{i / 500},700" for i in range(2000)))
    shutil.rmtree(study.results, ignore_errors=True)
    with pytest.raises(StudyError, match="none of .* recorded jump"):
        gather(cj.Study.open(study.folder), draft=True)


# ---- verdicts from intervals ---------------------------------------------------------------


@pytest.mark.parametrize(
    ("metric", "low", "high", "words"),
    [
        (HEIGHT, 0.020, 0.030, "improved by more than 1.5 cm"),
        (HEIGHT, -0.030, -0.020, "got worse by more than 1.5 cm"),
        (HEIGHT, -0.010, 0.010, "changed by less than 1.5 cm"),
        (HEIGHT, 0.005, 0.030, "improved; whether by 1.5 cm or more is not clear"),
        (HEIGHT, -0.030, -0.005, "got worse; whether by 1.5 cm or more is not clear"),
        (HEIGHT, -0.010, 0.030, "not clear from 9 athletes, because the interval includes zero"),
        (HEIGHT, float("nan"), 0.030, "not estimable"),
        ("time_to_takeoff_s", -0.030, -0.020, "improved by more than 15 ms"),
        ("time_to_takeoff_s", 0.005, 0.030, "got worse; whether by 15 ms or more is not clear"),
        ("countermovement_depth_m", 0.020, 0.030, "increased by more than 1.5 cm"),
        ("countermovement_depth_m", -0.030, -0.005, "decreased; whether by 1.5 cm or more is not clear"),
    ],
)  # fmt: skip
def test_verdict_follows_from_the_interval_and_the_better_direction(metric, low, high, words):
    assert str(verdict(Estimate(metric, 0.01, low, high, 9), 0.015)) == words


def test_verdict_without_a_declared_change_says_the_direction_only():
    assert str(verdict(Estimate(HEIGHT, 0.01, 0.005, 0.03, 9), None)) == "improved"
    assert str(verdict(Estimate("time_to_takeoff_s", 0.1, 0.05, 0.3, 9), None)) == "got worse"


def test_one_athlete_is_not_clear_without_a_count():
    s = Estimate(HEIGHT, 0.01, -0.01, 0.03, 1)
    for matters in (0.015, None):
        assert str(verdict(s, matters)) == "not clear, because the interval includes zero"


def test_readable_table_has_units_and_intervals(study):
    found = analyse(study)
    table = readable(found.results["reliability"], "typical_error", "icc_a1")
    assert table["measure"].iloc[0] == "Jump height (take-off velocity) (cm)"
    assert re.fullmatch(r"\d+\.\d \(\d+\.\d to \d+\.\d\)", table.iloc[0, -2])
