"""Guard of ``keys.ENGINE``: numbers that move without a new engine number make stale results.

Stored results are trusted as long as the engine number is the same. If this test fails and the
change is meant: raise ``cmjlab.keys.ENGINE`` by one, run ``python tests/remake.py golden`` and
commit both. A metric, event or rule that is new moves nothing and needs no new engine.
"""

from __future__ import annotations

import copy
import json
import math

import pytest
from golden_kit import GOLDEN, METHODS, golden_recording, moved, numbers

from cmjlab import keys
from cmjlab.catalog import CHECKS, METRICS
from cmjlab.jump.measure import measure


def test_the_golden_jump_is_a_plausible_one() -> None:
    jump = measure(golden_recording())
    assert jump.accepted, jump.flags
    assert 0.2 < jump.metrics["jump_height_m"] < 0.5
    assert sum(not math.isnan(v) for v in jump.metrics.values()) > 100


@pytest.mark.parametrize("name", METHODS)
def test_no_number_moves_without_a_new_engine(name: str) -> None:
    kept = json.loads(GOLDEN.read_text("utf-8"))
    assert kept["engine"] == keys.ENGINE, "ENGINE was raised: run tests/remake.py golden"
    found = numbers(name)
    assert set(found["metrics"]) == set(METRICS)
    assert set(found["checks"]) == {c for c, rule in CHECKS.items() if rule.level == "jump"}
    assert moved(kept[name], found) == []
    assert len(kept[name]["metrics"]) > 100


def test_what_changed_or_is_gone_has_moved_and_what_is_new_has_not() -> None:
    kept = numbers("default")
    found = copy.deepcopy(kept)
    found["metrics"]["a_new_metric_m"] = 1.0
    assert moved(kept, found) == []
    found["metrics"]["jump_height_m"] *= 1 + 1e-6
    found["metrics"]["flight_time_s"] = None
    del found["events"]["takeoff"]
    code, status = next(iter(kept["checks"].items()))
    found["checks"][code] = f"not {status}"
    told = {line.partition(":")[0] for line in moved(kept, found)}
    assert told == {
        "metrics jump_height_m", "metrics flight_time_s", "events takeoff", f"checks {code}",
    }  # fmt: skip
