"""Seconds of the statistics of the demo report, analysis by analysis, and of one comparison of groups.

    python tests/benchmarks/statistics_speed.py

Measures the demo study once (not counted), then runs every analysis of its report: the first time
with everything that loads when first needed, then five times more, of which the median counts.
Prints seconds of the processor, and the load of the machine.
"""

from __future__ import annotations

import os
import shutil
import sys
import tempfile
import time
from pathlib import Path

import numpy as np

import cmjlab as cj
from cmjlab.report.build import analyses

STUDY = Path(__file__).parents[2] / "sample_data" / "merrowfold_block"
ROUNDS = 5


def seconds_each(study: cj.Study) -> dict[str, float]:
    """Return seconds of the processor of every analysis of the report, and of all."""
    sessions = study.sessions_table()
    metrics, _ = analyses.report_metrics(study.plan, sessions)
    results: dict[str, cj.Result] = {}
    runs = {
        "reliability": lambda: analyses._reliability(
            study, sessions, metrics, study.jumps_at_load()
        )
    }
    runs |= analyses._change_runs(study, sessions, metrics, results)
    seconds = {}
    for name, run in runs.items():
        start = time.process_time()
        results[name] = run()
        seconds[name] = time.process_time() - start
    return {**seconds, "all of them": sum(seconds.values())}


def comparison(study: cj.Study) -> float:
    """Return seconds of the processor of change_between, for the measures of the report."""
    sessions = analyses.grouped(study.sessions_table())
    metrics, _ = analyses.report_metrics(study.plan, sessions)
    start = time.process_time()
    cj.change_between(
        sessions,
        list(metrics),
        before=study.before,
        after=study.after,
        assignment=study.plan.assignment,
        control=study.plan.control_group or None,
    )
    return time.process_time() - start


def main() -> None:
    """Time and print."""
    with tempfile.TemporaryDirectory() as folder:
        study = cj.Study.open(shutil.copytree(STUDY, Path(folder) / "study"))
        study.measure()
        first = seconds_each(study)
        later = [seconds_each(study) for _ in range(ROUNDS)]
        alone = np.median([comparison(study) for _ in range(ROUNDS)])
    load = f"load {os.getloadavg()[0]:.1f}" if hasattr(os, "getloadavg") else "load not known"
    lines = [f"demo report, {load}", f"{'':26s}{'first':>8s}{'then':>8s}"]
    for name, value in first.items():
        lines.append(f"{name:26s}{value:8.2f}{np.median([each[name] for each in later]):8.2f} s")
    lines.append(f"{'change_between by itself':26s}{'':8s}{alone:8.2f} s")
    sys.stdout.write("\n".join(lines) + "\n")


if __name__ == "__main__":
    main()
