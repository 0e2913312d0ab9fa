"""Speed of reliability beside a loop over ``pingouin.intraclass_corr``, in one run.

    python tests/benchmarks/reliability_speed.py

50 metrics × 1,000 athletes × 2 sessions. Prints the load of the machine and the ratios; both sides
are timed in turn, five times, and the median of the paired ratios counts.
"""

from __future__ import annotations

import os
import sys
import time

import numpy as np
import pandas as pd

import cmjlab as cj
from cmjlab.stats.reliability.published import published_icc
from cmjlab.stats.reliability.second_opinion import icc_by_pingouin

METRICS, ATHLETES, ROUNDS = 50, 1000, 5


def squad() -> pd.DataFrame:
    """Return an invented squad."""
    rng = np.random.default_rng(5)
    true = rng.normal(0.35, 0.05, size=(ATHLETES, 1, METRICS))
    values = true + rng.normal(0, 0.012, size=(ATHLETES, 2, METRICS))
    table = pd.DataFrame(values.reshape(-1, METRICS), columns=[f"m{i:02d}" for i in range(METRICS)])
    table.insert(0, "session", np.tile(["base1", "base2"], ATHLETES))
    table.insert(0, "athlete", np.repeat([f"A{i:04d}" for i in range(ATHLETES)], 2))
    return table


def timed(call) -> tuple[float, object]:
    """Return seconds and result of a call."""
    start = time.perf_counter()
    result = call()
    return time.perf_counter() - start, result


def main() -> None:
    """Time, compare numbers, print."""
    table = squad()
    names = [c for c in table if c.startswith("m")]

    def loop() -> pd.DataFrame:
        return pd.concat([icc_by_pingouin(table, m).assign(metric=m) for m in names])

    loop(), published_icc(table), cj.reliability(table)
    rows = []
    for _ in range(ROUNDS):
        slow, theirs = timed(loop)
        fast, ours = timed(lambda: published_icc(table))
        full, _ = timed(lambda: cj.reliability(table))
        rows.append((slow, fast, full))
    both = theirs.merge(ours.table, on=["metric", "statistic"], suffixes=("", "_ours"))
    gap = max(
        float((both[c] - both[f"{c}_ours"]).abs().max()) for c in ("estimate", "ci_low", "ci_high")
    )
    slow, fast, full = np.array(rows).T
    load = f", load {os.getloadavg()[0]:.1f}" if hasattr(os, "getloadavg") else ""
    sys.stdout.write(
        f"{METRICS} metrics x {ATHLETES} athletes x 2 sessions{load}\n"
        f"loop over pingouin.intraclass_corr  {1e3 * np.median(slow):8.1f} ms\n"
        f"published_icc, same numbers         {1e3 * np.median(fast):8.1f} ms   {np.median(slow / fast):5.1f} x faster\n"
        f"reliability, everything             {1e3 * np.median(full):8.1f} ms   {np.median(slow / full):5.1f} x faster\n"
        f"largest difference of {len(both)} estimates and their limits: {gap:.1e}\n"
    )


if __name__ == "__main__":
    main()
