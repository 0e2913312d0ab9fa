"""Verdicts of intervals: which side, and never without knowing both limits."""

from __future__ import annotations

import math

import pytest

from cmjlab.stats.common.verdicts import change_says, difference_says, relation_says, side_of_zero


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
