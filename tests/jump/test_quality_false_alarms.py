"""How often the rules fail a clean jump: jumps with 1 N noise and 3 N sway of standing."""

from __future__ import annotations

import csv
from collections import Counter
from pathlib import Path

import pytest
from places import CALIBRATION

from cmjlab.jump.measure import measure
from cmjlab.simulate.jump import simulate_jump

PROFILES = ("typical", "light", "fast_stiff", "slow_deep", "two_peaked", "late_peaked")
TABLE = CALIBRATION / "false_alarms.csv"


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


def test_few_clean_jumps_fail() -> None:
    found = count(50_000, 60)
    assert found["any:fail"] <= 3
    assert found["any:warn"] < 40


def test_the_committed_table_keeps_the_promise() -> None:
    """1,000 clean jumps: fewer than 2 in 100 fail."""
    with TABLE.open(encoding="utf-8", newline="") as handle:
        rows = {row["what"]: int(row["jumps"]) for row in csv.DictReader(handle)}
    assert rows["simulated"] == 1000
    assert rows["any:fail"] < 20
    assert rows["not accepted"] <= rows["any:fail"]


@pytest.mark.slow
def test_a_thousand_clean_jumps(tmp_path: Path) -> None:
    """Write the table anew; rename it over the committed one when a rule was changed on purpose."""
    found = {"simulated": 1000, **dict(sorted(count(0, 1000).items()))}
    out = tmp_path / TABLE.name
    with out.open("w", encoding="utf-8", newline="") as handle:
        writer = csv.writer(handle, lineterminator="\n")
        writer.writerow(["what", "jumps"])
        writer.writerows(found.items())
    assert found["any:fail"] < 20
    assert out.read_text(encoding="utf-8") == TABLE.read_text(encoding="utf-8"), out
