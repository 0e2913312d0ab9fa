"""Simulated studies that confirm a planned size: the model of the plan, the analysis of the report."""

from __future__ import annotations

import numpy as np

from cmjlab.stats.common.least_squares import contrast, least_squares
from cmjlab.stats.planning.scenario import Scenario
from cmjlab.stats.planning.spread import ANCOVA, DESIGNS, ONE_GROUP, Spread

#: Studies simulated at once (bounds the memory).
_BATCH = 500


def simulated_power(
    design: str, spread: Spread, effect: float, n: int, level: float, scenario: Scenario
) -> float:
    """Return the share of simulated studies whose interval excludes zero.

    Parameters
    ----------
    design : str
        One of :data:`~cmjlab.stats.planning.spread.DESIGNS`.
    spread : Spread
    effect : float
        True mean change of the trained group against the control group.
    n : int
        Athletes per group.
    level : float
    scenario : Scenario
        Number of simulations and seed.

    Notes
    -----
    Trait + session noise; the trained group gains ``effect`` + its own response, both groups
    drift. One group: paired t. Change scores: Welch. ANCOVA: HC2 with Bell-McCaffrey df.
    """
    rng = np.random.default_rng([scenario.seed, n, DESIGNS.index(design)])
    rejected = done = 0
    while done < scenario.simulations:
        size = min(_BATCH, scenario.simulations - done)
        rejected += _rejections(rng, design, spread, effect, (size, n, level))
        done += size
    return rejected / done


def _rejections(
    rng: np.random.Generator,
    design: str,
    spread: Spread,
    effect: float,
    shape: tuple[int, int, float],
) -> int:
    size, n, level = shape
    total = n if design == ONE_GROUP else 2 * n
    error = spread.typical_error
    trained = np.arange(total) < n
    trait = rng.normal(0.0, max(spread.between, 0.0), (size, total))
    before = trait + rng.normal(0.0, error / np.sqrt(spread.baselines), (size, total))
    response = rng.normal(0.0, 1.0, (size, total)) * error * spread.response
    drift = rng.normal(0.0, 1.0, (size, total)) * error * spread.drift
    after = trait + drift + np.where(trained, effect + response, 0.0)
    after = after + rng.normal(0.0, error, (size, total))
    columns = np.column_stack([trained, ~trained]).astype(float)
    if design == ONE_GROUP:
        columns, weights = columns[:, :1], np.array([1.0])
    else:
        weights = np.array([1.0, -1.0])
    if design == ANCOVA:
        centred = before - before.mean(axis=1, keepdims=True)
        stacked = np.broadcast_to(columns, (size, *columns.shape))
        x = np.concatenate([stacked, centred[..., None]], axis=-1)
        found = contrast(least_squares(after, x), np.append(weights, 0.0))
    else:
        stacked = np.broadcast_to(columns, (size, *columns.shape))
        found = contrast(least_squares(after - before, stacked), weights)
    return int((found.p_value() <= 1 - level).sum())
