"""What must hold for an exercise with what its notebook computed."""

from __future__ import annotations

import re
from typing import Any

from cmjlab.notebook import EXERCISES, check_exercise, hint
from cmjlab.report.notebooks.exercises import solution


def check_one(number: str, source: Any, metric: str) -> None:
    """The right answer and the one that the solution prints are accepted; others are not."""
    exercise = EXERCISES[number]
    value = exercise.value(source, metric)

    def said(answer: Any) -> str:
        return check_exercise(number, answer, source, metric)

    assert said(value) == "Right.", (number, value)
    assert said(None).startswith("Not answered"), number
    text = solution(number, source, metric)
    assert text.startswith("Solution: "), (number, text)
    if isinstance(value, str):
        wrong: list[Any] = [choice for choice in exercise.choices if choice != value]
        assert said("nonsense").startswith("Not yet: answer with one of"), number
        printed: Any = value
        assert f"Solution: {value}." in text, text
    else:
        wrong = [value + 2 * exercise.tolerance + 0.5, -value - 2 * exercise.tolerance - 0.5]
        known = [made(source, metric) for made in exercise.known.values()]
        # On some studies a usual mistake comes out right.
        wrong += [other for other in known if abs(other - value) > 0.05 * abs(value)]
        assert said("nonsense").startswith("Not yet: a number is needed"), number
        printed = re.search(r"[\u2212\d.]*\d", text)[0]
    assert said(printed) == "Right.", text
    for answer in wrong:
        told = said(answer)
        assert told.startswith("Not yet"), (number, answer, told)
        assert f'hint("{number}", 1)' in told, told
    assert hint(number, 1)
