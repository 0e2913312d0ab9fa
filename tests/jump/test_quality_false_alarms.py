"""How often the rules fail a clean jump: jumps with 1 N noise and 3 N sway of standing."""

from __future__ import annotations

import csv
from pathlib import Path

import pytest
from calibration.false_alarms import JUMPS, TABLE, count, write


def test_few_clean_jumps_fail() -> None:
    found = count(50_000, 60)
    assert found["any:fail"] <= 3
    assert found["any:warn"] < 40


def test_the_committed_table_keeps_the_promise() -> None:
    """1,000 clean jumps: fewer than 2 in 100 fail."""
    with TABLE.open(encoding="utf-8", newline="") as handle:
        rows = {row["what"]: int(row["jumps"]) for row in csv.DictReader(handle)}
    assert rows["simulated"] == JUMPS == 1000
    assert rows["any:fail"] < 20
    assert rows["not accepted"] <= rows["any:fail"]


@pytest.mark.slow
def test_a_thousand_clean_jumps(tmp_path: Path) -> None:
    out = tmp_path / TABLE.name
    write(out)
    assert out.read_text(encoding="utf-8") == TABLE.read_text(encoding="utf-8"), out
