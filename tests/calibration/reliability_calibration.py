"""Calibration of the reliability intervals: simulate, count, judge, write the table.

    python tests/calibration/reliability_calibration.py          # about five minutes on one core

Writes ``reliability_coverage.csv`` beside this file; ``tests/stats/reliability/test_reliability_calibration.py``
checks the table and runs a slice of it again. All values are normal with ICC(C,1) = .95 and a
total variance (athletes + noise) of 1, unless the cell says otherwise.

Columns of a cell: n athletes, k sessions, session_variance, missing (share of values, at
random), sessions ("random": drawn anew in every study; "fixed": the same pattern in every
study), noise ("normal"; "t5": heavy tails; "own": every athlete with noise of its own, log SD .4).
Cells that theory excludes are marked "shown".
"""

from __future__ import annotations

import time
from pathlib import Path

import numpy as np
import pandas as pd
from harness import COVERAGE_BAR, REJECTION_BAR, count, covers, judge, rejects
from judged_table import write_judged
from scipy import special

from cmjlab.stats.common.intervals import f_tail, mean_limits, sd_limits
from cmjlab.stats.common.mean_squares import two_way
from cmjlab.stats.reliability import icc as icc
from cmjlab.stats.reliability.agreement import difference_moments, limits_of_agreement
from cmjlab.stats.reliability.missing import consistency_missing, intra_block
from cmjlab.stats.reliability.pivotal import agreement_limits
from cmjlab.stats.reliability.robust import bonett, shares

TABLE = Path(__file__).with_name("reliability_coverage.csv")
STUDIES = 10_000
TEST_STUDIES = 20_000
SEED = 20261125
BATCH = 2500
ICC = 0.95


def cells():
    """Return all situations."""
    out = []
    for n in (8, 12, 20, 40):
        for k in (2, 3):
            for missing in (0.0, 0.15):
                for variance in (0.0, 0.02, 0.1):
                    for sessions in ("random", "fixed") if variance else ("random",):
                        out.append({"n": n, "k": k, "session_variance": variance, "missing": missing,
                                    "sessions": sessions, "noise": "normal"})  # fmt: skip
    for n in (8, 12, 20, 40):
        for k in (2, 3):
            for noise in ("t5", "own"):
                out.append({"n": n, "k": k, "session_variance": 0.0, "missing": 0.0,
                            "sessions": "random", "noise": noise})  # fmt: skip
    return out


def simulate(rng, cell, size):
    """Return values (size, n, k) and the session effects (size, k)."""
    n, k, v = cell["n"], cell["k"], cell["session_variance"]
    athletes = rng.normal(size=(size, n, 1)) * np.sqrt(ICC)
    if cell["noise"] == "t5":
        noise = rng.standard_t(5, size=(size, n, k)) * np.sqrt(3 / 5)
    elif cell["noise"] == "own":
        own = np.exp(0.4 * rng.normal(size=(size, n, 1)) - 0.16)
        noise = rng.normal(size=(size, n, k)) * own
    else:
        noise = rng.normal(size=(size, n, k))
    if cell["sessions"] == "random":
        effects = rng.normal(size=(size, k)) * np.sqrt(v)
    else:
        pattern = np.arange(k) - (k - 1) / 2
        effects = np.broadcast_to(pattern / pattern.std(ddof=1) * np.sqrt(v), (size, k))
    values = athletes + noise * np.sqrt(1 - ICC) + effects[:, None, :]
    gone = rng.random(values.shape) < cell["missing"]
    return np.where(gone, np.nan, values), effects


def study(rng, cell, size):
    """Return for every simulated study which intervals held the truth."""
    y, effects = simulate(rng, cell, size)
    te, v = np.sqrt(1 - ICC), cell["session_variance"]
    ms, block = two_way(y), intra_block(y)
    out = {"typical_error": covers(*sd_limits(np.sqrt(block.mse), block.df, 0.95), te)}
    if cell["missing"]:
        out["icc_c1"] = covers(*consistency_missing(y, 0.95)[1:], ICC)
    else:
        value = icc.consistency(ms, 0.95)
        out["icc_c1"] = covers(value.low, value.high, ICC)
    if cell["noise"] != "normal":
        out["typical_error_robust"] = covers(*bonett(shares(y, block), block, 0.95), te)
        return out
    out |= _agreement_icc(cell, ms, v)
    out |= _changes(cell, y, effects, te)
    if cell["sessions"] == "random":
        one = icc.one_way(ms, 0.95)
        out["icc_1 published"] = covers(one.low, one.high, ICC / (1 + v))
    if v:
        out |= session_test(y)
    return out


def session_test(y):
    """Return whether the F test of sessions rejects; here only where there is something to find."""
    ms = two_way(y)
    return {"session_f test": rejects(f_tail(ms.msc / ms.mse, ms.df_c, ms.df_e))}


def null_study(rng, cell, size):
    """Return rejections without a session change (tests need more studies than intervals)."""
    return session_test(simulate(rng, cell, size)[0])


def _agreement_icc(cell, ms, v):
    truth = ICC / (1 + v)
    published = icc.agreement(ms, 0.95)
    out = {"icc_a1 published": covers(published.low, published.high, truth)}
    if cell["sessions"] == "random":
        limits = agreement_limits(ms, 0.95, fixed=False)
        out["icc_a1 pivotal, sessions a sample"] = covers(*limits, truth)
    if cell["sessions"] == "fixed" or v == 0:
        limits = agreement_limits(ms, 0.95, fixed=True)
        out["icc_a1 fiducial, these sessions"] = covers(*limits, truth)
    return out


def _changes(cell, y, effects, te):
    difference = y[:, :, 1] - y[:, :, 0]
    shift = effects[:, 1] - effects[:, 0]
    n, mean, sd = difference_moments(difference)
    out = {"session_change": covers(*mean_limits(mean, sd / np.sqrt(n), n - 1, 0.95), shift)}
    spread = 1.96 * np.sqrt(2) * te
    one = limits_of_agreement(difference)
    out["limit_lower alone"] = covers(one.lower_low, one.lower_high, shift - spread)
    out["limit_upper alone"] = covers(one.upper_low, one.upper_high, shift + spread)
    both = limits_of_agreement(difference, pair=True)
    # The pair is exact for the share of the population between the limits.
    share = 2 * special.ndtr(1.96) - 1
    inner = _share(both.lower_high, both.upper_low, shift, np.sqrt(2) * te)
    outer = _share(both.lower_low, both.upper_high, shift, np.sqrt(2) * te)
    out["limits as a pair"] = covers(inner, outer, share)
    return out


def _share(low, high, mean, sd):
    return special.ndtr((high - mean) / sd) - special.ndtr((low - mean) / sd)


def shown(cell, quantity):
    """Return why a row is shown and not judged, "" when it is judged."""
    if quantity == "typical_error_robust":
        return "Bonett's interval is approximate: made for noise that is not normal"
    if cell["noise"] == "t5":
        return "heavy-tailed noise: the interval takes normal noise"
    if cell["noise"] == "own":
        return "athletes with noise of their own: the interval takes equal noise"
    if quantity == "icc_a1 published":
        if cell["session_variance"]:
            return "published interval under a session shift: Satterthwaite with k - 1 df"
        return "published interval: approximate by construction"
    if quantity == "icc_1 published" and cell["session_variance"]:
        return "one-way ICC under a session shift: outside its model"
    if quantity == "session_f test" and cell["session_variance"]:
        return "a session change is there to be found: power"
    return ""


def bar(cell, quantity):
    """Return lowest and highest acceptable proportion."""
    if quantity.endswith("test"):
        return REJECTION_BAR
    # Pivotal intervals are a little wide by construction (.95 to .96): up to 97 %.
    return (0.94, 0.97) if quantity.startswith("icc_a1") else COVERAGE_BAR


def main():
    """Run everything and write the table."""
    start = time.perf_counter()
    counted = []
    for cell in cells():
        counted += count(cell, study, studies=STUDIES, seed=SEED, batch=BATCH)
        if cell["session_variance"] == 0 and cell["noise"] == "normal":
            counted += count(cell, null_study, studies=TEST_STUDIES, seed=SEED + 1, batch=BATCH)
    table = judge(pd.DataFrame(counted), bar=bar, shown=shown)
    write_judged(table, TABLE, start)


if __name__ == "__main__":
    pd.set_option("display.width", 250)
    main()
