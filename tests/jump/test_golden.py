"""Guard of ``keys.ENGINE``: numbers that move without a new engine number make stale results.

Stored results are trusted as long as the engine number is the same. If this test fails and the
change is meant: raise ``cmjlab.keys.ENGINE`` by one, run ``python tests/test_golden.py`` from
the repository root, and commit both.
"""

from __future__ import annotations

import json
import math

import numpy as np
import pytest
from places import REFERENCE

from cmjlab import keys
from cmjlab.catalog import CHECKS, METRICS
from cmjlab.jump.measure import measure
from cmjlab.method import Method
from cmjlab.recording import Recording

GOLDEN = REFERENCE / "golden_jump.json"
METHODS = {
    "default": Method(),
    "balance": Method(body_weight="rest_to_rest", onset_rule="fit"),
    "filtered": Method(filter="butterworth", weighing="last", integration="simpson"),
    "linear": Method(event_placing="linear", takeoff_rule="newton", offset_removal="flight"),
    "models": Method(
        phase_model="minimum_force", braking_rfd="steepest", braking_stiffness="regression",
        asymmetry="symmetry_angle",
    ),
}  # fmt: skip


def recording() -> Recording:
    """Return a two-plate jump from plain formulas: no simulator, no random numbers.

    Half a second and more of standing with a small ripple, half-sine pieces for the drop, the
    push, the landing and the recovery, durations chosen so that momentum comes out at rest.
    """
    rate, weight, g = 1000.0, 700.0, 9.80665
    t = np.arange(4200) / rate
    net = np.zeros_like(t)

    def piece(start: float, duration: float, size: float) -> None:
        inside = (t >= start) & (t < start + duration)
        net[inside] += size * np.sin(np.pi * (t[inside] - start) / duration)

    piece(1.5, 0.40, -430.0)
    piece(1.9, 0.36, 1130.0)
    mass = weight / g
    velocity = float(np.sum(net)) / rate / mass
    flight = 2.0 * velocity / g
    takeoff, landing = 2.26, 2.26 + flight
    air = (t >= takeoff) & (t < landing)
    net[air] = -weight
    piece(landing, 0.30, mass * velocity / (2.0 / np.pi * 0.30))
    ripple = 1.5 * np.sin(2 * np.pi * 1.3 * t) + 0.8 * np.sin(2 * np.pi * 47.0 * t)
    force = np.where(air, 0.3 * ripple, weight + net + ripple)
    share = 0.5 + 0.02 * np.sin(2 * np.pi * 0.5 * t)
    return Recording(np.column_stack([force * (1 - share), force * share]), rate, ("left", "right"))


def numbers() -> dict[str, object]:
    """Return all metrics, events and statuses of the recording by method."""
    out: dict[str, object] = {"engine": keys.ENGINE}
    for name, method in METHODS.items():
        jump = measure(recording(), method)
        out[name] = {
            "metrics": {k: None if math.isnan(v) else v for k, v in jump.metrics.items()},
            "events": {k: None if math.isnan(v) else v for k, v in jump.events.items()},
            "checks": {c.code: c.status for c in jump.checks},
        }
    return out


def test_the_golden_jump_is_a_plausible_one() -> None:
    jump = measure(recording())
    assert jump.accepted, jump.flags
    assert 0.2 < jump.metrics["jump_height_m"] < 0.5
    assert sum(not math.isnan(v) for v in jump.metrics.values()) > 100


@pytest.mark.parametrize("name", METHODS)
def test_no_number_moves_without_a_new_engine(name: str) -> None:
    golden = json.loads(GOLDEN.read_text("utf-8"))
    assert golden["engine"] == keys.ENGINE, "ENGINE was raised: rewrite the golden numbers"
    found = numbers()[name]
    assert isinstance(found, dict)
    assert set(found["metrics"]) == set(METRICS)
    assert set(found["checks"]) == {c for c, rule in CHECKS.items() if rule.level == "jump"}
    for kind in ("metrics", "events"):
        assert set(golden[name][kind]) == set(found[kind])
        for key, wanted in golden[name][kind].items():
            value = found[kind][key]
            assert (value is None) == (wanted is None), key
            if wanted is not None:
                assert math.isclose(value, wanted, rel_tol=1e-7, abs_tol=1e-9), (key, value, wanted)
    assert golden[name]["checks"] == found["checks"]


if __name__ == "__main__":
    GOLDEN.parent.mkdir(exist_ok=True)
    GOLDEN.write_text(json.dumps(numbers(), indent=1) + "\n", encoding="utf-8")
