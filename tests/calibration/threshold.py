"""How often a cut is called a step: on a pure line, and where there is a real step.

``n`` athletes, a measure and an outcome with correlation .6 along a straight line, the cut at the
mean of the measure or half an SD above it; on top of the line a step of 0, 0.5, 1 or 1.5 SDs of
the outcome around the line. Counted is the verdict "supported" of :func:`cmjlab.threshold_evidence`,
and beside it what judging the plain difference across the cut would have said.

``python tests/calibration/threshold.py`` (under a minute) writes ``threshold.csv``.
"""

from __future__ import annotations

import time
from pathlib import Path

import numpy as np
from harness import calibrate
from judged_table import write_judged

from cmjlab.stats.common.rows import Rows
from cmjlab.stats.common.verdicts import side_of_zero
from cmjlab.stats.subgroups.cut import LINE_ONLY, SUPPORTED, CutPart, add_cut

PATH = Path(__file__).parent / "threshold.csv"
SEED = 20261126
STUDIES = 2_000
BATCH = 200
R = 0.6
#: Largest size on a pure line.
BAR = (0.0, 0.06)

CELLS = [
    {"n": n, "cut": cut, "step": 0.0} for n in (12, 20, 30, 60) for cut in (0.0, 0.5)
] + [{"n": n, "cut": 0.0, "step": step} for n in (20, 30, 60) for step in (0.5, 1.0, 1.5)]  # fmt: skip


def study(rng, cell, size):
    """Return which studies call the cut a step, a line, and whose plain difference is clear."""
    out = {q: np.full(size, np.nan) for q in ("supported", "line_only", "difference alone")}
    for i in range(size):
        x = rng.standard_normal(cell["n"])
        noise = np.sqrt(1.0 - R**2)
        y = R * x + noise * (rng.standard_normal(cell["n"]) + cell["step"] * (x >= cell["cut"]))
        rows = Rows(level=0.95)
        verdict = add_cut(rows, CutPart("all", "base1", "x", "y", cell["cut"], x, y))
        row = rows.first("cut_difference")
        if not np.isfinite(row["estimate"]):
            continue
        out["supported"][i] = verdict == SUPPORTED
        out["line_only"][i] = verdict == LINE_ONLY
        out["difference alone"][i] = side_of_zero(row["ci_low"], row["ci_high"]) != "open"
    return out


def why_shown(cell, quantity):
    """Return why a row is shown and not judged, "" when it is judged."""
    if quantity == "supported" and cell["step"] == 0.0:
        return ""
    return "power, or what the plain difference would say"


def make(studies=STUDIES):
    """Return the table."""
    return calibrate(
        CELLS, study, studies=studies, seed=SEED, bar=BAR, shown=why_shown, batch=BATCH
    )


if __name__ == "__main__":
    start = time.perf_counter()
    write_judged(make(), PATH, start)
