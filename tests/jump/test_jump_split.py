"""Recordings with several jumps: cut while the athlete stands, nothing lost, one clock."""

from __future__ import annotations

import numpy as np
import pytest

from cmjlab.jump.measure import measure
from cmjlab.jump.split import split_jumps
from cmjlab.method import Method
from cmjlab.recording import ReadingNote, Recording, Source
from cmjlab.simulate.jump import RecordingSettings, simulate_jump
from cmjlab.simulate.other_movements import several_jumps

SIMS = [simulate_jump(p, noise_sd_n=1.0, seed=i) for i, p in enumerate(("typical", "fast_stiff", "two_peaked"))]  # fmt: skip


def test_one_jump_comes_back_as_it_is() -> None:
    rec = SIMS[0].recording
    assert split_jumps(rec) == [rec]
    still = Recording(np.full(2000, 700.0), 1000.0)
    assert split_jumps(still) == [still]


def test_each_part_gives_the_numbers_of_its_jump() -> None:
    """Each part holds all of the contact before and after its jump, on one clock."""
    whole = several_jumps(SIMS).replace(
        athlete="A07", session="base1", trial="2", start_s=50.0,
        source=Source("jumps.csv", "abc"), notes=(ReadingNote("unit", "newtons assumed"),),
    )  # fmt: skip
    parts = split_jumps(whole)
    assert [p.jump for p in parts] == [1, 2, 3]
    begin = 50.0
    for part, sim in zip(parts, SIMS, strict=True):
        assert (part.athlete, part.session, part.trial) == ("A07", "base1", "2")
        assert (part.source, part.notes, part.plates) == (whole.source, whole.notes, whole.plates)
        jump = measure(part)
        assert jump.accepted, jump.flags
        assert abs(jump.metrics["jump_height_m"] - sim.truth["jump_height_m"]) < 0.002
        assert abs(jump.metrics["body_weight_n"] - sim.truth["body_weight_n"]) < 0.5
        assert abs(jump.events["takeoff"] - begin - sim.events["takeoff"]) < 0.001
        begin += sim.recording.duration_s
        first = round((part.start_s - 50.0) * 1000)
        assert np.array_equal(part.force_n, whole.force_n[first : first + part.n_samples])
    assert parts[0].start_s == 50.0
    assert parts[1].start_s < 50.0 + SIMS[0].events["landing"]  # the whole contact between them


def test_a_rebound_stays_with_its_jump() -> None:
    sim = SIMS[0]
    force = np.array(sim.recording.force_n)
    start = round(1000 * (sim.events["landing"] + 0.5))
    force[start : start + 200] = sim.truth["body_weight_n"]
    force[start + 200 : start + 400] = 0.0
    rec = sim.recording.replace(force_n=force)
    assert split_jumps(rec) == [rec]
    jump = measure(rec)
    assert jump.check("rebound").status == "fail"
    assert jump.accepted


def test_what_counts_as_a_flight_is_the_methods() -> None:
    whole = several_jumps([SIMS[0], simulate_jump("light", noise_sd_n=1.0, seed=1)])
    assert len(split_jumps(whole)) == 2
    # the second flight (2.2 m/s) lasts 0.449 s, the first 0.530 s
    assert len(split_jumps(whole, Method(minimum_flight_s=0.5))) == 1


@pytest.mark.parametrize("standing_s", [0.7, 1.0])
def test_short_standing_between_jumps_belongs_to_both(standing_s: float) -> None:
    """Ten jumps with little standing between them: none loses any of its contact."""
    how = RecordingSettings(quiet_before_s=0.0, quiet_after_s=standing_s)
    sims = [
        simulate_jump("typical", noise_sd_n=1.0, sway_sd_n=1.0, seed=i, settings=how)
        for i in range(10)
    ]
    still = np.full((1500, 2), 0.5 * sims[0].truth["body_weight_n"])
    whole = several_jumps(sims)
    whole = whole.replace(force_n=np.vstack([still, whole.force_n, still[:1000]]))
    jumps = [measure(part) for part in split_jumps(whole)]
    assert len(jumps) == 10
    assert all(j.accepted for j in jumps), [j.flags for j in jumps if not j.accepted]
    errors = [j.metrics["jump_height_m"] - sims[0].truth["jump_height_m"] for j in jumps]
    assert max(map(abs, errors)) < 0.02
