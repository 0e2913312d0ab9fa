"""Rows: one builder for every statistic."""

from __future__ import annotations

import json

import numpy as np
import pytest

from cmjlab.results import Case, Reason, Result, contrast_words, remark_words
from cmjlab.stats.common.least_squares import Estimate
from cmjlab.stats.common.rows import Rows
from cmjlab.words.catalog import Words

TWO = ["jump_height_m", "time_to_takeoff_s"]


def test_one_statistic_for_many_metrics_at_once():
    rows = Rows(level=0.9)
    rows.at(metric=TWO, n=8).add("typical_error", [1.0, 2.0], limits=([0.5, 1.0], [2.0, 4.0]))
    table = rows.frame()
    assert list(table["metric"]) == TWO
    assert list(table["unit"]) == ["m", "s"]
    assert list(table["level"]) == [0.9, 0.9]
    assert table["leads"].all()


def test_nan_needs_a_reason_and_so_does_a_missing_interval():
    here = Rows(level=0.95).at(metric="jump_height_m", group="heavy")
    with pytest.raises(
        ValueError, match="mean_change of jump_height_m, heavy: nan without a reason"
    ):
        here.add("mean_change", np.nan)
    with pytest.raises(ValueError, match="nan without a reason"):
        here.add("mean_change", 1.0)
    here.add("session_f", 3.2)  # the catalog says that an F has no interval


def test_the_words_come_from_the_keys():
    rows = Rows(level=0.95)
    rows.at(metric="jump_height_m").none("mean_change", Reason("no_solution"))
    table = rows.frame()
    assert table["reason_code"][0] == "no_solution"
    assert table["text"][0].startswith("not estimable: ")
    mine = Words(
        {"table.not_estimable": "nicht schätzbar: {why}", "reason.no_solution": "keine Lösung"}
    )
    assert remark_words(table.loc[0].to_dict(), mine) == "nicht schätzbar: keine Lösung"


def test_contrast_is_made_from_first_and_second_and_never_read_again():
    rows = Rows(level=0.95)
    place = rows.at(metric="jump_height_m", first="strength - heavy", second="usual")
    place.add_estimate("change_difference", Estimate(0.02, 0.01, 10.0))
    row = Result("x", rows.frame()).row("change_difference", first="strength - heavy")
    assert row["contrast"] == "strength - heavy - usual"
    assert row["ci_low"] < 0.02 < row["ci_high"]
    assert row["test_value"] == pytest.approx(2.0)


def test_the_other_side_of_a_correlation_is_a_column_and_apart():
    rows = Rows(level=0.95)
    for other in ("rsi_modified_m_per_s", "coach_rating"):
        here = rows.at(metric="jump_height_m", other_metric=other, first="post", second="pre")
        here.add("correlation_change", 0.4, limits=(0.1, 0.6))
    table = rows.frame()
    assert list(table["contrast"]) == ["post - pre, with RSImod", "post - pre, with coach rating"]
    assert table["leads"].all()
    rows.at(metric="jump_height_m").add("session_f", 2.0)
    rows.at(metric="jump_height_m", first="post", second="pre").add("session_f", 2.0)
    assert rows.frame()["contrast"].fillna("").tolist()[2:] == ["", "post - pre"]


def test_no_spread_gives_the_number_alone():
    rows = Rows(level=0.95)
    rows.at(metric="jump_height_m").add_estimate("mean_change", Estimate(0.02, 0.0, 10.0))
    row = rows.frame().iloc[0]
    assert row["estimate"] == 0.02
    assert np.isnan(row["ci_low"])
    assert row["reason_code"] == "no_spread_left"


def test_of_several_rows_to_one_question_one_leads():
    rows = Rows(level=0.95)
    here = rows.at(metric="jump_height_m")
    for kind in ("one", "two"):
        here.add("icc_a1", 0.9, limits=(0.8, 0.95), leads=kind == "two", n=1 + (kind == "two"))
    here.add("icc_c1", 0.9, limits=(0.8, 0.95))
    here.add("icc_c1", 0.8, limits=(0.7, 0.95))
    table = rows.frame()
    assert list(table["leads"]) == [False, True, True, False]
    assert Result("x", table).row("icc_a1")["n"] == 2
    assert Result("x", table).value("icc_c1") == 0.9


def test_who_leads_may_differ_from_place_to_place():
    rows = Rows(level=0.95)
    here = rows.at(metric=TWO)
    ours = np.array([True, False])
    here.add("icc_a1", 0.9, limits=(0.8, 0.95), leads=~ours)
    here.add("icc_a1", 0.9, limits=(0.7, 0.95), leads=ours)
    leads = rows.frame().set_index(["metric", "ci_low"])["leads"]
    assert list(leads[TWO[0]]) == [False, True]
    assert list(leads[TWO[1]]) == [True, False]


def test_cases_of_one_place_lead_each_for_itself():
    rows = Rows(level=0.95)
    shifts = [Case("of_rows", {"shift": s}) for s in (0.1, 0.2)]
    words = Words({"case.of_rows": "if the missing differ by {shift:g}"})
    for shift in shifts:
        rows.at(metric="jump_height_m", case=shift).add("session_f", 1.0)
    rows.at(metric="jump_height_m", case=shifts[1]).add("session_f", 2.0)
    rows.at(metric="jump_height_m", first="post", second="pre").add("session_f", 1.0)
    table = rows.frame(words)
    assert list(table["case"].fillna("")) == ["of_rows"] * 3 + [""]
    assert list(table["leads"]) == [True, True, False, True]
    assert contrast_words(table.loc[1].to_dict(), words) == "if the missing differ by 0.2"
    assert list(table["contrast"])[2:] == ["if the missing differ by 0.2", "post - pre"]


def test_values_of_words_are_kept_as_data():
    rows = Rows(level=0.95)
    rows.at(metric="jump_height_m").none(
        "mean_change", Reason("few_complete", {"n": np.int64(1), "needed": 2})
    )
    assert json.loads(rows.frame()["word_values"][0]) == {"n": 1, "needed": 2}


def test_unknown_names_are_refused():
    rows = Rows(level=0.95)
    with pytest.raises(ValueError, match="no column 'colour'"):
        rows.at(metric="x", colour="red")
    with pytest.raises(ValueError, match="no statistic 'vibes'"):
        rows.at(metric="x").add("vibes", 1.0)
    with pytest.raises(ValueError, match="no column 'text'"):
        rows.at(metric="jump_height_m").add("session_f", 1.0, text="free prose")


def test_a_change_between_groups_names_both_its_sessions():
    rows = Rows(level=0.95)
    pair = rows.at(metric="jump_height_m", first="heavy - fast", second="usual", session="post")
    for earlier in ("base", "mid"):
        pair.at(since=earlier).add("change_difference", 0.01, limits=(0.0, 0.02))
    table = rows.frame()
    assert list(table["contrast"]) == [
        "heavy - fast - usual, post - base",
        "heavy - fast - usual, post - mid",
    ]
    assert table["leads"].all()


def test_records_hold_reasons_and_remarks_as_phrases():
    rows = Rows(level=0.95)
    place = rows.at(metric="jump_height_m", case=Case("height"))
    place.none("mean_change", Reason("no_solution"))
    row = rows.first("mean_change")
    assert row["reason"] == Reason("no_solution")
    assert row["remark"] is None
    assert row["case"] == "height"
