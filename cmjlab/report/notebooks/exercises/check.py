"""A student's answer checked, hints in steps, and the solution with the way to it."""

from __future__ import annotations

import math
from collections.abc import Mapping
from typing import Any

from cmjlab.checks import one_of
from cmjlab.errors import ArgumentError
from cmjlab.report.notebooks.answers import NoNumberError, read_answer, read_choice
from cmjlab.report.notebooks.exercises.all import EXERCISES
from cmjlab.report.notebooks.exercises.kinds import Exercise, step_of, unanswered
from cmjlab.report.notebooks.prose import Prose
from cmjlab.words.catalog import read_words
from cmjlab.words.fill import MINUS

#: An answer in m or s where cm, mm or ms are shown, and the other way round.
_POWERS = (100.0, 1000.0, 0.01, 0.001)


def check_exercise(number: str, answer: Any, source: Any, metric: str = "") -> Prose:
    """Return whether the answer to a notebook's exercise is right, in words.

    Parameters
    ----------
    number : str
        Number of the exercise, such as "02.1": the first of notebook 02.
    answer : object
        The student's answer: a number in any form, such as 4, "4,0", "0.04 m", "four" or [4],
        or one of the words that the question offers. None has not been answered yet.
    source : Study, Jump, Result or other object
        What the notebook computed, from which the answer follows.
    metric : str
        Metric of the exercise, where it has one.

    Returns
    -------
    Prose
        A string. A wrong answer is told what it is, where that is known, and where to find the
        first hint; an answer that is no number is told what to write.

    Raises
    ------
    ArgumentError
        There is no such exercise.

    Examples
    --------
    >>> import cmjlab as cj
    >>> study = cj.Study.open(cj.demo_study())
    >>> cj.notebook.check_exercise("00.1", "one", study)
    Right.
    """
    value, exercise, unit, tolerance = _solved(number, source, metric)
    if unanswered(value):
        return Prose(_say("exercise.no_answer", how=_how(number)))
    if isinstance(value, str):
        told = check_choice(answer, value, exercise.choices)
    else:
        known = {key: made(source, metric) for key, made in exercise.known.items()}
        told = check_answer(answer, value, tolerance=tolerance, unit=unit, known=known)
    if not told.startswith(_say("exercise.not_yet")):
        return told
    return Prose(f"{told} {_say('exercise.see_hint', number=number)}")


def hint(number: str, step: int = 1) -> Prose:
    """Return a hint to a notebook's exercise, one step at a time.

    Parameters
    ----------
    number : str
        Number of the exercise, such as "02.1".
    step : int
        1 for the first hint; the last one leaves little to do.

    Returns
    -------
    Prose

    Raises
    ------
    ArgumentError
        There is no such exercise, or it has no such hint.

    Examples
    --------
    >>> import cmjlab as cj
    >>> cj.notebook.hint("00.1")
    The table of who was tested has one row a session. (Next: hint("00.1", 2).)
    """
    one_of("number", number, EXERCISES)
    hints = _hints(number)
    if isinstance(step, bool) or not isinstance(step, int) or not 1 <= step <= len(hints):
        raise ArgumentError(
            f"step: found {step!r}; exercise {number} has {len(hints)} hints. Give a whole"
            f" number from 1 to {len(hints)}."
        )
    text = hints[step - 1]
    if step < len(hints):
        text = f"{text} {_say('exercise.next_hint', number=number, step=step + 1)}"
    return Prose(text)


def check_answer(
    answer: Any,
    value: float,
    *,
    tolerance: float,
    unit: str = "",
    known: Mapping[str, float] | None = None,
) -> Prose:
    """Return whether a student's number is right, in words; None has not been answered yet.

    Parameters
    ----------
    answer : object
        A number in any form that :func:`cmjlab.report.notebooks.answers.read_answer` knows.
    value : float
        The right one.
    tolerance : float
        How far off it may be.
    unit : str
        Unit of both.
    known : mapping, optional
        Wrong answers that many give, by the key of the words that say what each is.
    """
    try:
        number = read_answer(answer, unit)
    except NoNumberError as error:
        return Prose(_say(f"exercise.{error.key}"))
    if number is None:
        return Prose(_say("exercise.open"))
    return Prose(_judged(number, value, tolerance, unit, known or {}))


def _judged(
    number: float, value: float, tolerance: float, unit: str, known: Mapping[str, float]
) -> str:
    if abs(number - value) <= tolerance * (1 + 1e-9):
        return _say("exercise.right")
    for key, other in known.items():
        if abs(number - other) <= tolerance / 2:
            return _say(f"exercise_known.{key}")
    if value and abs(number + value) <= tolerance:
        return _say("exercise.wrong_sign")
    if not unit:
        return _say("exercise.wrong", answer=number)
    near = min(tolerance, abs(value) / 20)
    if value and any(abs(number * k - value) <= near for k in _POWERS):
        return _say("exercise.wrong_power", unit=unit)
    return _say("exercise.wrong_unit", answer=number, unit=unit)


def check_choice(answer: Any, value: str, choices: tuple[str, ...]) -> Prose:
    """Return whether a student's decision is right, in words; None has not been answered yet.

    Parameters
    ----------
    answer : object
        One of the choices; capitals and blanks around it do not matter.
    value : str
        The right one.
    choices : tuple of str
        All of them.
    """
    try:
        chosen = read_choice(answer, choices)
    except NoNumberError:
        return Prose(_say("exercise.no_choice", choices=_quoted(choices)))
    if chosen is None:
        return Prose(_say("exercise.open_choice", choices=_quoted(choices)))
    return Prose(_say("exercise.right" if chosen == value else "exercise.wrong_choice"))


def _quoted(choices: tuple[str, ...]) -> list[str]:
    return [f'"{choice}"' for choice in choices]


def solution(number: str, source: Any, metric: str = "") -> Prose:
    """Return the answer to a notebook's exercise and the way to it; for the teacher's set."""
    value, _, unit, tolerance = _solved(number, source, metric)
    how = _how(number)
    if unanswered(value):
        return Prose(_say("exercise.no_solution", how=how))
    if isinstance(value, str):
        return Prose(_say("exercise.solution", value=value, how=how))
    text = f"{value:.{_decimals(tolerance)}f} {unit}".strip().replace("-", MINUS)
    if not tolerance:
        return Prose(_say("exercise.solution", value=text, how=how))
    return Prose(_say("exercise.solution_within", value=text, tolerance=tolerance, how=how))


def _decimals(tolerance: float) -> int:
    """Return as many decimals as a tolerance asks for."""
    return max(0, math.ceil(-math.log10(tolerance) - 1e-9)) if tolerance else 0


def _say(key: str, **values: Any) -> str:
    return read_words().say(key, **values)


def _how(number: str) -> str:
    """Return the way to the answer, for teachers."""
    return _say(f"exercises.{number}.how")


def _hints(number: str) -> list[str]:
    found = read_words().part(f"exercises.{number}")
    return [text for key, text in sorted(found.items()) if key.startswith("hint_")]


def _solved(number: str, source: Any, metric: str) -> tuple[float | str, Exercise, str, float]:
    """Return the right answer, the exercise, and unit and tolerance of both."""
    from cmjlab.plots.labels import metric_unit

    exercise = EXERCISES[one_of("number", number, EXERCISES)]
    unit, tolerance = exercise.unit, exercise.tolerance
    if unit == "metric":
        unit, tolerance = metric_unit(metric), tolerance * step_of(metric)
    elif unit == "athletes":
        unit = _say("exercise.unit_athletes")
    value = exercise.value(source, metric)
    return (value if isinstance(value, str) else float(value)), exercise, unit, tolerance
