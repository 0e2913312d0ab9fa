"""Make error_budget.csv: errors of measured against exact metrics, pooled over six profiles.

    python tests/calibration/error_budget.py            # about four minutes on one core

Every combination of noise 0, 1, 2, 5 N, 200, 500, 1000, 2000 Hz and sway 0, 3 N, with 150
random sampling grids per profile. ``tests/truth/test_truth_budget.py`` compares a fresh small run
with the table, and the table with the tolerances that the method can reach.
"""

from __future__ import annotations

import sys
import time
from itertools import product
from pathlib import Path

import pandas as pd

from cmjlab.catalog import METRICS
from cmjlab.truth.budget import EVENTS, Design, known_truth, pooled

TABLE = Path(__file__).with_suffix(".csv")
RATES_HZ = (200.0, 500.0, 1000.0, 2000.0)
NOISE_SD_N = (0.0, 1.0, 2.0, 5.0)
SWAY_SD_N = (0.0, 3.0)
REPEATS = 150
SEED = 20261125
#: Metrics of the table: each quantity once, not again per kilogram or per foot.
LISTED = [
    key
    for key in METRICS
    if not key.endswith("_per_kg") and not key.startswith(("left_", "right_"))
] + [f"event_{name}_s" for name in EVENTS]


def cell(rate_hz: float, noise_sd_n: float, sway_sd_n: float, repeats: int) -> pd.DataFrame:
    """Return the pooled errors of one combination; fewer repeats are the first of many."""
    design = Design(
        rates_hz=(rate_hz,), noise_sd_n=(noise_sd_n,), sway_sd_n=(sway_sd_n,), repeats=repeats
    )
    return pooled(known_truth(design=design, metrics=LISTED, seed=SEED))


def main() -> None:
    """Write the table."""
    start, parts = time.monotonic(), []
    for rate, noise, sway in product(RATES_HZ, NOISE_SD_N, SWAY_SD_N):
        parts.append(cell(rate, noise, sway, REPEATS))
        print(f"{rate:g} Hz, noise {noise:g} N, sway {sway:g} N: {time.monotonic() - start:.0f} s",
              file=sys.stderr)  # fmt: skip
    table = pd.concat(parts, ignore_index=True)
    table.to_csv(TABLE, index=False, float_format="%.4g", lineterminator="\n")


if __name__ == "__main__":
    main()
