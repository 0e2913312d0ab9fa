"""Statistics of a season: athletes followed from week to week."""

from __future__ import annotations

from cmjlab.catalog.entries import Statistic

_COMMON = "common practice, no source"
_MEMORY = " (from memory)"

SEASON: tuple[Statistic, ...] = (
    Statistic("week_difference", "Week against own level", "metric", "value - mean of the b stable weeks ± t · TE · sqrt(1 + 1/b)", "is this week unusual for this athlete", "Student 1908; Hopkins 2000, Sports Med 30:1" + _MEMORY, also_called=(("weekly alarm", _COMMON), ("monitoring", _COMMON))),
    Statistic("season_mean", "Weighted mean of the weeks", "metric", "z = w (value - level) + (1 - w) z before; limits for all weeks of a season at once, level and noise estimated", "has this athlete's level changed", "Roberts 1959, Technometrics 1:239; Lucas & Saccucci 1990, Technometrics 32:1" + _MEMORY, also_called=(("EWMA", "Lucas & Saccucci 1990"), ("exponentially weighted moving average", "Roberts 1959"), ("control chart", _COMMON))),
    Statistic("season_sum_above", "Running sum above", "", "max(0, sum before + (value - level) / TE - slack)", "how much has added up above the own level", "Page 1954, Biometrika 41:100; Lucas 1976, J Qual Technol 8:1" + _MEMORY, has_interval=False, also_called=(("CUSUM", "Page 1954"), ("cumulative sum", "Page 1954"))),
    Statistic("season_sum_below", "Running sum below", "", "max(0, sum before - (value - level) / TE - slack)", "how much has added up below the own level", "Page 1954, Biometrika 41:100; Lucas 1976, J Qual Technol 8:1" + _MEMORY, has_interval=False),
    Statistic("squad_difference", "Week of the squad", "metric", "mean of the athletes' differences from their own levels, t interval", "does the whole squad lie off this week", _COMMON),
)  # fmt: skip
