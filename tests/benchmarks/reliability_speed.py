"""Speed of reliability beside a loop over ``pingouin.intraclass_corr``, in one run.

    python tests/benchmarks/reliability_speed.py

50 metrics × 300 athletes × 2 sessions. Prints the load of the machine, seconds of processor and of the
clock, and the ratios; all sides are timed in turn, seven times, and the median of the paired ratios
counts. On a shared machine the seconds of the processor tell more.
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

METRICS, ATHLETES, ROUNDS = 50, 300, 7


def squad() -> pd.DataFrame:
    """Return an invented squad."""
    rng = np.random.default_rng(5)
    true = rng.normal(0.35, 0.05, size=(ATHLETES, 1, METRICS))
    values = true + rng.normal(0, 0.012, size=(ATHLETES, 2, METRICS))
    table = pd.DataFrame(values.reshape(-1, METRICS), columns=[f"m{i:02d}" for i in range(METRICS)])
    table.insert(0, "session", np.tile(["base1", "base2"], ATHLETES))
    table.insert(0, "athlete", np.repeat([f"A{i:04d}" for i in range(ATHLETES)], 2))
    return table


def timed(call) -> tuple[tuple[float, float], object]:
    """Return seconds of processor and of the clock, and the result of a call."""
    processor, clock = time.process_time(), time.perf_counter()
    result = call()
    return (time.process_time() - processor, time.perf_counter() - clock), result


def everything(table: pd.DataFrame) -> list[object]:
    """Return the table of reliability, all sentences and the data behind all figures."""
    result = cj.reliability(table)
    return [result.table, result.sentences, *result.points.values()]


def main() -> None:
    """Time, compare numbers, print."""
    table = squad()
    names = [c for c in table if c.startswith("m")]

    def loop() -> pd.DataFrame:
        return pd.concat([icc_by_pingouin(table, m).assign(metric=m) for m in names])

    sides = {
        "loop over pingouin.intraclass_corr": loop,
        "published_icc, same numbers": lambda: published_icc(table),
        "reliability, its table": lambda: cj.reliability(table),
        "… with all sentences and points": lambda: everything(table),
    }
    last = [call() for call in sides.values()]
    seconds = np.array([[timed(call)[0] for call in sides.values()] for _ in range(ROUNDS)])
    published = last[2].rows(interval_kind="mcgraw_wong")
    both = last[0].merge(published, on=["metric", "statistic"], suffixes=("", "_ours"))
    gap = max(
        float((both[c] - both[f"{c}_ours"]).abs().max()) for c in ("estimate", "ci_low", "ci_high")
    )
    load = f", load {os.getloadavg()[0]:.1f}" if hasattr(os, "getloadavg") else ""
    lines = [f"{METRICS} metrics x {ATHLETES} athletes x 2 sessions{load}"]
    for i, name in enumerate(sides):
        processor, clock = 1e3 * np.median(seconds[:, i], axis=0)
        ratios = np.median(seconds[:, 0] / seconds[:, i], axis=0)
        lines.append(
            f"{name:36s} {processor:7.1f} ms of processor {clock:7.1f} ms on the clock"
            f"   {ratios[0]:5.1f} x and {ratios[1]:5.1f} x faster"
        )
    lines.append(f"largest difference of {len(both)} estimates and their limits: {gap:.1e}")
    sys.stdout.write("\n".join(lines) + "\n")


if __name__ == "__main__":
    main()
