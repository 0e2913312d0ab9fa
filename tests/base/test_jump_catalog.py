"""The catalog of metrics and the engine know the same numbers, in the same units."""

from __future__ import annotations

import math
import re

import pytest

from cmjlab.catalog import METRICS, SCOPES
from cmjlab.jump.measure import measure
from cmjlab.simulate.jump import simulate_jump

ENDINGS = {
    "N": "_n", "kg": "_kg", "m": "_m", "s": "_s", "m/s": "_m_per_s", "N·s": "_n_s", "J": "_j",
    "W": "_w", "N/s": "_n_per_s", "N/m": "_n_per_m", "%": "_percent", "N/kg": "_n_per_kg",
    "W/kg": "_w_per_kg", "J/kg": "_j_per_kg", "N·s/kg": "_n_s_per_kg",
    "N/s/kg": "_n_per_s_per_kg", "N/m/kg": "_n_per_m_per_kg", "": "",
    "W/s": "_w_per_s", "W/s/kg": "_w_per_s_per_kg", "kg·m/s": "_kg_m_per_s",
}  # fmt: skip
PHASES = {"whole jump", "weighing", "unweighting", "braking", "propulsion", "flight", "landing", "limbs"}  # fmt: skip


def test_a_two_plate_jump_fills_every_metric() -> None:
    jump = measure(simulate_jump("typical", noise_sd_n=1.0, seed=1).recording)
    assert list(jump.metrics) == list(METRICS)
    assert len(METRICS) >= 50
    assert not [key for key, value in jump.metrics.items() if math.isnan(value)]
    assert dict(jump.voided) == {}


@pytest.mark.parametrize("key", METRICS)
def test_entry(key: str) -> None:
    m = METRICS[key]
    assert m.key == key
    assert re.fullmatch(r"[a-z][a-z0-9_]*", key)
    assert key.endswith(ENDINGS[m.unit]), "the key ends in its unit"
    assert m.phase in PHASES
    assert m.scope in SCOPES
    assert m.direction in ("higher", "lower", "depends")
    for text in (m.label, m.formula, m.meaning, m.source):
        assert text.strip()
    assert m.label[0].isupper()
    assert not m.label.endswith(f"({m.unit})"), "the unit stands beside the label, not in it"
    if m.same_as:
        assert not METRICS[m.same_as].same_as, "same_as names the head itself, it is no chain"
    for name, paper in m.also_called:
        assert name
        assert paper


def test_words_of_muscle_action_appear_only_as_other_names() -> None:
    """What the centre of mass does is no muscle action: eccentric, concentric are others' words."""
    for m in METRICS.values():
        text = f"{m.key} {m.label} {m.phase} {m.formula} {m.meaning}".lower()
        assert "centric" not in text, m.key
    assert any("eccentric" in n for m in METRICS.values() for n, _ in m.also_called)


def test_landing_metrics_are_exploratory() -> None:
    for m in METRICS.values():
        assert m.exploratory == ("landing" in m.key or m.key == "time_to_stabilisation_s"), m.key


def test_ratio_scale_means_positive() -> None:
    """Percent and logarithms need positive values with a true zero."""
    values = [
        measure(simulate_jump(p, noise_sd_n=1.0, seed=2).recording).metrics
        for p in ("typical", "light", "fast_stiff", "slow_deep", "two_peaked", "late_peaked")
    ]
    for key, m in METRICS.items():
        if m.ratio_scale:
            assert min(v[key] for v in values) > 0.0, key


def test_the_same_information_is_marked() -> None:
    assert METRICS["propulsion_impulse_n_s_per_kg"].same_as == "jump_height_m"
    assert METRICS["takeoff_velocity_m_per_s"].same_as == "jump_height_m"
    assert METRICS["braking_impulse_n_s_per_kg"].same_as == "peak_downward_velocity_m_per_s"
    assert METRICS["flight_time_s"].same_as == "jump_height_flight_m"
