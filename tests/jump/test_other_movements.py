"""Squat jumps, drop jumps and hops are refused, each by its own name."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import pytest
from places import DATA

from cmjlab.files.read import read_recording
from cmjlab.jump.measure import measure
from cmjlab.jump.split import split_jumps
from cmjlab.recording import Recording
from cmjlab.simulate import other_movements
from cmjlab.simulate.jump import simulate_jump
from cmjlab.simulate.profile import Profile

NOISE_N = 1.5
HIGH, LOW = (1.9, 2.9), (0.9, 1.8)
#: 25 of each; the first few run with the other tests, all of them once with ``-m slow``.
FEW, ALL = 4, 25


def _profile(random: np.random.Generator, speeds: tuple[float, float]) -> Profile:
    """Draw an athlete: mass, strength, depth, and take-off velocity."""
    depth = (0.2, 0.4) if speeds is HIGH else (0.08, 0.2)
    return Profile(
        mass_kg=random.uniform(45.0, 110.0),
        braking=random.uniform(1.1, 1.6),
        depth_m=random.uniform(*depth),
        takeoff_velocity_m_per_s=random.uniform(*speeds),
    )


def _hops(random: np.random.Generator, speeds: tuple[float, float], seed: int) -> Recording:
    return other_movements.hops(
        _profile(random, speeds), number=int(random.integers(2, 10)),
        contact_s=random.uniform(0.15, 0.40), noise_sd_n=NOISE_N, seed=seed,
    )  # fmt: skip


def _within_hops(random: np.random.Generator, seed: int) -> Recording:
    """Return hops of which the recording begins in the first flight."""
    whole = _hops(random, HIGH, seed)
    first = int(np.flatnonzero(whole.total_n < 30.0)[0]) + 30
    return whole.replace(force_n=whole.force_n[first:])


def _built(movement: Callable[..., Recording]) -> Callable[[np.random.Generator, int], Recording]:
    return lambda random, seed: movement(_profile(random, HIGH), noise_sd_n=NOISE_N, seed=seed)


MOVEMENTS: dict[str, tuple[Callable[[np.random.Generator, int], Recording], str]] = {
    "squat jump, down and held": (
        _built(other_movements.squat_jump), "A squat jump: no countermovement"
    ),
    "squat jump from a hold": (
        _built(other_movements.squat_jump_from_hold), "A squat jump: no countermovement"
    ),
    "drop jump": (_built(other_movements.drop_jump), "A drop jump: "),
    "hops": (lambda random, seed: _hops(random, LOW, seed), "Hops: "),
    "high hops": (lambda random, seed: _hops(random, HIGH, seed), "Hops: "),
    "hops from within": (_within_hops, "A drop jump: |Hops: "),
}  # fmt: skip


def _refused_by_name(name: str, seeds: range) -> None:
    make, words = MOVEMENTS[name]
    for seed in seeds:
        jump = measure(make(np.random.default_rng([7, seed]), seed))
        assert not jump.accepted, (name, seed)
        rule = jump.check("countermovement")
        assert rule.status == "fail", (name, seed, jump.flags)
        assert rule.reason.startswith(tuple(words.split("|"))), (name, seed, rule.reason)


@pytest.mark.parametrize("name", MOVEMENTS)
def test_other_movements_are_refused_by_their_names(name: str) -> None:
    _refused_by_name(name, range(FEW))


@pytest.mark.slow
@pytest.mark.parametrize("name", MOVEMENTS)
def test_all_of_them_are(name: str) -> None:
    _refused_by_name(name, range(FEW, ALL))


def test_one_rebound_after_a_jump_is_no_hops() -> None:
    """It voids the landing; the jump itself began from standing and counts."""
    for seed in range(3):
        profile = _profile(np.random.default_rng(seed), HIGH)
        jump = measure(other_movements.hops(profile, number=1, seed=seed))
        assert jump.accepted, jump.flags
        assert jump.check("countermovement").status == "pass"
        assert jump.check("rebound").status == "fail"


def test_jumps_with_standing_in_between_are_no_hops() -> None:
    sims = [simulate_jump("typical", noise_sd_n=NOISE_N, seed=seed) for seed in range(3)]
    jump = measure(other_movements.several_jumps(sims))
    assert jump.check("countermovement").status == "pass"
    assert jump.check("several_flights").status == "fail"


def test_squat_jumps_of_a_laboratory_are_refused() -> None:
    """Three that nobody held still: two dip by 20 cm, and are refused for want of standing."""
    whole = read_recording(DATA / "forces" / "sj_BFR013.csv.gz")
    parts = split_jumps(whole)
    assert len(parts) == 3
    jumps = [measure(recording) for recording in (whole, *parts)]
    assert not any(jump.accepted for jump in jumps)
    assert all(jump.check("still_weighing").status == "fail" for jump in jumps)
    assert "A squat jump: no countermovement" in jumps[2].check("countermovement").reason
