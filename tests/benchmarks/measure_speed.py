"""How long measuring takes beside parsing the same file with pandas.read_csv.

Run ``python tests/benchmarks/measure_speed.py``. One file of 6,000 samples and two plates;
every ratio is the median of paired ratios measured in turns within this run, and the load of
the machine is printed, since a lone wall time on a shared machine says little. Bar of the default
Method: 0.7 (aim 0.5); ``all_speed.py`` prints it with all other figures.
"""

from __future__ import annotations

import os
import statistics
import tempfile
import tracemalloc
from collections.abc import Callable
from pathlib import Path
from time import perf_counter

import numpy as np
import pandas as pd

from cmjlab.jump.measure import measure
from cmjlab.method import Method
from cmjlab.recording import Recording
from cmjlab.simulate.jump import RecordingSettings, simulate_jump

ROUNDS = 200


def recording() -> Recording:
    """Return a simulated two-plate jump of 6,000 samples at 1000 Hz, 0.1 N resolution."""
    how = RecordingSettings(quiet_before_s=2.0, quiet_after_s=4.0, resolution_n=0.1)
    sim = simulate_jump("typical", noise_sd_n=1.0, sway_sd_n=1.0, settings=how, seed=1)
    return sim.recording.replace(force_n=sim.recording.force_n[:6000])


def paired(first: Callable[[], object], second: Callable[[], object]) -> tuple[float, float, float]:
    """Return median times of both (ms) and the median of their paired ratios."""
    times = []
    for turn in range(ROUNDS + 10):
        order = (first, second) if turn % 2 else (second, first)
        spent = {}
        for call in order:
            start = perf_counter()
            call()
            spent[call] = perf_counter() - start
        times.append((spent[first], spent[second]))
    times = times[10:]
    return (
        1e3 * statistics.median(a for a, _ in times),
        1e3 * statistics.median(b for _, b in times),
        statistics.median(a / b for a, b in times),
    )


def main() -> None:
    """Print the ratios."""
    rec = recording()
    jump = measure(rec)
    print(f"load {os.getloadavg()[0]:.2f}; {rec.n_samples} samples, {len(rec.plates)} plates,")
    print(f"{len(jump.metrics)} metrics, {len(jump.checks)} rules, accepted: {jump.accepted}")
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "jump.csv"
        columns = np.column_stack([rec.time_s, rec.force_n])
        np.savetxt(path, columns, "%.3f,%.1f,%.1f", header="time_s,left,right", comments="")

        def parse() -> object:
            return pd.read_csv(path)

        for name, method in {
            "default Method": Method(),
            "Butterworth filter": Method(filter="butterworth"),
            "momentum balance and fitted onset": Method(
                body_weight="rest_to_rest", onset_rule="fit"
            ),
        }.items():
            own, other, ratio = paired(lambda m=method: measure(rec, m), parse)
            print(f"{name:34s} measure {own:5.2f} ms, parse {other:5.2f} ms, ratio {ratio:4.2f}")
    tracemalloc.start()
    measure(rec)
    peak = tracemalloc.get_traced_memory()[1]
    tracemalloc.stop()
    print(f"memory: {peak / rec.total_n.nbytes:.1f} copies of the summed signal at most")


if __name__ == "__main__":
    main()
