"""How long measuring takes beside parsing the same file with pandas.read_csv.

Run ``python tests/benchmarks/measure_speed.py``. One file of 6,000 samples and two plates;
every ratio is the median of paired ratios measured in turns within this run, and the load of
the machine is printed, since a lone wall time on a shared machine says little. Bar of the default
Method: 0.7 (aim 0.5); ``all_speed.py`` prints it with all other figures.
"""

from __future__ import annotations

import os
import tempfile
import tracemalloc
from pathlib import Path

import numpy as np
import pandas as pd
from pairs import paired

from cmjlab.jump.measure import measure
from cmjlab.method import Method
from cmjlab.recording import Recording
from cmjlab.simulate.jump import RecordingSettings, simulate_jump


def recording() -> Recording:
    """Return a simulated two-plate jump of 6,000 samples at 1000 Hz, 0.1 N resolution."""
    how = RecordingSettings(quiet_before_s=2.0, quiet_after_s=4.0, resolution_n=0.1)
    sim = simulate_jump("typical", noise_sd_n=1.0, sway_sd_n=1.0, settings=how, seed=1)
    return sim.recording.replace(force_n=sim.recording.force_n[:6000])


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
