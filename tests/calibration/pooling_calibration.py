"""How often the intervals of ``pool_metrics`` hold: slope, bias, a new converted jump and squad mean.

A squad of n athletes with some jumps each is measured by two plates. The second reads
(first − 1) / slope, with a deviation of its own for each athlete and each jump; errors stand in the
second alone, or in both alike, as ``error_ratio`` says and the analysis is told. Then eight new
athletes are measured by the second and converted. The slope is used only where its interval
excludes 1, as without a yardstick of noise; choosing so is part of what is counted.

``python tests/calibration/pooling_calibration.py`` (some two minutes on one core) writes ``pooling.csv``.
"""

from __future__ import annotations

import time
from pathlib import Path

import numpy as np
from harness import calibrate
from judged_table import write_judged

from cmjlab.scrutiny.pool.conversion import convert
from cmjlab.scrutiny.pool.structural_line import structural_line
from cmjlab.stats.reliability.agreement import limits_from_changing_truth, limits_of_agreement

PATH = Path(__file__).with_name("pooling.csv")
SEED = 20261128
STUDIES = 2_000
BATCH = 500
LEVEL = 0.95
NEW = 8
#: A choice between offset and line, and few athletes, cost up to three in a hundred.
BARS = {
    "slope": (0.93, 0.97),
    "bias": (0.94, 0.96),
    "new jump": (0.92, 0.97),
    "squad mean": (0.92, 0.985),
}

CELLS = [
    {
        "slope": slope,
        "own": own,
        "each": each,
        "error_ratio": ratio,
        "told": told,
        "jumps": jumps,
        "n": n,
    }
    for slope, own, each, ratio, told in (
        (1.0, 0.3, 0.5, 0.0, 0.0),
        (1.1, 0.3, 0.5, 0.0, 0.0),
        (1.1, 0.0, 0.35, 1.0, 1.0),
        (1.0, 0.3, 0.5, 0.0, 1.0),
    )
    for jumps in (1, 3)
    for n in (8, 12, 20, 30)
]


def squad(rng, cell):
    """Return first and second of n athletes and of the new ones, shape (n + NEW, jumps)."""
    shape = (cell["n"] + NEW, cell["jumps"])
    true = 30 + 4 * rng.standard_normal((shape[0], 1)) + rng.standard_normal(shape)
    first = true + cell["error_ratio"] ** 0.5 * cell["each"] * rng.standard_normal(shape)
    second = (true - 1) / cell["slope"] + cell["each"] * rng.standard_normal(shape)
    return first, second + cell["own"] * rng.standard_normal((shape[0], 1))


def one(rng, cell):
    """Return whether each interval of one simulated comparison holds."""
    first, second = squad(rng, cell)
    n, jumps = cell["n"], cell["jumps"]
    a, b = list(first[:n]), list(second[:n])
    line = structural_line(b, a, error_ratio=cell["told"])
    low, high = line.slope_limits(LEVEL)
    made = convert(a, b, None if low <= 1 <= high else line)
    differences = [y - x for x, y in zip(a, b, strict=True)]
    limits = (
        limits_of_agreement(np.concatenate(differences), level=LEVEL)
        if jumps == 1
        else limits_from_changing_truth(differences, level=LEVEL)
    )
    bias = (30 - 1) / cell["slope"] - 30
    off = made.offset + made.slope * second[n:] - first[n:]
    return {
        "slope": low <= cell["slope"] <= high,
        "bias": limits.bias_low <= bias <= limits.bias_high,
        "new jump": abs(off[0, 0]) <= made.half_width(LEVEL),
        "squad mean": abs(off.mean()) <= made.half_width(LEVEL, jumps=jumps, athletes=NEW),
    }


def study(rng, cell, size):
    """Return for many comparisons whether the intervals hold."""
    found = [one(rng, cell) for _ in range(size)]
    return {name: np.array([f[name] for f in found], dtype=float) for name in found[0]}


def shown(cell, quantity):
    """Return why a row is only shown, or "" when it is judged."""
    if cell["told"] != cell["error_ratio"] and quantity == "slope":
        return "all errors stand in the second, and the analysis is told that both err alike"
    return ""


def main():
    """Run everything and write the table."""
    start = time.perf_counter()
    table = calibrate(
        CELLS, study, studies=STUDIES, seed=SEED, bar=lambda _, quantity: BARS[quantity], shown=shown,
        batch=BATCH,
    )  # fmt: skip
    write_judged(table, PATH, start)


if __name__ == "__main__":
    main()
