"""Exercises of notebook 00, start here."""

from __future__ import annotations

import math
from typing import Any

from scipy import special

from cmjlab.report.notebooks.exercises.kinds import Exercise, in_shown
from cmjlab.stats.planning.uncertain import planned_noise

_YES, _NO = "yes", "no"
#: Spread of true responses that the notebook assumes, in typical errors.
_RESPONSE = 0.5


def _not_tested(study: Any, metric: str) -> float:
    return float(study.flow()["sessions"]["missing"].iloc[-1])


def _half_width(source: Any, metric: str, noise_of_change: float = 2.0) -> float:
    """Return t √((2 s² + σ²) / n) of all athletes of the roster, with σ = s / 2."""
    study, noise = source
    error, n = planned_noise(noise, metric).typical_error, len(study.athletes)
    t = float(special.stdtrit(n - 1, (1 + study.plan.level) / 2))
    return in_shown(t * error * math.sqrt((noise_of_change + _RESPONSE**2) / n), metric)


def _one_noise(source: Any, metric: str) -> float:
    return _half_width(source, metric, 1.0)


def _one_athlete(source: Any, metric: str) -> float:
    return in_shown(_detectable(source, metric), metric)


def _detectable(source: Any, metric: str) -> float:
    study, noise = source
    known = planned_noise(noise, metric)
    tail = (1 + study.plan.level) / 2
    t = special.stdtrit(known.df, tail) if math.isfinite(known.df) else special.ndtri(tail)
    return float(t) * math.sqrt(2) * known.typical_error


def _can_tell(source: Any, metric: str) -> str:
    matters = source[0].plan.change_that_matters.get(metric)
    if matters is None:
        return ""
    return _YES if _detectable(source, metric) <= matters else _NO


EXERCISES = {
    "00.1": Exercise(1, _not_tested),
    "00.2": Exercise(
        2,
        _half_width,
        "metric",
        0.5,
        known={"noise_once": _one_noise, "one_athlete": _one_athlete},
    ),
    "00.3": Exercise(3, _can_tell, choices=(_YES, _NO)),
}
