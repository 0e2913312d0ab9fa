"""Calibration of many analyses at once: does each hold its own truth, and does the joint test keep its level.

    python tests/calibration/specifications.py   # some minutes on one core

Writes ``specifications_rates.csv`` beside this file. Studies are simulated at the level of metrics: two
groups of n athletes, a true change for each athlete (SD ``response``), three jumps per session with
noise, measured by ``ways`` Methods. A Method has a gain of its own (its truth is gain × effect), an
error of its own per jump, and shares most of the error with the others; each is summarised by the
mean, the median and the best. ``effect`` 0: the joint tests are judged at 5 %. Else: each analysis'
interval has to include that analysis' own truth (one analysis a study, each in turn); the spread of the
estimates without noise is held against that of the truths by :func:`spread_ratio`. The best of three has a truth of its own as well (its bias is the same
before and after where noise does not change).
"""

from __future__ import annotations

import time
from pathlib import Path

import numpy as np
from harness import COVERAGE_BAR, REJECTION_BAR, calibrate, covers, rejects
from judged_table import write_judged

from cmjlab.stats.change.pairs import Pairs
from cmjlab.stats.specifications.estimates import change_difference, over_squad
from cmjlab.stats.specifications.joint import STATISTICS, joint_test
from cmjlab.stats.specifications.shares import spread_beyond_noise

TABLE = Path(__file__).with_name("specifications_rates.csv")
STUDIES = 5000
BATCH = 250
SEED = 20261128
DEALS = 199
WAYS = 8
PAIR = ("trained", "usual")
#: Gains of the Methods: what an onset rule makes of a change in time, or a filter of a peak.
GAINS = np.linspace(0.8, 1.2, WAYS)


def cells():
    """Return all situations."""
    return [
        {"n": n, "effect": effect, "spread": spread}
        for n, effect, spread in (
            (10, 0.0, 1.0),
            (6, 0.0, 1.0),
            (10, 0.0, 2.0),
            (10, 1.0, 1.0),
            (20, 1.0, 1.0),
        )
    ]


def simulate(rng, cell):
    """Return pairs by every Method and summary, and the truth of each."""
    n = cell["n"]
    group = np.repeat(PAIR, n)
    trained = group == PAIR[0]
    level = rng.normal(0.0, 2.0, 2 * n)
    response = rng.normal(0.0, 0.5, 2 * n) * np.where(trained, cell["spread"], 1.0)
    true = np.stack([level, level + response + cell["effect"] * trained])
    shared = rng.normal(0.0, 0.6, (2, 2 * n, 3))
    jumps = true[:, :, None] + shared
    who = tuple(f"A{i}" for i in range(2 * n))
    every, truths = [], []
    for gain in GAINS:
        values = gain * jumps + rng.normal(0.0, 0.2, jumps.shape)
        for summary in (np.mean, np.median, np.max):
            before, after = summary(values, axis=2)
            every.append(Pairs("m", who, before, after, group, np.empty((2 * n, 0)), ()))
            truths.append(gain * cell["effect"])
    return every, np.array(truths), who


def study(rng, cell, size):
    """Return for each study what was covered, what was rejected, and how far spreads are off."""
    hits: dict[str, list[float]] = {}
    for number in range(size):
        every, truths, who = simulate(rng, cell)
        found = [change_difference(pairs, PAIR) for pairs in every]
        spread = over_squad(found, who)
        if cell["effect"] == 0.0:
            p = joint_test(spread, deals=DEALS, seed=int(rng.integers(2**32))).p
            for name in STATISTICS:
                hits.setdefault(f"joint test, {name}", []).append(float(rejects(p[name])))
        else:
            half = [_half(f) for f in found]
            inside = [
                covers(f.estimate - h, f.estimate + h, t)
                for f, h, t in zip(found, half, truths, strict=True)
            ]
            hits.setdefault("interval of one analysis", []).append(
                float(inside[number % len(inside)])
            )
    return {k: np.array(v) for k, v in hits.items()}


def _half(one):
    from scipy import special

    return one.se * special.stdtrit(one.df, 0.975)


def spread_ratio(cell, seed=SEED, studies=400):
    """Return the variance of the estimates over that of the truths: all of it, and beyond noise."""
    rng = np.random.default_rng([seed, cell["n"]])
    ratios = []
    for _ in range(studies):
        every, truths, who = simulate(rng, cell)
        found = over_squad([change_difference(pairs, PAIR) for pairs in every], who)
        scores = np.array([f.scores for f in found])
        both = spread_beyond_noise(np.array([f.estimate for f in found]), scores)
        ratios.append(np.square(both) / truths.var())
    return np.mean(ratios, axis=0)


def bar(cell, quantity):
    """Return between which proportions a row has to lie."""
    return REJECTION_BAR if quantity.startswith("joint") else COVERAGE_BAR


def shown(cell, quantity):
    """Return why a row is only shown, or "" when it is judged."""
    if cell["spread"] != 1.0:
        return "dealing labels again takes the groups' spreads for equal"
    return ""


def main():
    """Run everything and write the table."""
    start = time.perf_counter()
    table = calibrate(cells(), study, studies=STUDIES, seed=SEED, batch=BATCH, bar=bar, shown=shown)
    write_judged(table, TABLE, start)


if __name__ == "__main__":
    main()
