"""Metrics that hold the same information say so, and those that say nothing do not repeat."""

from __future__ import annotations

from itertools import combinations

import numpy as np
import pytest
from scipy.stats import rankdata

from cmjlab.catalog import METRICS
from cmjlab.errors import ArgumentError
from cmjlab.jump.measure import measure
from cmjlab.method import Method
from cmjlab.simulate.jump import RecordingSettings, exact_truth, simulate_jump
from cmjlab.simulate.profile import Profile
from cmjlab.truth.definitions import truth_by_method

N = 300
#: Names of the ranges from which a random jump is drawn, and the ranges.
RANGES = {
    "mass_kg": (45.0, 110.0), "unweighting": (0.40, 0.85), "braking": (1.0, 1.9),
    "depth_m": (0.18, 0.42), "takeoff_velocity_m_per_s": (1.9, 3.2), "push_exponent": (5.0, 14.0),
    "push_dip": (-0.5, 0.8), "landing_drop_m": (0.0, 0.08), "impact_share": (0.40, 0.75),
}  # fmt: skip
PHASES = ("standing", "unweighting", "braking", "propulsion", "landing")
#: One in the simulator, not in life: its force rises all through braking, and its feet share all
#: of a landing alike. The tests below show jumps in which they differ.
ONE_IN_THE_SIMULATOR = {
    frozenset({"peak_braking_force_n", "force_at_zero_velocity_n"}),
    frozenset({"peak_landing_force_asymmetry_percent", "landing_impulse_100ms_asymmetry_percent"}),
}
#: Said to be the same though no exact function: a reader learns nothing new from the second.
NEARLY = {
    "peak_upward_velocity_m_per_s": "jump_height_m",
    "flight_to_contraction_ratio": "rsi_modified_m_per_s",
}


def _random_profile(random: np.random.Generator) -> Profile:
    while True:
        try:
            return Profile(**{name: random.uniform(*span) for name, span in RANGES.items()})
        except ArgumentError:
            continue  # a force below zero: no jump


@pytest.fixture(scope="module")
def ranks() -> dict[str, np.ndarray]:
    """Return the ranks of every metric with a truth in random jumps, standardised."""
    random = np.random.default_rng(20261125)
    rows = []
    for _ in range(N):
        profile = _random_profile(random)
        uneven = {f"asymmetry_{phase}_percent": random.normal(0.0, 6.0) for phase in PHASES}
        truth = exact_truth(profile, RecordingSettings(**uneven))
        rows.append(truth_by_method(truth, profile, Method()))
    out = {}
    for key in METRICS:
        if key in rows[0]:
            rank = rankdata(np.round([row[key] for row in rows], 9))
            rank -= rank.mean()
            out[key] = rank / np.sqrt(rank @ rank)
    return out


def _spearman(ranks: dict[str, np.ndarray], one: str, other: str) -> float:
    return abs(float(ranks[one] @ ranks[other]))


def test_no_two_heads_hold_the_same_information(ranks: dict[str, np.ndarray]) -> None:
    heads = [key for key in ranks if not METRICS[key].same_as]
    same = {frozenset(pair) for pair in combinations(heads, 2) if _spearman(ranks, *pair) > 0.99999}
    assert same == ONE_IN_THE_SIMULATOR


def test_what_is_said_to_be_the_same_is_the_same(ranks: dict[str, np.ndarray]) -> None:
    """Per kilogram it is the same within an athlete; all else is a function of its head."""
    for key in ranks:
        head = METRICS[key].same_as
        if not head or key == f"{head}_per_kg" or NEARLY.get(key) == head:
            continue
        if key.endswith("_per_kg") and METRICS[key.removesuffix("_per_kg")].same_as == head:
            continue
        assert _spearman(ranks, key, head) > 0.999999, (key, head)
    for key, head in NEARLY.items():
        assert METRICS[key].same_as == head
        assert _spearman(ranks, key, head) > 0.8


def test_every_version_per_kilogram_stands_behind_another() -> None:
    for key, metric in METRICS.items():
        if key.endswith("_per_kg"):
            assert metric.same_as, key


def test_a_peak_within_braking_is_not_the_force_at_the_lowest_point() -> None:
    sim = simulate_jump("typical", seed=1)
    start, stop = (round(1000 * sim.events[e]) for e in ("peak_downward_velocity", "zero_velocity"))
    middle = (start + stop) // 2
    force = sim.recording.force_n.copy()
    bump = 400.0 * (1 - np.cos(np.linspace(0, 2 * np.pi, 41)))
    force[middle - 20 : middle + 21] += bump[:, None] / 2
    metrics = measure(sim.recording.replace(force_n=force)).metrics
    assert metrics["peak_braking_force_n"] > 1.05 * metrics["force_at_zero_velocity_n"]


def test_the_feet_can_share_the_peak_of_a_landing_and_not_its_impulse() -> None:
    sim = simulate_jump("typical", seed=1)
    landing = round(1000 * sim.events["landing"])
    force = sim.recording.force_n.copy()
    late = slice(landing + 70, landing + 100)
    force[late] *= (0.7, 1.3)
    metrics = measure(sim.recording.replace(force_n=force)).metrics
    assert abs(metrics["peak_landing_force_asymmetry_percent"]) < 0.1
    assert metrics["landing_impulse_100ms_asymmetry_percent"] > 2.0
