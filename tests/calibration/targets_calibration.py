"""Calibration of targets: do the intervals of all targets of a study hold together.

    python tests/calibration/targets_calibration.py   # a quarter of an hour on one core

Writes ``targets_coverage.csv`` beside this file. Two trained groups and a comparison group of n
athletes each; every trained group has targets on ``measures`` measures, whose changes correlate
by ``r`` within an athlete. ``spread``: SD of the changes in the trained groups (1 in the comparison
group). The truth is a change of .5 in every trained group; a study counts as covered when *all*
its intervals include the truth. "each" are plain 95 % intervals that know nothing of each other.
"""

from __future__ import annotations

import time
from pathlib import Path

import numpy as np
import pandas as pd
from harness import calibrate
from judged_table import write_judged

from cmjlab.stats.change.design import ancova_design, fit
from cmjlab.stats.change.pairs import Pairs, Prepared
from cmjlab.stats.common.least_squares import contrast, least_squares
from cmjlab.stats.targets.together import (
    adjusted_scores,
    difference_scores,
    level_of_each,
    mean_scores,
)

TABLE = Path(__file__).with_name("targets_coverage.csv")
STUDIES = 4000
BATCH = 500
SEED = 20261127
LEVEL = 0.95
EFFECT = 0.5
ORDER = ("a", "b", "usual")


def cells():
    """Return all situations."""
    return [
        {"n": n, "measures": 2, "r": r, "spread": spread}
        for n, r, spread in ((10, 0.0, 1.0), (10, 0.9, 1.0), (6, 0.5, 1.0), (10, 0.5, 2.0))
    ] + [{"n": 10, "measures": 4, "r": 0.5, "spread": 1.0}]


def simulate(rng, cell):
    """Return the pairs of each measure of one study."""
    n, k, r = cell["n"], cell["measures"], cell["r"]
    group = np.repeat(ORDER, n)
    trained = group != "usual"
    shared = rng.normal(size=(3 * n, 1))
    change = np.sqrt(r) * shared + np.sqrt(1 - r) * rng.normal(size=(3 * n, k))
    change = change * np.where(trained, cell["spread"], 1.0)[:, None] + EFFECT * trained[:, None]
    before = rng.normal(0.0, 2.0, size=(3 * n, k))
    who = tuple(f"A{i}" for i in range(3 * n))
    return [
        Pairs(f"m{j}", who, before[:, j], before[:, j] + change[:, j], group,
              np.empty((3 * n, 0)), ())
        for j in range(k)
    ]  # fmt: skip


def estimates(pairs, name, prepared):
    """Return each kind of estimate of one target with its scores and truth."""
    mine, rest = pairs.change[pairs.group == name], pairs.change[pairs.group == "usual"]
    changes = np.concatenate([mine, rest])
    both = np.zeros((len(changes), 2))
    both[: len(mine), 0] = both[len(mine) :, 1] = 1.0
    design = ancova_design(pairs, prepared, [])
    pair = (name, "usual")
    return {
        "within": (
            contrast(least_squares(mine, np.ones((len(mine), 1))), np.ones(1), "classical"),
            mean_scores(pairs, name),
        ),
        "change difference": (
            contrast(least_squares(changes, both), np.array([1.0, -1.0])),
            difference_scores(pairs, pair),
        ),
        "adjusted difference": (
            contrast(fit(pairs.after, design.columns), design.weights(pair)),
            adjusted_scores(pairs, pair, prepared, "random"),
        ),
    }


def study(rng, cell, size):
    """Return for each study whether all intervals of its targets include the truth."""
    hits: dict[str, list[float]] = {}
    for _ in range(size):
        every = simulate(rng, cell)
        found = [
            estimates(p, name, Prepared(pd.DataFrame(), [p.metric], "pre", "post", {}, ORDER))
            for p in every
            for name in ORDER[:2]
        ]
        for kind in found[0]:
            mine = [f[kind] for f in found]
            level = level_of_each([scores for _, scores in mine], LEVEL)
            for word, used in (("together", level), ("each", LEVEL)):
                inside = [_covered(e.interval(used)) for e, _ in mine]
                hits.setdefault(f"{kind}, {word}", []).append(float(all(inside)))
    return {k: np.array(v) for k, v in hits.items()}


def _covered(limits):
    return limits[0] <= EFFECT <= limits[1]


def shown(cell, quantity):
    """Return why a row is only shown, or "" when it is judged."""
    return "plain intervals do not hold together" if quantity.endswith("each") else ""


def main():
    """Run everything and write the table."""
    start = time.perf_counter()
    table = calibrate(cells(), study, studies=STUDIES, seed=SEED, shown=shown, batch=BATCH)
    write_judged(table, TABLE, start)


if __name__ == "__main__":
    main()
