"""Verdicts of intervals: which side, and never without knowing both limits."""

from __future__ import annotations

import math

import pytest

from cmjlab.results import Reason
from cmjlab.stats.common.least_squares import Estimate
from cmjlab.stats.common.rows import Rows
from cmjlab.stats.common.verdicts import (
    change_says,
    difference_says,
    estimate_says,
    margin_says,
    relation_says,
    side_of_zero,
)


@pytest.mark.parametrize(
    ("low", "high", "side"),
    [
        (0.1, 0.2, "up"),
        (-0.2, -0.1, "down"),
        (-0.1, 0.2, "open"),
        (0.0, 0.2, "open"),
        (-0.2, 0.0, "open"),
        (math.nan, 0.2, "unknown"),
        (-math.inf, 0.2, "unknown"),
    ],
)
def test_which_side_of_zero_an_interval_lies(low, high, side):
    assert side_of_zero(low, high) == side
    for says, kind in ((change_says(low, high), "change"), (relation_says(low, high), "relation")):
        assert says.key.endswith("unknown" if side == "unknown" else f"{kind}_{side}")
        assert says.text.endswith(".")


def test_a_difference_names_the_group_with_the_higher_values():
    assert "higher values in heavy - fast" in difference_says(1, 2, "heavy - fast", "usual").text
    assert "higher values in usual" in difference_says(-2, -1, "heavy", "usual").text
    assert "cannot tell heavy and usual apart" in difference_says(-2, 1, "heavy", "usual").text


@pytest.mark.parametrize(
    ("low", "high", "code"),
    [
        (1.1, 2.0, "margin_beyond_up"),
        (-2.0, -1.1, "margin_beyond_down"),
        (-0.9, 0.9, "margin_inside"),
        (0.5, 1.5, "margin_open_up"),
        (-1.5, -0.5, "margin_open_down"),
        (-1.5, 1.5, "margin_open"),
    ],
)
def test_an_interval_against_the_change_that_matters(low, high, code):
    assert margin_says(low, high, 1.0).code == code
    assert margin_says(low, high, 1.0).text.endswith(".")


def test_a_number_within_a_sentence_has_its_interval_or_says_why_not():
    rows = Rows(level=0.95)
    height = rows.at(metric="jump_height_m")
    height.add("mean_change", 0.02, limits=(0.01, 0.03))
    height.add_estimate("mean_change", Estimate(0.02, 0.0, 10.0))
    height.none("mean_change", Reason("no_solution"))
    assert [estimate_says(row).text for row in rows.records()] == [
        "+2.0 cm (95 % interval +1.0 to +3.0 cm)",
        "+2.0 cm (without an interval, because the values have no spread left)",
        "not estimable, because the values leave the fit without a solution",
    ]
