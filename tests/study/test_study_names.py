"""Ids and file names: what is the same, what looks alike, what is refused."""

from __future__ import annotations

import time

import pytest

from cmjlab.errors import ArgumentError
from cmjlab.study.folder import ids
from cmjlab.study.folder.file_names import Template, from_entities, stem_and_suffix, trial_id

ZOE_NFC, ZOE_NFD = "Zo\u00eb", "Zoe\u0308"


@pytest.mark.parametrize(
    ("written", "meant"),
    [
        ("A07", "A07"),
        (" A07 ", "A07"),
        ("sub-07", "07"),
        ("SUB-07", "07"),
        ("07", "07"),
        ("007", "007"),
        (ZOE_NFD, ZOE_NFC),
        ("\ufeffA07", "A07"),
        ("A07\u00a0", "A07"),
        ("sub-", "sub-"),
    ],
)
def test_plain(written, meant):
    assert ids.tidy_id(written) == meant


@pytest.mark.parametrize(
    ("first", "second", "why"),
    [
        ("07", "7", "leading zeros"),
        ("A07", "A7", "leading zeros"),
        ("a07", "A07", "capital and small letters"),
        ("pre", "pre ", "blanks around the id"),
        (ZOE_NFC, ZOE_NFD, "the same letters in two Unicode forms"),
        ("A-07", "A07", "blanks, hyphens, dots or letter case"),
        ("Ａ07", "A07", "blanks, hyphens, dots or letter case"),
    ],
)
def test_look_alikes(first, second, why):
    assert ids.likeness(first) == ids.likeness(second)
    assert ids.look_alikes([first, second]) == [sorted([first, second])]
    assert ids.why_alike(first, second) == why


@pytest.mark.parametrize(
    ("first", "second"), [("A01", "A10"), ("S1", "S10"), ("70", "7"), ("a", "b")]
)
def test_different_ids_do_not_look_alike(first, second):
    assert ids.look_alikes([first, second]) == []


@pytest.mark.parametrize(
    "word",
    [
        "01-Mar",
        "Mar-01",
        "1-Mar-26",
        "3/4",
        "03.04.2026",
        "2026-03-01 00:00:00",
        "1E+05",
        "#N/A",
        "####",
    ],
)
def test_ids_that_a_spreadsheet_damaged(word):
    assert ids.looks_damaged(word)


@pytest.mark.parametrize("word", ["A07", "07", "MAR1", "may", "E5", "12", "A-3"])
def test_ids_that_are_whole(word):
    assert not ids.looks_damaged(word)


def test_s2_stands_before_s10():
    assert sorted(["S10", "S2", "S1"], key=ids.natural_order) == ["S1", "S2", "S10"]


@pytest.mark.parametrize(
    ("file", "fields"),
    [
        ("sub-A07_ses-base1_run-02.csv", {"athlete": "A07", "session": "base1", "trial": "2"}),
        ("sub-07_ses-post.c3d", {"athlete": "07", "session": "post"}),
        ("sub-A07/ses-mid/run-3.csv.gz", {"athlete": "A07", "session": "mid", "trial": "3"}),
        ("sub-B1/sub-A07_ses-mid_run-3.csv", {"athlete": "A07", "session": "mid", "trial": "3"}),
        (
            "ses-mid_sub-A07_task-cmj_run-10_force.txt",
            {"athlete": "A07", "session": "mid", "trial": "10"},
        ),
        (f"sub-{ZOE_NFD}_ses-a_run-1.csv", {"athlete": ZOE_NFC, "session": "a", "trial": "1"}),
        ("sub-A_ses-b_date-20260403.csv", {"athlete": "A", "session": "b", "date": "2026-04-03"}),
        ("jump 3.csv", {}),
    ],
)
def test_entity_names(file, fields):
    assert from_entities(file) == fields


@pytest.mark.parametrize(
    ("template", "file", "fields"),
    [
        ("{session}/{athlete}_{trial}.csv", "pre/A07_03.csv", {"session": "pre", "athlete": "A07", "trial": "3"}),
        ("{session}/{athlete}_{trial}", "pre/A07_03.c3d", {"session": "pre", "athlete": "A07", "trial": "3"}),
        ("{athlete}-{date}-{any}", "deep/A07-20260403-x.csv", {"athlete": "A07", "date": "2026-04-03"}),
        ("CMJ {athlete} ({trial}).txt", "cmj 007 (2).TXT", {"athlete": "007", "trial": "2"}),
    ],
)  # fmt: skip
def test_template(template, file, fields):
    assert Template(template).match(file) == [fields]


def test_template_that_does_not_fit_gives_nothing():
    assert Template("{session}/{athlete}_{trial}.csv").match("pre/A07.csv") == []


def test_template_with_two_readings_is_ambiguous():
    readings = Template("{athlete}_{trial}.csv").match("A_07_1.csv")
    assert len(readings) == 2


@pytest.mark.parametrize(
    ("template", "words"),
    [
        ("{session}/{trial}.csv", "no field {athlete}"),
        ("{athlete}{session}.csv", "touch"),
        ("{athlete}_{athlete}.csv", "stands twice"),
        ("{player}.csv", "there is no field 'player'"),
        ("{athlete.csv", "braces"),
    ],
)
def test_template_that_cannot_be_used(template, words):
    with pytest.raises(ArgumentError) as problem:
        Template(template)
    assert words in str(problem.value)


def test_no_name_can_hang_a_template():
    """Thousands of separators and no match: a backtracking pattern would need years."""
    template = Template("{athlete}_{session}_{trial}_{date}_{any}_x_y.csv")
    begun = time.perf_counter()
    assert template.match("_a" * 120 + ".csv") == []
    assert time.perf_counter() - begun < 5.0


def test_suffixes_and_trials():
    assert stem_and_suffix("a.b.csv.gz") == ("a.b", ".csv.gz")
    assert stem_and_suffix("notes.docx") == ("notes.docx", "")
    assert [trial_id(t) for t in ("02", "2", "2a", " 10 ")] == ["2", "2", "2a", "10"]
