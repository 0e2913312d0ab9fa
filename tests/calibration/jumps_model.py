"""The model on single jumps when nothing changed: sizes of its tests, coverage of its intervals.

Two groups of n athletes, two or three sessions, two to six jumps in each (drawn anew for every
athlete and session), a tenth of the sessions missing. SDs: athletes 3, athlete × session 1, jumps
1.5. Counted: the joint test and the declared difference reject (Kenward–Roger); the intervals of
the shrunken changes hold the true change, form of the day included, of one athlete drawn by chance.

``python tests/calibration/jumps_model.py`` (two minutes) writes ``jumps_model.csv``.
"""

from __future__ import annotations

import time
from pathlib import Path

import numpy as np
import pandas as pd
from harness import calibrate, rejects
from judged_table import write_judged

from cmjlab.stats.common.intervals import t_quantile
from cmjlab.stats.common.reml_tests import kenward_roger, kenward_roger_f
from cmjlab.stats.mixed.jumps_model import Jumps, fit_jumps, shrunken_changes
from cmjlab.stats.mixed.panel import Panel

PATH = Path(__file__).parent / "jumps_model.csv"
SEED = 20261126
STUDIES = 600
BATCH = 100
MOST, FEWEST, MISSING = 6, 2, 0.1
SD_ATHLETES, SD_DAYS, SD_JUMPS = 3.0, 1.0, 1.5
BARS = {"test": (0.04, 0.065), "interval": (0.92, 0.97)}

CELLS = [{"n": n, "sessions": k} for k in (2, 3) for n in (6, 8, 12, 20, 30)]


def simulate(rng, cell):
    """Return jumps, and each athlete's true deviation in every session."""
    m, k = 2 * cell["n"], cell["sessions"]
    days = SD_DAYS * rng.standard_normal((m, k))
    level = SD_ATHLETES * rng.standard_normal((m, 1)) + days
    values = level[..., None] + SD_JUMPS * rng.standard_normal((m, k, MOST))
    counts = rng.integers(FEWEST, MOST + 1, (m, k))
    counts[rng.random((m, k)) < MISSING] = 0
    counts[counts.sum(axis=1) == 0, 0] = FEWEST
    values[np.arange(MOST) >= counts[..., None]] = np.nan
    there = np.isfinite(values).sum(axis=2)
    means = np.where(there > 0, np.nansum(values, axis=2) / np.maximum(there, 1), np.nan)
    member = np.repeat([0, 1], cell["n"])
    names = tuple(f"A{i}" for i in range(m))
    sessions = tuple(f"s{j}" for j in range(k))
    return Jumps(Panel("h", means, names, sessions, ("a", "b"), member), values), days


def study(rng, cell, size):
    """Return rejections of both tests, and the share of athletes whose interval holds the truth."""
    names = ("joint test", "declared difference", "shrunken change")
    out = {name: np.full(size, np.nan) for name in names}
    for i in range(size):
        jumps, days = simulate(rng, cell)
        fit = fit_jumps(jumps)
        if not fit.usable:
            continue
        pair = (0, cell["sessions"] - 1)
        joint = kenward_roger_f(fit.pieces, fit.design.interaction())
        out["joint test"][i] = rejects(joint.p)
        found = kenward_roger(fit.pieces, fit.design.change(1, pair) - fit.design.change(0, pair))
        p = abs(found.estimate / found.se) > t_quantile(np.array(0.975), found.df)
        out["declared difference"][i] = float(p)
        # one athlete a study, drawn by chance: studies stay independent
        own = int(rng.integers(len(days)))
        drawn = shrunken_changes(jumps, fit, pair)
        df = kenward_roger(fit.pieces, fit.design.change(int(jumps.panel.member[own]), pair)).df
        half = t_quantile(np.array(0.975), np.asarray(df)) * drawn.se[own]
        truth = days[own, pair[1]] - days[own, pair[0]]
        out["shrunken change"][i] = float(abs(drawn.estimate[own] - truth) <= half)
    return out


def bar(cell, quantity):
    """Return the lowest and highest acceptable proportion."""
    return BARS["interval" if quantity == "shrunken change" else "test"]


def make(studies=STUDIES) -> pd.DataFrame:
    """Return the table."""
    return calibrate(CELLS, study, studies=studies, seed=SEED, bar=bar, batch=BATCH)


if __name__ == "__main__":
    start = time.perf_counter()
    write_judged(make(), PATH, start)
