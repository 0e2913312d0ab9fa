"""Exercises of notebook 08, planning."""

from __future__ import annotations

import math
from typing import Any

from cmjlab.report.notebooks.exercises.kinds import Exercise

_BASELINE, _JUMPS, _UNKNOWN = "second baseline", "more jumps", "unknown"
#: Noncentrality at which a t test has power 0.8, roughly: 1.96 + 0.84.
_ROUGH = 2.8


def _athletes_needed(plan: Any, metric: str) -> float:
    """Smallest n whose power reaches the one asked for: last design, one baseline, least spread."""
    power = plan.points["power_curve"]
    part = power[(power["design"] == power["design"].iloc[-1]) & (power["baselines"] == 1)]
    part = part[part["response_sd"] == part["response_sd"].min()]
    return float(part.loc[part["power"] >= float(plan.settings["power"]), "n"].min())


def _rough(source: Any, metric: str) -> float:
    """Return 2 (2.8 √2 s / δ)² athletes per group, rounded up."""
    plan, matters = source
    error = float(plan.settings["typical_error"])
    return float(math.ceil(2 * (_ROUGH * math.sqrt(2) * error / float(matters)) ** 2))


def _one_noise(source: Any, metric: str) -> float:
    return float(math.ceil(_rough(source, metric) / 2))


def _saves_more(source: Any, metric: str) -> str:
    """Compare s² / 2 of a second baseline with 2 · σ²(jump) / 2k of doubled jumps."""
    parts, study = source
    days, jumps = (
        parts.rows(name, metric=metric)["estimate"].dropna()
        for name in ("sd_between_days", "sd_between_jumps")
    )
    if days.empty or jumps.empty:
        return _UNKNOWN
    k = float(study.sessions_table()["n_jumps"].median())
    of_jumps = float(jumps.iloc[0]) ** 2 / k
    noise = float(days.iloc[0]) ** 2 + of_jumps
    return _BASELINE if noise / 2 > of_jumps else _JUMPS


EXERCISES = {
    "08.1": Exercise(1, _athletes_needed, "athletes", 1),
    "08.2": Exercise(2, _rough, "athletes", 1, known={"noise_once_planned": _one_noise}),
    "08.3": Exercise(3, _saves_more, choices=(_BASELINE, _JUMPS, _UNKNOWN)),
}
