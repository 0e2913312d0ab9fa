"""The exercises of the notebooks: how an answer is checked, and the solutions for teachers.

The answers stand here and not in the notebooks: a student's notebook holds the question and an
empty answer, the teacher's set (``cmjlab notebooks --copy FOLDER --answers``) shows the solution
below each. Answers are computed from the study at hand, so that they hold on every study.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from types import MappingProxyType
from typing import Any

from cmjlab.checks import one_of
from cmjlab.stats.subgroups.subgroups import CLOSE_CALL
from cmjlab.words.catalog import read_words
from cmjlab.words.fill import MINUS


@dataclass(frozen=True)
class Exercise:
    """One exercise: its unit and tolerance, and how the answer is computed.

    Attributes
    ----------
    unit : str
        "" for a count; "metric": the unit in which the metric is shown; "athletes": per group.
    tolerance : float
        How far off an answer may be, in that unit.
    value : callable
        From what the notebook computed (a Study, Jump or Result) and a metric to the answer;
        nan when this study has none.
    """

    unit: str
    tolerance: float
    value: Callable[[Any, str], float]


def check_exercise(number: str, answer: float | None, source: Any, metric: str = "") -> str:
    """Return whether the answer to a notebook's exercise is right, in words.

    Parameters
    ----------
    number : str
        Number of the notebook, such as "02".
    answer : float or None
        The student's number; None has not been answered yet.
    source : Study, Jump, Result or other object
        What the notebook computed, from which the answer follows.
    metric : str
        Metric of the exercise, where it has one.

    Raises
    ------
    ArgumentError
        There is no such exercise, or the answer is not a number.
    """
    value, exercise, unit = _solved(number, source, metric)
    if math.isnan(value):
        return read_words().say("exercise.no_answer", how=_how(number))
    return check_answer(answer, value, tolerance=exercise.tolerance, unit=unit)


def check_answer(answer: float | None, value: float, *, tolerance: float, unit: str = "") -> str:
    """Return whether a student's number is right, in words; None has not been answered yet."""
    say = read_words().say
    if answer is None:
        return say("exercise.open")
    if abs(float(answer) - value) <= tolerance:
        return say("exercise.right")
    if not unit:
        return say("exercise.wrong", answer=float(answer))
    return say("exercise.wrong_unit", answer=float(answer), unit=unit)


def solution(number: str, source: Any, metric: str = "") -> str:
    """Return the answer to a notebook's exercise and the way to it; for the teacher's set."""
    say = read_words().say
    value, exercise, unit = _solved(number, source, metric)
    if math.isnan(value):
        return say("exercise.no_solution", how=_how(number))
    decimals = 0 if not unit else max(0, -math.floor(math.log10(exercise.tolerance)))
    text = f"{value:.{decimals}f} {unit}".strip().replace("-", MINUS)
    if not exercise.tolerance:
        return say("exercise.solution", value=text, how=_how(number))
    return say(
        "exercise.solution_within", value=text, tolerance=exercise.tolerance, how=_how(number)
    )


def _how(number: str) -> str:
    """Return the way to the answer, for teachers."""
    return read_words().say(f"exercise_how.{number}")


def _solved(number: str, source: Any, metric: str) -> tuple[float, Exercise, str]:
    from cmjlab.plots.labels import metric_unit

    exercise = EXERCISES[one_of("number", number, EXERCISES)]
    unit = metric_unit(metric) if exercise.unit == "metric" else exercise.unit
    if unit == "athletes":
        unit = read_words().say("exercise.unit_athletes")
    return float(exercise.value(source, metric)), exercise, unit


def _not_tested(study: Any, metric: str) -> float:
    return float(study.flow()["sessions"]["missing"].iloc[-1])


def _flight_above(jump: Any, metric: str) -> float:
    return float(100 * (jump.metrics["jump_height_flight_m"] - jump.metrics["jump_height_m"]))


def _smallest_detectable(result: Any, metric: str) -> float:
    return _in_shown(result.value("smallest_detectable_change", metric=metric), metric)


def _too_close(found: Any, metric: str) -> float:
    if "placement" not in found:
        return math.nan
    return float((found["placement"].points["placements"]["call"] == CLOSE_CALL).sum())


def _lowest_difference(between: Any, metric: str) -> float:
    if between is None:
        return math.nan
    return _in_shown(between.rows("change_difference", metric=metric)["ci_low"].iloc[0], metric)


def _only_increases(individual: Any, metric: str) -> float:
    return float((individual.rows("individual_change", metric=metric)["ci_low"] > 0).sum())


def _excluded(data: Any, metric: str) -> float:
    return float(len(data.tables["excluded_jumps"]))


def _alarms(season: Any, metric: str) -> float:
    if season is None:
        return math.nan
    points = season.points["weeks"]
    return float((points.loc[points["metric"] == metric, "alarm"] != "").sum())


def _athletes_needed(plan: Any, metric: str) -> float:
    """Smallest n whose power reaches the one asked for: last design, one baseline, least spread."""
    power = plan.points["power_curve"]
    part = power[(power["design"] == power["design"].iloc[-1]) & (power["baselines"] == 1)]
    part = part[part["response_sd"] == part["response_sd"].min()]
    return float(part.loc[part["power"] >= float(plan.settings["power"]), "n"].min())


def _heavier(jump: Any, metric: str) -> float:
    """Change of height, in mm, when body weight is taken 0.5 % too large: the same force, integrated again.

    Velocity at take-off is g (J / W - T), with J the impulse of the force and T the time from
    onset to take-off; W becomes 1.005 W.
    """
    g = float(jump.method.gravity_m_per_s2)
    velocity = float(jump.metrics["takeoff_velocity_m_per_s"])
    seconds = float(jump.metrics["time_to_takeoff_s"])
    wrong = (velocity + g * seconds) / 1.005 - g * seconds
    return 1000 * (wrong**2 - velocity**2) / (2 * g)


def _in_shown(value: float, metric: str) -> float:
    from cmjlab.catalog import METRICS
    from cmjlab.units import to_shown

    return to_shown(float(value), METRICS[metric].unit) if metric in METRICS else float(value)


EXERCISES: Mapping[str, Exercise] = MappingProxyType(
    {
        "00": Exercise("", 0, _not_tested),
        "01": Exercise("cm", 0.2, _flight_above),
        "02": Exercise("metric", 0.1, _smallest_detectable),
        "03": Exercise("", 0, _too_close),
        "04": Exercise("metric", 0.1, _lowest_difference),
        "05": Exercise("", 0, _only_increases),
        "06": Exercise("", 0, _excluded),
        "07": Exercise("", 0, _alarms),
        "08": Exercise("athletes", 1, _athletes_needed),
        "10": Exercise("mm", 1.0, _heavier),
    }
)
