"""How often a published number is called replicated or not, when both studies have one truth and when not.

Two studies, ours of ``n`` athletes and theirs of ``m``, both in ``k`` sessions: a mean, a change, a
difference of two groups' changes, a standard deviation, a typical error and an ICC of each, with
the intervals that :func:`cmjlab.compare_paper` gives them. ``apart`` is the true difference in
margins (of spreads: the logarithm of their ratio by that of the margin): 0 is one truth for both.
The margin of means and changes is 0.2 SD between athletes, that of spreads a factor of 1.25, that of
ICCs 0.1. Where ``printed`` is 1 the published number is rounded to a tenth of an SD, as papers do.

Judged: with one truth at most 5 % are called "not replicated" (and "covers", the interval of the
difference, holds in at least 95 %); at the margin itself at most 5 % are called "replicated". The
rest shows what one may hope for: with squads of the usual size the answer is mostly "cannot tell".
MOVER is cautious for means (its limits of small squads are wider than Welch's), so rates lie below
the bar.

``python tests/calibration/replication.py`` (half a minute) writes ``replication.csv``.
"""

from __future__ import annotations

import time
from pathlib import Path

import numpy as np
from harness import calibrate
from judged_table import write_judged

from cmjlab.scrutiny.paper import published
from cmjlab.scrutiny.paper.rule import (
    CANNOT_TELL,
    NOT_REPLICATED,
    REPLICATED,
    compared,
    narrow_level,
    verdicts,
)
from cmjlab.stats.common.mean_squares import two_way
from cmjlab.stats.reliability.icc import consistency

PATH = Path(__file__).parent / "replication.csv"
SEED = 20261128
STUDIES = 20_000
BATCH = 2_000
LEVEL = 0.95
MARGINS = {
    "mean": 0.2,
    "change": 0.2,
    "difference": 0.2,
    "sd": 1.25,
    "typical error": 1.25,
    "icc": 0.1,
}
RATIOS = ("sd", "typical error")
ICC = 0.8
#: A change has this SD beside that between athletes of 1.
SD_CHANGE = 0.6

_SIZES = ((8, 12), (20, 20), (30, 100), (12, 400))
CELLS = [
    {"statistic": s, "n": n, "m": m, "k": 2, "apart": apart, "printed": 0}
    for s in MARGINS
    for n, m in _SIZES
    for apart in (0.0, 1.0, 4.0)
] + [
    {"statistic": s, "n": n, "m": m, "k": k, "apart": apart, "printed": printed}
    for s, n, m, k, apart, printed in (
        ("mean", 20, 20, 2, 0.0, 1), ("change", 20, 20, 2, 0.0, 1), ("mean", 150, 400, 2, 0.0, 0),
        ("mean", 150, 400, 2, 1.0, 0), ("typical error", 12, 20, 4, 0.0, 0), ("icc", 12, 20, 4, 0.0, 0),
        ("typical error", 150, 400, 2, 0.0, 0), ("typical error", 150, 400, 2, 1.0, 0),
        ("icc", 150, 400, 2, 0.0, 0), ("icc", 150, 400, 2, 1.0, 0),
    )
]  # fmt: skip


def _truth(cell: dict, theirs: bool) -> float:
    """Return the true value of a study; theirs is that of ours less the difference of the cell."""
    statistic, apart = cell["statistic"], cell["apart"] if theirs else 0.0
    if statistic in RATIOS:
        return MARGINS[statistic] ** -apart
    if statistic == "icc":
        return ICC - 0.1 * apart
    return 0.0 - MARGINS[statistic] * apart


def _means(rng, truth, sd, n, size):
    x = truth + sd * rng.standard_normal((size, n))
    return x.mean(axis=1), x.std(axis=1, ddof=1)


def drawn(rng, cell, theirs, size):
    """Return the estimates of a study, and how limits follow from what a paper would print."""
    statistic, n, k = cell["statistic"], cell["m"] if theirs else cell["n"], cell["k"]
    truth = _truth(cell, theirs)
    if statistic in ("mean", "change"):
        value, sd = _means(rng, truth, 1.0 if statistic == "mean" else SD_CHANGE, n, size)
        return value, lambda v, level: published.limits_of_mean(v, sd, n, level)
    if statistic == "difference":
        one, sd_one = _means(rng, truth, SD_CHANGE, n, size)
        two, sd_two = _means(rng, 0.0, SD_CHANGE, n, size)
        sd = np.sqrt((sd_one**2 + sd_two**2) / 2)
        return one - two, lambda v, level: published.limits_of_difference(v, sd, (n, n), level)
    if statistic == "sd":
        value = _means(rng, 0.0, truth, n, size)[1]
        return value, lambda v, level: published.limits_of_sd(v, n - 1, level)
    noise = truth if statistic == "typical error" else np.sqrt(1 - truth)
    between = 2.0 if statistic == "typical error" else np.sqrt(truth)
    x = between * rng.standard_normal((size, n, 1)) + noise * rng.standard_normal((size, n, k))
    ms = two_way(x)
    if statistic == "typical error":
        df = (n - 1) * (k - 1)
        return np.sqrt(ms.mse), lambda v, level: published.limits_of_sd(v, df, level)
    return consistency(ms, LEVEL).estimate, lambda v, level: published.limits_of_icc(v, n, k, level)


def study(rng, cell, size):
    """Return what the rule says of each pair of studies, and whether the interval covers the truth."""
    statistic, ratios = cell["statistic"], cell["statistic"] in RATIOS
    value, limits = drawn(rng, cell, False, size)
    theirs, their_limits = drawn(rng, cell, True, size)
    half = np.full(size, 0.05 if cell["printed"] else 0.0)
    if cell["printed"]:
        theirs = np.round(theirs, 1)
    found = [
        compared((value, *limits(value, level)), (theirs, half),
                 lambda v, level=level: their_limits(v, level), ratios=ratios)
        for level in (LEVEL, narrow_level(LEVEL))
    ]  # fmt: skip
    margin = MARGINS[statistic]
    said = verdicts(*found, (1 / margin if ratios else -margin, margin), 1.0 if ratios else 0.0)
    ours, other = _truth(cell, False), _truth(cell, True)
    apart = ours / other if ratios else ours - other
    out = {name: (said == name).astype(float) for name in (REPLICATED, NOT_REPLICATED, CANNOT_TELL)}
    out["covers"] = ((found[0][0] <= apart) & (apart <= found[0][1])).astype(float)
    return out


def bar(cell, quantity):
    """Return the bar: errors at most 5 % (tests of the house: 5.5), coverage at least 94 %."""
    return (0.94, 1.0) if quantity == "covers" else (0.0, 0.055)


def why_shown(cell, quantity):
    """Return why a row is shown and not judged, "" when it is judged."""
    if quantity == "covers":
        return ""
    if quantity == NOT_REPLICATED and cell["apart"] == 0.0:
        return ""
    if quantity == REPLICATED and cell["apart"] == 1.0:
        return ""
    return "what the rule can see with such squads; no bar"


def make(cells=CELLS, studies=STUDIES):
    """Return the table."""
    return calibrate(
        cells, study, studies=studies, seed=SEED, bar=bar, shown=why_shown, batch=BATCH
    )


if __name__ == "__main__":
    start = time.perf_counter()
    write_judged(make(), PATH, start)
