"""Where a stretch lies and which way it goes, in words."""

from __future__ import annotations

import pytest

from cmjlab.scrutiny.curves.question import Question
from cmjlab.scrutiny.curves.sentences import place, way
from cmjlab.stats.curves.stretches import Stretch


def question(quantity: str) -> Question:
    return Question(quantity, "", "base2", "post", None, 51, 0.95, "other")


@pytest.mark.parametrize(
    ("start", "end", "text"),
    [
        (0, 100, "throughout braking"),
        (60, 100, "in the last 40 % of braking"),
        (0, 30, "in the first 30 % of braking"),
        (60, 80, "from 60 to 80 % of braking"),
        (34, 34, "at 34 % of braking"),
    ],
)
def test_where(start, end, text):
    stretch = Stretch(1, 51 + start // 2, 51 + end // 2, start, end, 1)
    assert str(place(question("force"), stretch)) == text


@pytest.mark.parametrize(
    ("quantity", "phase", "sign", "text"),
    [
        ("force_per_kg", 1, 1, "more force"),
        ("force", 2, -1, "less force"),
        ("velocity", 0, -1, "faster downward movement"),
        ("velocity", 1, 1, "slower downward movement"),
        ("velocity", 2, 1, "faster upward movement"),
        ("power", 1, -1, "more power taken up"),
        ("power_per_kg", 2, 1, "more power"),
        ("displacement", 1, -1, "a lower position"),
        ("acceleration", 2, 1, "more upward acceleration"),
    ],
)
def test_which_way(quantity, phase, sign, text):
    assert str(way(question(quantity), Stretch(phase, 0, 1, 0, 2, sign))) == text
