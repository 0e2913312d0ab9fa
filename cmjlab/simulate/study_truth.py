"""Truth of a simulated study: of athletes, of its groups, and of the population behind it."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from cmjlab.simulate.design import StudySettings
from cmjlab.simulate.squad import Squad, draw_squad, metrics_of

FloatArray = NDArray[np.float64]

#: Columns of the truth table.
TRUTH_COLUMNS = ("level", "athlete", "group", "session", "contrast", "metric", "statistic", "value")
#: Athletes simulated for population values, and the seed of that simulation.
POPULATION_SIZE = 6000
POPULATION_SEED = 20_260_831


def truth_table(
    squad: Squad,
    settings: StudySettings,
    *,
    metrics: Sequence[str],
    ids: Sequence[str],
    population: bool,
) -> pd.DataFrame:
    """Return the truth of a study, one value a row.

    Levels and statistics:

    * ``athlete``: ``true_value`` in each session, without the day's and the jump's deviation;
    * ``group``: ``true_change`` of the athletes who are in the study, from the last baseline
      to each later session, and ``true_change_difference`` against the control group;
    * ``population``: ``typical_error`` of a session mean of the planned number of jumps,
      ``sd_between_days``, ``sd_between_jumps``, ``sd_between_athletes``, ``icc_c1``,
      ``icc_a1`` and ``session_change`` of the first two baseline sessions, and by group the
      same changes as above, by simulating :data:`POPULATION_SIZE` athletes.
    """
    true = metrics_of(squad.true_parameters, metrics)
    rows: list[dict[str, Any]] = []
    for metric, values in true.items():
        for a, athlete in enumerate(ids):
            for s, session in enumerate(settings.sessions):
                rows.append(
                    {"level": "athlete", "athlete": athlete, "group": squad.group[a],
                     "session": session, "metric": metric, "statistic": "true_value",
                     "value": float(values[a, s])}
                )  # fmt: skip
    rows += _changes(true, squad, settings, "group")
    if population:
        rows += population_truth(settings, metrics)
    table = pd.DataFrame(rows, columns=list(TRUTH_COLUMNS))
    text = [c for c in TRUTH_COLUMNS if c != "value"]
    table[text] = table[text].astype(object).fillna("").astype("str")
    return table


def _changes(
    true: dict[str, FloatArray], squad: Squad, settings: StudySettings, level: str
) -> list[dict[str, Any]]:
    order = list(settings.sessions)
    if not settings.baselines:
        return []
    start = order.index(settings.baselines[-1])
    rows = []
    for metric, values in true.items():
        for s in range(start + 1, len(order)):
            means = {
                g: float(np.mean(values[squad.group == g, s] - values[squad.group == g, start]))
                for g in settings.groups
            }
            contrast = f"{order[s]} - {order[start]}"
            for group, mean in means.items():
                rows.append(
                    {"level": level, "group": group, "contrast": contrast, "metric": metric,
                     "statistic": "true_change", "value": mean}
                )  # fmt: skip
            for group in [g for g in means if g != settings.control]:
                rows.append(
                    {"level": level, "group": group, "metric": metric, "session": order[s],
                     "contrast": f"{group} - {settings.control}",
                     "statistic": "true_change_difference",
                     "value": means[group] - means[settings.control]}
                )  # fmt: skip
    return rows


def population_truth(settings: StudySettings, metrics: Sequence[str]) -> list[dict[str, Any]]:
    """Return population values as rows of the truth table, from a large simulated squad."""
    factor = max(1, POPULATION_SIZE // settings.n_athletes)
    squad = draw_squad(settings, np.random.default_rng(POPULATION_SEED), factor=factor)
    rows = _changes(metrics_of(squad.true_parameters, metrics), squad, settings, "population")
    order = list(settings.sessions)
    use = [order.index(s) for s in settings.baselines[:2]]
    if len(use) < 2:
        return rows
    jumps = metrics_of(squad.jump_parameters, metrics)
    for metric, values in jumps.items():
        for statistic, value in reliability_truth(values[:, use]).items():
            rows.append(
                {"level": "population", "contrast": f"{order[use[1]]} - {order[use[0]]}",
                 "metric": metric, "statistic": statistic, "value": value}
            )  # fmt: skip
    return rows


def reliability_truth(values: FloatArray) -> dict[str, float]:
    """Return variance components of jumps, shape (n_athletes, 2 sessions, n_jumps).

    From a large squad they are the population's: sessions fixed, athletes and days random.
    """
    n_jumps = values.shape[2]
    means = values.mean(axis=2)
    change = means[:, 1] - means[:, 0]
    error = float(np.var(change, ddof=1) / 2)
    jump = float(np.mean(np.var(values, axis=2, ddof=1))) if n_jumps > 1 else float("nan")
    between = float(np.cov(means[:, 0], means[:, 1])[0, 1])
    shift = float(change.mean())
    out = {
        "typical_error": error**0.5,
        "sd_between_athletes": max(between, 0.0) ** 0.5,
        "session_change": shift,
        "icc_c1": between / (between + error),
        "icc_a1": between / (between + error + shift**2 / 2),
    }
    if n_jumps > 1:
        out["sd_between_jumps"] = jump**0.5
        out["sd_between_days"] = max(error - jump / n_jumps, 0.0) ** 0.5
    return out
