"""Calibration of a season: how often unchanged athletes are called changed, how soon a change is seen.

    python tests/calibration/follow_calibration.py   # ten seconds on one core

Writes ``follow_rates.csv`` beside this file. A squad of ``athletes`` has ``stable`` weeks each and
then ``looks`` weeks. ``shift``: typical errors by which the true level lies off from the first week
on. ``uneven``: the noise of each athlete is drawn with this coefficient of variation (0: one noise for
all). One study is one athlete of one squad: levels
cancel out, so all are 0. Quantities are shares of athletes, or of weeks:

* ``weekly alarm``: the first week of the season lies beyond the weekly limits;
* ``conclusion``: the weighted mean leaves its limits within the season; ``by week 4`` within four;
* ``running sum``: one of both sums passes its limit within the season;
* ``handbook, own noise``: single weeks beyond three SDs of the athlete's own stable weeks;
* ``handbook, weighted mean``: weight 0.25 with limits of 2.998 SDs (Lucas & Saccucci 1990, from
  memory), level and noise from the athlete's own stable weeks as if they were known;
* ``handbook, squad noise``: the same with the noise of the whole squad.
"""

from __future__ import annotations

import math
import time
from pathlib import Path

import numpy as np
from harness import calibrate
from judged_table import write_judged
from scipy import special

from cmjlab.stats.reliability.missing import intra_block
from cmjlab.stats.season.charts import FollowSettings
from cmjlab.stats.season.limits import (
    mean_factor,
    mean_sd,
    running_sums,
    sum_limit,
    weighted_means,
)

TABLE = Path(__file__).with_name("follow_rates.csv")
STUDIES = 40_000
BATCH = 4_000
SEED = 20261126
HOW = FollowSettings()
HANDBOOK = (0.25, 2.998)


def cells():
    """Return all situations."""
    squads = [(8, 2, 12), (20, 2, 12), (20, 2, 30), (20, 4, 30), (30, 3, 12), (12, 2, 3)]
    equal = [
        {"athletes": n, "stable": b, "looks": w, "shift": 0.0, "uneven": 0.0} for n, b, w in squads
    ]
    moved = [
        {"athletes": 20, "stable": b, "looks": 12, "shift": s, "uneven": 0.0}
        for b in (2, 4)
        for s in (1.5, 3.0)
    ]
    uneven = [{"athletes": 20, "stable": 2, "looks": 12, "shift": 0.0, "uneven": 0.3}]
    return equal + moved + uneven


def study(rng, cell, size):
    """Return for one athlete of each squad whether each rule signals."""
    n, b, looks = cell["athletes"], cell["stable"], cell["looks"]
    noise = np.ones((size, n, 1))
    if cell["uneven"]:
        sigma = math.sqrt(math.log1p(cell["uneven"] ** 2))
        noise = np.exp(rng.normal(-(sigma**2) / 2, sigma, (size, n, 1)))
    before = noise * rng.normal(size=(size, n, b))
    after = cell["shift"] + noise[:, 0] * rng.normal(size=(size, looks))
    block = intra_block(before)
    error, df = np.sqrt(block.mse)[:, None], float(block.df[0])
    mine = before[:, 0]
    off = after - mine.mean(axis=1, keepdims=True)
    found = ours(off, error, df, cell) | handbook(off, mine, error, cell)
    return {k: v.astype(float) for k, v in found.items()}


def ours(off, error, df, cell):
    """Return the signals by the limits of cmjlab."""
    b, looks = float(cell["stable"]), cell["looks"]
    half = special.stdtrit(df, 1 - HOW.alarm / 2) * error[:, 0] * math.sqrt(1 + 1 / b)
    limit = mean_factor(HOW.season, HOW.weight, looks, b, df) * mean_sd(HOW.weight, looks, b)
    beyond = np.abs(weighted_means(off, HOW.weight)) > error * limit
    above, below = running_sums(off / error, HOW.slack)
    passed = np.maximum(above, below) > sum_limit(HOW.season, HOW.slack, looks, b, df)
    out = {
        "weekly alarm": np.abs(off[:, 0]) > half,
        "conclusion": beyond.any(axis=1),
        "running sum": passed.any(axis=1),
    }
    return out | ({"conclusion by week 4": beyond[:, :4].any(axis=1)} if cell["shift"] else {})


def handbook(off, stable, error, cell):
    """Return the signals by limits that take level and noise as known."""
    if cell["shift"]:
        return {}
    own = stable.std(axis=1, ddof=1, keepdims=True)
    weight, factor = HANDBOOK
    mean = np.abs(weighted_means(off, weight))
    sd = factor * mean_sd(weight, cell["looks"], math.inf)
    return {
        "handbook, own noise": (np.abs(off) > 3 * own).any(axis=1),
        "handbook, weighted mean": (mean > own * sd).any(axis=1),
        "handbook, squad noise": (mean > error * sd).any(axis=1),
    }


def bars(cell, quantity):
    """Return the bar of a row, None for the bar of the table."""
    return (0.018, 0.022) if quantity == "weekly alarm" else (0.045, 0.055)


def shown(cell, quantity):
    """Return why a row is only shown, or "" when it is judged."""
    if quantity.startswith("handbook"):
        return "takes level and noise as known"
    if cell["shift"]:
        return "a true change: how often it is seen"
    return "athletes differ in noise, one noise stands for all" if cell["uneven"] else ""


def main():
    """Run everything and write the table."""
    start = time.perf_counter()
    table = calibrate(
        cells(), study, studies=STUDIES, seed=SEED, shown=shown, bar=bars, batch=BATCH
    )
    write_judged(table, TABLE, start)


if __name__ == "__main__":
    main()
