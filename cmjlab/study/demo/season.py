"""The demo's weeks of monitoring: part of the squad, tested weekly while the block runs.

They are drawn from streams of their own, so that every other recording of the demo stays as
it is, byte by byte.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pandas as pd

from cmjlab.simulate.closed_form import Parameters
from cmjlab.simulate.design import StudySettings, athlete_ids
from cmjlab.simulate.jump import RecordingSettings, SimulatedJump, simulate_jump
from cmjlab.simulate.limbs import LIMB_PHASES
from cmjlab.simulate.population import (
    TRAITS,
    apply_deviation,
    correlated_normals,
    parameters_of,
    trait_vector,
)
from cmjlab.simulate.squad import Squad, draw_squad, metrics_of
from cmjlab.simulate.study import MAIN_METRICS, SimulatedStudy, profile_at
from cmjlab.study.demo import scenario
from cmjlab.tables import PARTICIPATION

#: Chance of a jump's asymmetry in each phase, percent, as in the squad's other sessions.
_LIMB_SD = {"standing": 1.0, "unweighting": 2.0, "braking": 2.5, "propulsion": 1.5, "landing": 6.0}


def with_monitoring(study: SimulatedStudy, seed: int) -> SimulatedStudy:
    """Return the study with its weeks of monitoring: recordings, sessions and truth.

    Parameters
    ----------
    study : SimulatedStudy
        The study without them, from the same seed.
    seed : int
        The same seed gives the same recordings.
    """
    how = study.settings
    squad = draw_squad(how, np.random.default_rng(seed).spawn(2)[0])
    ids = athlete_ids(how.n_athletes)
    rows = [ids.index(a) for a in scenario.MONITORED]
    expected = _expected(squad, how, rows)
    true = _parameters(squad, rows, expected)
    streams = np.random.default_rng([seed, 2]).spawn(3)
    done = _parameters(squad, rows, _done(expected, how, streams[0]), jumps=True)
    limbs = _limbs(squad, rows, how.jumps, streams[1])
    recordings = _recordings((done, limbs), how, streams[2])
    order = sorted([*study.sessions["session"], *scenario.WEEKS], key=scenario.DATES.__getitem__)
    roles = dict(zip(study.sessions["session"], study.sessions["role"], strict=True))
    return replace(
        study,
        recordings=(*study.recordings, *recordings),
        sessions=pd.DataFrame(
            {"session": order, "role": [roles.get(s, "monitoring") for s in order]}
        ),
        participation=pd.concat([study.participation, _missed()], ignore_index=True),
        truth=pd.concat([study.truth, _truth(squad.group[rows], true)], ignore_index=True),
    )


def _missed() -> pd.DataFrame:
    """Return who was not there in a week, and from when to when an injury kept somebody away."""
    athlete, start, end = scenario.RETURNING
    rows: list[dict[str, str]] = [
        {"athlete": a, "session": s, "status": "absent", "reason": "travelling"}
        for a, s in scenario.NOT_THAT_WEEK.items()
    ]
    rows.append({"athlete": athlete, "from": start, "to": end, "status": "pain",
                 "reason": "hurt in training; a clinician cleared the return to jumping"})  # fmt: skip
    return PARTICIPATION.frame(rows)


def _expected(squad: Squad, how: StudySettings, rows: list[int]) -> np.ndarray:
    """Return traits without chance, shape (athletes, weeks, traits): part of the block's effect."""
    order = list(how.sessions)
    before, after = (squad.expected[rows, order.index(s)] for s in ("base2", "post"))
    rise = TRAITS.index("rise")
    change = np.log(np.maximum(after, 1e-9) / np.maximum(before, 1e-9))
    change[..., rise] = after[..., rise] - before[..., rise]
    shares = np.array(list(scenario.WEEKS.values()))
    expected = apply_deviation(before[:, None], shares[:, None] * change[:, None])
    for (athlete, week), trouble in scenario.TROUBLES.items():
        cell = scenario.MONITORED.index(athlete), list(scenario.WEEKS).index(week)
        expected[cell] = apply_deviation(expected[cell], np.log1p(trait_vector(trouble)))
    return expected


def _done(expected: np.ndarray, how: StudySettings, random: np.random.Generator) -> np.ndarray:
    """Return the traits of each jump: with the chance of the day and of the jump."""
    n, k, _ = expected.shape
    within = how.within_correlation
    day = correlated_normals(how.day_sd, within, shape=(n, k), random=random)
    jump = correlated_normals(how.jump_sd, within, shape=(n, k, how.jumps), random=random)
    return apply_deviation(expected[:, :, None], day[:, :, None] + jump)


def _parameters(
    squad: Squad, rows: list[int], traits: np.ndarray, *, jumps: bool = False
) -> Parameters:
    """Return the jumps with these traits, by athletes built as in the other sessions."""
    old = squad.jump_parameters
    place = (slice(None), None, None) if jumps else (slice(None), None)

    def own(values: object) -> np.ndarray:
        whole = np.broadcast_to(np.asarray(values), np.shape(old.landing_drop_m))
        return np.asarray(whole[rows].mean(axis=(1, 2))[place])

    return parameters_of(
        traits,
        push_exponent=own(old.push_exponent),
        push_dip=own(old.push_dip),
        impact_share=own(old.impact_share),
        landing_drop_m=own(old.landing_drop_m),
    )


def _limbs(
    squad: Squad, rows: list[int], jumps: int, random: np.random.Generator
) -> dict[str, np.ndarray]:
    """Return asymmetries in percent: an athlete's own, what an injury left, and chance."""
    weeks = list(scenario.WEEKS)
    left = np.zeros((len(rows), len(weeks), 1))
    for (athlete, week), percent in scenario.SPARED_SIDE.items():
        left[scenario.MONITORED.index(athlete), weeks.index(week)] = percent
    out = {}
    for phase in LIMB_PHASES:
        own = squad.asymmetry[phase][rows].mean(axis=(1, 2))[:, None, None]
        chance = _LIMB_SD[phase] * random.standard_normal((len(rows), len(weeks), jumps))
        spared = left if phase != "unweighting" else 0.0
        out[phase] = own + spared * (0.3 if phase == "standing" else 1.0) + chance
    return out


def _recordings(
    jumps: tuple[Parameters, dict[str, np.ndarray]],
    how: StudySettings,
    random: np.random.Generator,
) -> list[SimulatedJump]:
    """Record every jump of who was there."""
    done, limbs = jumps
    weeks = list(scenario.WEEKS)
    cells = list(np.ndindex(len(scenario.MONITORED), len(weeks), how.jumps))
    out = []
    for cell, stream in zip(cells, random.spawn(len(cells)), strict=True):
        athlete, week = scenario.MONITORED[cell[0]], weeks[cell[1]]
        if scenario.NOT_THAT_WEEK.get(athlete) == week:
            continue
        settings = RecordingSettings(
            quiet_before_s=scenario.WEEK_QUIET_S + float(stream.uniform(0, 0.2)),
            quiet_after_s=1.0,
            **{f"asymmetry_{p}_percent": float(limbs[p][cell]) for p in LIMB_PHASES},  # type: ignore[arg-type]
        )
        sim = simulate_jump(
            profile_at(done, cell), rate_hz=how.rate_hz, noise_sd_n=how.noise_sd_n,
            sway_sd_n=how.sway_sd_n, settings=settings, seed=stream,
        )  # fmt: skip
        named = sim.recording.replace(athlete=athlete, session=week, trial=str(cell[2] + 1))
        out.append(replace(sim, recording=named))
    return out


def _truth(groups: np.ndarray, true: Parameters) -> pd.DataFrame:
    """Return each athlete's true value in each week as rows of the truth table."""
    rows = [
        {"level": "athlete", "athlete": athlete, "group": str(group), "session": week,
         "contrast": "", "metric": metric, "statistic": "true_value", "value": float(values[a, w])}
        for metric, values in metrics_of(true, MAIN_METRICS).items()
        for a, (athlete, group) in enumerate(zip(scenario.MONITORED, groups, strict=True))
        for w, week in enumerate(scenario.WEEKS)
    ]  # fmt: skip
    return pd.DataFrame(rows)
