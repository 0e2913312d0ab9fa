"""Calibration of the components from single jumps and of the jumps-needed table.

    python tests/calibration/reliability_jumps_calibration.py          # about one minute on one core

Writes ``reliability_jumps_coverage.csv``. Jumps = athlete + session shift + athlete × session
(SD ``day``) + jump noise (SD 1); SD between athletes 4, a common slope of .1 per jump.
``unequal``: one to four of five jumps are lost at random in each session.
"""

from __future__ import annotations

import time
from pathlib import Path

import numpy as np
import pandas as pd
from harness import COVERAGE_BAR, count, covers, judge
from judged_table import write_judged

from cmjlab.stats.common.intervals import mean_limits, mls_limits, sd_limits
from cmjlab.stats.reliability.jump_components import JumpCube, components
from cmjlab.stats.reliability.jumps_needed import decision_table

TABLE = Path(__file__).with_name("reliability_jumps_coverage.csv")
STUDIES = 10_000
SEED = 20261126
BATCH = 500
SLOPE, ATHLETES = 0.1, 4.0
#: (jumps averaged, sessions averaged) that are checked.
TARGETS = ((1, 1), (10, 1), (3, 2))


def cells():
    """Return all situations."""
    return [
        {"n": n, "k": k, "day": day, "jumps": jumps}
        for n in (8, 20)
        for k in (2, 3)
        for day in (0.0, 0.7, 1.5)
        for jumps in ("3", "unequal")
    ]


def simulate(rng, cell, size):
    """Return a cube in which every simulated study is one metric."""
    n, k = cell["n"], cell["k"]
    most = 3 if cell["jumps"] == "3" else 5
    y = ATHLETES * rng.normal(size=(size, n, 1, 1)) + 0.5 * rng.normal(size=(size, 1, k, 1))
    y = y + cell["day"] * rng.normal(size=(size, n, k, 1)) + rng.normal(size=(size, n, k, most))
    order = np.broadcast_to(np.arange(1.0, most + 1), (n, k, most))
    y = y + SLOPE * order
    if cell["jumps"] == "unequal":
        keep = rng.integers(1, most, size=(1, n, k, 1))
        y = np.where(order <= keep, y, np.nan)
    names = tuple(str(i) for i in range(size))
    return JumpCube(names, tuple(map(str, range(n))), tuple(map(str, range(k))), y, order)


def study(rng, cell, size):
    """Return for every simulated study which intervals held the truth."""
    data = simulate(rng, cell, size)
    part = components(data)
    day2 = cell["day"] ** 2
    out = {"sd_between_jumps": covers(*sd_limits(np.sqrt(part.jumps), part.df_jumps, 0.95), 1.0)}
    slope = mean_limits(part.slope, part.slope_se, part.df_jumps, 0.95)
    out["jump_order_slope"] = covers(*slope, SLOPE)
    squares, dfs = [part.cells.mse, part.jumps], [part.cells.df, part.df_jumps]
    low, high = mls_limits([1.0, -part.share], squares, dfs, 0.95)
    out["sd_between_days"] = covers(np.maximum(low, 0), np.maximum(high, 0), day2)
    ms = part.athletes
    low, high = mls_limits([1 / ms.k, -1 / ms.k], [ms.msr, ms.mse], [ms.df_r, ms.df_e], 0.95)
    out["sd_between_athletes"] = covers(low, high, ATHLETES**2)
    curve = decision_table(data, part, 0.95, cells=TARGETS, draws=1024)
    for jumps, sessions in TARGETS:
        row = curve[(curve["n_jumps"] == jumps) & (curve["n_sessions"] == sessions)]
        noise = (day2 + 1 / jumps) / sessions
        label = f"of {jumps} jumps x {sessions} sessions"
        out[f"typical_error {label}"] = covers(row["ci_low"], row["ci_high"], np.sqrt(noise))
        truth = ATHLETES**2 / (ATHLETES**2 + noise)
        out[f"icc {label}"] = covers(row["icc_low"], row["icc_high"], truth)
    return out


def bar(cell, quantity):
    """Intervals of sums and pivots may be a little wide, above all at a boundary."""
    exact = quantity in ("sd_between_jumps", "jump_order_slope")
    return COVERAGE_BAR if exact else (0.94, 0.98)


def shown(cell, quantity):
    """Return why a row is shown and not judged, "" when it is judged."""
    if cell["day"] == 0 and quantity.startswith(("typical_error", "sd_between_days", "icc")):
        return "variance between days is truly zero: the interval is cut at the boundary"
    return ""


def main():
    """Run everything and write the table."""
    start = time.perf_counter()
    rows = []
    for cell in cells():
        rows += count(cell, study, studies=STUDIES, seed=SEED, batch=BATCH)
    table = judge(pd.DataFrame(rows), bar=bar, shown=shown)
    write_judged(table, TABLE, start)


if __name__ == "__main__":
    pd.set_option("display.width", 250)
    main()
