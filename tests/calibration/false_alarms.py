"""Make false_alarms.csv: how often the rules fail a clean jump (1 N noise, 3 N sway of standing).

    python tests/calibration/false_alarms.py            # half a minute on one core

``tests/jump/test_quality_false_alarms.py`` checks the table and counts other jumps.
"""

from __future__ import annotations

import csv
from collections import Counter
from pathlib import Path

from cmjlab.jump.measure import measure
from cmjlab.simulate.jump import simulate_jump

PROFILES = ("typical", "light", "fast_stiff", "slow_deep", "two_peaked", "late_peaked")
TABLE = Path(__file__).with_suffix(".csv")
JUMPS = 1000


def count(first: int, number: int) -> dict[str, int]:
    """Return how many of ``number`` clean jumps fail or warn, by rule and in all."""
    found: Counter[str] = Counter()
    for seed in range(first, first + number):
        sim = simulate_jump(PROFILES[seed % 6], noise_sd_n=1.0, sway_sd_n=3.0, seed=seed)
        jump = measure(sim.recording)
        status = {c.status for c in jump.flags}
        found["any:fail"] += "fail" in status
        found["any:warn"] += "warn" in status
        found["not accepted"] += not jump.accepted
        found.update(f"{c.code}:{c.status}" for c in jump.flags)
    return dict(found)


def write(path: Path) -> None:
    """Write the table."""
    found = {"simulated": JUMPS, **dict(sorted(count(0, JUMPS).items()))}
    with path.open("w", encoding="utf-8", newline="") as handle:
        writer = csv.writer(handle, lineterminator="\n")
        writer.writerow(["what", "jumps"])
        writer.writerows(found.items())


if __name__ == "__main__":
    write(TABLE)
