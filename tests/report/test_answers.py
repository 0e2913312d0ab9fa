"""Answers of students: any form of a number is read, and a wrong one is told what it is."""

from __future__ import annotations

import math

import numpy as np
import pandas as pd
import pytest

import cmjlab as cj
from cmjlab.notebook import check_exercise, readable
from cmjlab.report.notebooks.answers import NoNumberError, read_answer
from cmjlab.report.notebooks.exercises import check_answer


@pytest.mark.parametrize(
    "answer",
    [
        4,
        4.0,
        "4",
        "4,0",
        " 4.0 ",
        "4.0 cm",
        "4cm",
        "0.04 m",
        "40 mm",
        "four",
        "Four",
        [4],
        (4,),
        {4},
        ["4,0"],
        np.float32(4),
        np.int64(4),
        np.array([4.0]),
        np.array(4),
        pd.Series([4]),
        pd.DataFrame({"a": [4]}),
        [[4]],
    ],
)
def test_any_form_of_a_number_is_read(answer):
    assert read_answer(answer, "cm") == pytest.approx(4.0)
    assert check_answer(answer, 4.05, tolerance=0.1, unit="cm") == "Right."


@pytest.mark.parametrize("answer", ["-4", "\u22124,0", "\u20134 cm", -4])
def test_every_minus_is_one(answer):
    assert read_answer(answer, "cm") == -4.0


@pytest.mark.parametrize("answer", [None, "", "  ", ...])
def test_nothing_is_not_answered_yet(answer):
    assert check_answer(answer, 4, tolerance=0).startswith("Not answered yet")


@pytest.mark.parametrize(
    ("answer", "key", "words"),
    [
        ("many", "no_number", "a number is needed"),
        ("1,000,000", "no_number", "a number is needed"),
        (True, "no_number", "a number is needed"),
        (object(), "no_number", "a number is needed"),
        ([4, 5], "several_numbers", "one number is needed"),
        ([], "several_numbers", "one number is needed"),
        (pd.Series([1, 2]), "several_numbers", "one number is needed"),
        (math.nan, "not_finite", "no finite number"),
        ("nan", "not_finite", "no finite number"),
        (np.array([np.inf]), "not_finite", "no finite number"),
    ],
)
def test_what_is_no_number_is_answered_with_what_to_write(answer, key, words):
    with pytest.raises(NoNumberError) as error:
        read_answer(answer)
    assert error.value.key == key
    assert words in check_answer(answer, 4, tolerance=0)


def test_a_wrong_sign_and_a_wrong_unit_are_told():
    assert "the sign is not" in check_answer(2.0, -2.0, tolerance=0.1, unit="cm")
    assert "Answer in cm" in check_answer(0.04, 4.0, tolerance=0.1, unit="cm")
    assert "Answer in ms" in check_answer("0,095", 95.0, tolerance=1, unit="ms")
    # A number that is merely near zero has no right digits.
    assert check_answer(3.0, 0.05, tolerance=0.02, unit="cm").startswith("Not yet: 3 cm is too far")


def test_the_published_detectable_change_is_called_by_its_name():
    study = cj.Study.open(cj.demo_study())
    noise = study.reliability("jump_height_m")
    error = 100 * noise.value("typical_error", metric="jump_height_m")
    degrees = len(study.athletes) - 2  # one of 30 has no second baseline
    from scipy.stats import t

    right = float(t.ppf(0.975, degrees)) * math.sqrt(2) * error
    published = 1.96 * math.sqrt(2) * error

    def said(answer):
        return check_exercise("02.1", answer, noise, "jump_height_m")

    assert said(right) == "Right."
    assert "1.96 · √2 · typical error, the published form" in said(published)
    assert "this is the typical error" in said(error)
    assert "√2 times larger" in said(right / math.sqrt(2))


def test_the_statistic_that_leads_stands_first_and_is_marked():
    study = cj.Study.open(cj.demo_study())
    between = study.change_between("jump_height_m")
    leads = between.settings["leading"]["statistic"]
    assert leads == "change_difference"
    wanted = ("adjusted_difference", leads)
    plain, marked = readable(between, *wanted), readable(between, *wanted, leading=True)
    assert list(plain.columns)[-2:] == ["Difference at equal baseline", "Difference of changes"]
    assert list(marked.columns)[-2:] == [
        "Difference of changes (this one leads)",
        "Difference at equal baseline",
    ]
    assert marked.iloc[:, -2].tolist() == plain.iloc[:, -1].tolist()
