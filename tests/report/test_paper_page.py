"""The page of a paper: its numbers made again from the sessions, its words, and what it withholds."""

from __future__ import annotations

import re

import numpy as np
import pandas as pd
import pytest
from report_kit import NAMES, kit_study, text_of
from scipy import stats
from typer.testing import CliRunner

from cmjlab.cli.app import app
from cmjlab.errors import StudyError
from cmjlab.report.blocks.printed_tests import PrintedTests, kept_together
from cmjlab.report.build.choices import Choices
from cmjlab.report.build.stops import Stops
from cmjlab.report.paper_page import paper_page, write_paper
from cmjlab.study.check.doubt import Doubt

pytestmark = pytest.mark.usefixtures("undrawn")


@pytest.fixture(scope="module")
def page(kit):
    return paper_page(kit, date="2026-11-02")


@pytest.fixture(scope="module")
def changes(kit):
    """Heights in centimetres before and after, by group, from the sessions table."""
    table = kit.sessions_table()
    wide = table.pivot(index="athlete", columns="session", values="jump_height_m") * 100
    wide["group"] = table.drop_duplicates("athlete").set_index("athlete")["group"].astype(str)
    return wide.dropna(subset=[kit.before, kit.after])


def test_numbers_are_those_of_the_sessions(kit, page, changes):
    text = text_of(page.section("results"))
    for group, part in changes.groupby("group"):
        old, new = part[kit.before], part[kit.after]
        t = stats.ttest_rel(new, old)
        d = (new - old).mean() / np.sqrt((old.var() + new.var()) / 2)
        said = (
            f"In {group} (n = {len(part)}) it changed from M = {old.mean():.2f} cm (SD ="
            f" {old.std():.2f}) to M = {new.mean():.2f} cm (SD = {new.std():.2f})"
        )
        assert said in text
        sign = "−" if t.statistic < 0 else ""
        assert f"t({len(part) - 1}) = {sign}{abs(t.statistic):.2f}, " in text
        assert f"d_av = {d:.2f}".replace("-", "−") in text


def test_joint_test_is_the_anova_of_the_changes(kit, page, changes):
    parts = [p[kit.after] - p[kit.before] for _, p in changes.groupby("group")]
    f, p = stats.f_oneway(*parts)
    df2 = len(changes) - len(parts)
    said = f"F({len(parts) - 1}, {df2}) = {f:.2f}, {PrintedTests().p(p)}"
    assert said.replace("\u00a0", " ") in text_of(page.section("results"))
    row = page.tables["paper"].query("metric == 'jump_height_m'").iloc[0]
    assert row["joint_f"] == pytest.approx(f, rel=1e-9)
    assert row["joint_p"] == pytest.approx(p, rel=1e-7)
    between = (len(parts) - 1) * f
    assert row["joint_omega"] == pytest.approx(max(0, (f - 1) / (between + df2 + 1)))


def test_the_declared_measure_comes_first_and_the_rest_is_exploratory(page):
    table = page.tables["paper"]
    assert table["role"].iloc[0] == "primary"
    assert set(table.loc[table["role"] == "primary", "metric"]) == {"jump_height_m"}
    text = text_of(page.section("results"))
    assert text.index("Primary measure") < text.index("Exploratory measures")
    shown = next(b for b in page.section("results").blocks if b.kind == "table")
    assert len(shown.rows) == len(table)
    assert shown.label == "Table 1"


def test_exploratory_p_are_adjusted_by_holm(page):
    table = page.tables["paper"].drop_duplicates("metric")
    others = table[table["role"] == "exploratory"]
    p = others["joint_p"].to_numpy()
    smallest = others.loc[others["joint_p"].idxmin()]
    assert smallest["joint_p_adjusted"] == pytest.approx(min(1, p.min() * len(p)))
    assert table.loc[table["role"] == "primary", "joint_p_adjusted"].isna().all()


@pytest.mark.parametrize(
    ("value", "said"),
    [(0.0, "p < .001"), (1e-30, "p < .001"), (0.00099, "p < .001"), (0.001, "p = .001"),
     (0.0496, "p = .050"), (0.5, "p = .500"), (0.9999, "p > .999"), (1.0, "p > .999"),
     (float("nan"), "p not given")],
)  # fmt: skip
def test_no_p_is_printed_as_zero_or_one(value, said):
    assert PrintedTests().p(value).replace("\u00a0", " ") == said


def test_a_decimal_comma_keeps_the_zero(kit):
    text = text_of(paper_page(kit, choices=Choices(decimal=",")).section("results"))
    assert re.search(r"p = 0,\d{3}", text)
    assert not re.search(r"\d\.\d", text)


def test_effects_have_a_true_minus_and_no_negative_zero():
    test = PrintedTests()
    assert test.effect((-0.0001, -1.5, float("inf"))) == "0.00"
    assert test.effect((-0.5, -1.0, 0.004)) == "−0.50 [−1.00,\u00a00.00]"
    assert test.f(2.0, 1.5, 30.26) == "F(1.5,\u00a030.3)\u00a0=\u00a02.00"
    assert (
        kept_together("p = .1 [0.1, +2.0] and a, b") == "p\u00a0=\u00a0.1 [0.1,\u00a0+2.0] and a, b"
    )


def test_who_is_missing_stands_in_the_methods_without_a_name(kit, page):
    text = text_of(page.section("methods"))
    assert "8 athletes were on the roster" in text
    assert "1 in post (left: moved away)" in text
    whole = " ".join(map(text_of, page.sections))
    assert not any(name in whole for name in NAMES.values())
    assert "A07" not in whole


def test_cautions_and_what_only_a_person_can_write_are_there(page):
    assert "assent" in text_of(page.section("left"))
    assert "not diagnoses" in text_of(page.section("cautions"))
    assert any("Hedges 1981" in i for b in page.section("references").blocks for i in b.items)


def test_what_rests_on_a_doubt_is_not_written(kit, monkeypatch):
    values = {"n": 9, "of": 10}
    doubt = Doubt("most_jumps_out", "fail", (kit.after,), values=values)
    monkeypatch.setattr("cmjlab.report.paper_page.find_stops", lambda study: Stops((doubt,)))
    page = paper_page(kit)
    table = next(b for b in page.section("results").blocks if b.kind == "table")
    assert table.rows == ()
    assert "F(" not in text_of(page.section("results"))
    assert page.stops


def test_without_a_session_after_the_block_there_is_no_paper(tmp_path):
    study = kit_study(tmp_path, sessions=("base1", "base2"))
    with pytest.raises(StudyError, match="no results for a paper"):
        paper_page(study)


def test_command_writes_page_word_file_and_numbers(kit, tmp_path, page):
    done = CliRunner().invoke(app, ["report", str(kit.folder), "--paper", "--out", str(tmp_path)])
    assert done.exit_code == 0, done.output
    html = (tmp_path / "paper.html").read_text(encoding="utf-8")
    assert "η²p" in html
    assert "<script" not in html
    kept = pd.read_csv(tmp_path / "paper.csv")
    assert kept["joint_f"].iloc[0] == pytest.approx(page.tables["paper"]["joint_f"].iloc[0])
    import docx

    document = docx.Document(str(write_paper(page, tmp_path / "paper.docx")))
    assert any("it changed from M" in p.text for p in document.paragraphs)
    assert len(document.tables[0].rows) == 1 + len(page.tables["paper"])
