"""What the report shows of several answers, and what it says about plan, sides and signs."""

from __future__ import annotations

import datetime as dt

import pandas as pd
import pytest
from report_kit import kit_study, text_of

import cmjlab as cj
from cmjlab.report.blocks.format import mean_text
from cmjlab.report.build.analyses import analyse
from cmjlab.report.build.leading_rows import first_row
from cmjlab.report.gather import gather
from cmjlab.results import Result
from cmjlab.study.frozen_plan import freeze

HEIGHT = "jump_height_m"


@pytest.fixture(scope="module")
def trust(kit):
    return analyse(kit).results["reliability"]


def _table(section, title):
    return next(b for b in section.blocks if b.kind == "table" and b.title.startswith(title))


def test_icc_comes_with_the_interval_that_holds_under_a_session_change(trust, kit_report):
    chosen = first_row(trust, "icc_a1", HEIGHT)
    published = trust.rows("icc_a1", metric=HEIGHT, interval_kind="mcgraw_wong").iloc[0]
    assert chosen["interval_kind"] == "fiducial_these_sessions"
    assert chosen["estimate"] == pytest.approx(published["estimate"])
    table = _table(kit_report.section("reliability"), "Repeatability")
    cells = dict(zip(table.columns, table.rows[0], strict=True))
    want = f"{chosen['estimate']:.2f} ({chosen['ci_low']:.2f} to {chosen['ci_high']:.2f})"
    assert cells["ICC(A,1)"].replace("\u00a0", " ") == want.replace("-", "−")
    assert " to " in cells["ICC(C,1)"].replace("\u00a0", " ")
    assert " to " in cells["Change between sessions"].replace("\u00a0", " ")


def test_a_row_that_does_not_lead_is_shown_only_when_none_does(trust):
    table = trust.table.assign(leads=False)
    first = first_row(Result("reliability", table), "icc_a1", HEIGHT)
    assert first["interval_kind"] == "mcgraw_wong"
    assert first_row(trust, "icc_a1", "no such measure") is None


def test_names_of_the_icc_stand_in_three_languages(kit_report):
    section = kit_report.section("reliability")
    table = _table(section, "Names of the intraclass")
    rows = {row[0]: row for row in table.rows}
    # Shrout & Fleiss 1979 and McGraw & Wong 1996 (their tables of forms, from memory)
    assert {k: v[1] for k, v in rows.items()} == {
        "ICC(1)": "ICC(1,1)", "ICC(A,1)": "ICC(2,1)", "ICC(C,1)": "ICC(3,1)",
        "ICC(k)": "ICC(1,k)", "ICC(A,k)": "ICC(2,k)", "ICC(C,k)": "ICC(3,k)",
    }  # fmt: skip
    assert rows["ICC(C,1)"][2] == "two-way mixed, consistency, single measures"
    assert "one session, not of one jump" in text_of(section)


def test_a_mean_asymmetry_reads_as_both_limbs():
    values = pd.Series([4.0, 6.4, float("nan")])
    shown = mean_text("peak_propulsion_force_asymmetry_percent", values)
    assert shown == "right 52.6 %, left 47.4 %"
    half = mean_text("peak_propulsion_force_asymmetry_percent", values, formula="symmetry_index")
    assert half == "right 51.3 %, left 48.7 %"
    assert mean_text(HEIGHT, pd.Series([0.3, 0.31])) == "30.5"


def test_a_frozen_plan_stands_in_the_methods_and_none_in_the_limits(kit_report, tmp_path, undrawn):
    assert "No analysis plan was frozen" in text_of(kit_report.section("limitations"))
    study = kit_study(tmp_path)
    freeze(study, today=dt.date(2026, 8, 1))
    planned = gather(study)
    assert "written down on 2026-08-01" in text_of(planned.section("methods"))
    assert "The analysis is as planned." in text_of(planned.section("methods"))
    assert "No analysis plan was frozen" not in text_of(planned.section("limitations"))
    path = study.folder / "study.toml"
    path.write_text(path.read_text("utf-8").replace("0.015", "0.02"), encoding="utf-8")
    text = text_of(gather(cj.Study.open(study.folder)).section("methods"))
    assert (
        "Changed since then: plan, change that matters, Jump height (take-off velocity)"
        " (declared 0.015, now 0.02)." in text
    )
