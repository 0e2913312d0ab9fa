"""How a calibration script writes its judged table and tells what failed."""

from __future__ import annotations

import sys
import time
from pathlib import Path

import pandas as pd


def write_judged(table: pd.DataFrame, path: Path, start: float) -> None:
    """Write the table; print its counts of verdicts, the seconds since ``start``, every fail."""
    table.to_csv(path, index=False, float_format="%.6g", lineterminator="\n")
    words = table["verdict"].value_counts().to_dict()
    seconds = time.perf_counter() - start
    sys.stdout.write(f"{path.name}: {len(table)} rows, {words}, {seconds:.0f} s\n")
    failed = table[table["verdict"] == "fail"]
    if len(failed):
        sys.stdout.write(failed.to_string() + "\n")
