"""Simulated studies: tables, recordings and the truth about them."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
import pandas as pd

from cmjlab import checks
from cmjlab.plan import DEFAULT_REPORT_METRICS
from cmjlab.simulate.closed_form import Parameters
from cmjlab.simulate.design import StudySettings, athlete_ids
from cmjlab.simulate.jump import RecordingSettings, SimulatedJump, simulate_jump
from cmjlab.simulate.limbs import LIMB_PHASES
from cmjlab.simulate.population import TRAITS
from cmjlab.simulate.profile import Profile
from cmjlab.simulate.squad import Squad, draw_squad, metrics_of
from cmjlab.simulate.study_truth import truth_table
from cmjlab.tables import ATHLETES, MEASURES, PARTICIPATION, SESSIONS

#: Metrics in the tables of simulated studies when none are named.
MAIN_METRICS = (
    *DEFAULT_REPORT_METRICS,
    "takeoff_velocity_m_per_s",
    "unweighting_duration_s",
    "propulsion_duration_s",
    "peak_downward_velocity_m_per_s",
    "mean_braking_force_n_per_kg",
    "braking_stiffness_n_per_m",
    "body_mass_kg",
)


@dataclass(frozen=True)
class SimulatedSessions:
    """Tables without signals, and their truth.

    Attributes
    ----------
    jumps : pandas.DataFrame
        Exact values of each jump: athlete, group, session, trial, metrics.
    sessions : pandas.DataFrame
        Mean of each athlete's jumps in a session, columns as in the sessions table.
    truth : pandas.DataFrame
        See :func:`cmjlab.simulate.study_truth.truth_table`.
    settings : StudySettings

    Examples
    --------
    >>> import cmjlab as cj
    >>> sim = cj.simulate_sessions(seed=1, metrics=["jump_height_m"])
    >>> type(sim).__name__, len(sim.sessions)
    ('SimulatedSessions', 90)
    """

    jumps: pd.DataFrame
    sessions: pd.DataFrame
    truth: pd.DataFrame
    settings: StudySettings


@dataclass(frozen=True)
class SimulatedStudy:
    """A whole study as data; nothing is written.

    Attributes
    ----------
    athletes : pandas.DataFrame
        Roster: athlete, group, sex, stature_m, body_mass_kg.
    sessions : pandas.DataFrame
        session, role, in order.
    recordings : tuple of SimulatedJump
        Every jump with its athlete, session and trial in the recording.
    measures : pandas.DataFrame
        squat_1rm (kg) and coach_rating (1 to 10) of each session, attendance (%) of the block.
    participation : pandas.DataFrame
        Who was absent or left.
    truth : pandas.DataFrame
    settings : StudySettings

    Examples
    --------
    >>> import cmjlab as cj
    >>> few = cj.simulate.StudySettings(groups={"strength": 2, "fast_braking": 2, "usual": 2}, jumps=1)
    >>> study = cj.simulate_study(few, seed=1)
    >>> type(study).__name__, len(study.athletes)
    ('SimulatedStudy', 6)
    """

    athletes: pd.DataFrame
    sessions: pd.DataFrame
    recordings: tuple[SimulatedJump, ...]
    measures: pd.DataFrame
    participation: pd.DataFrame
    truth: pd.DataFrame
    settings: StudySettings


def simulate_sessions(
    settings: StudySettings | None = None,
    *,
    seed: int | np.random.SeedSequence | np.random.Generator = 0,
    metrics: Sequence[str] = MAIN_METRICS,
    population: bool = False,
) -> SimulatedSessions:
    """Simulate the tables of a study without signals: fast, for calibration of statistics.

    Parameters
    ----------
    settings : StudySettings, optional
    seed : int, SeedSequence or Generator
        The same seed gives the same study; ``simulate_study`` with it has the same jumps.
    metrics : sequence of str
        Metric keys with a closed form.
    population : bool
        Add the values of the population to the truth (a large squad is simulated; seconds).

    Returns
    -------
    SimulatedSessions

    Examples
    --------
    >>> import cmjlab as cj
    >>> sim = cj.simulate_sessions(seed=1, metrics=["jump_height_m"])
    >>> sim.sessions.shape[0]
    90
    """
    how = checks.given_or_default("settings", settings, StudySettings)
    squad_random = np.random.default_rng(seed).spawn(2)[0]
    squad = draw_squad(how, squad_random)
    jumps = _jumps_table(squad, how, metrics)
    truth = truth_table(
        squad, how, metrics=metrics, ids=athlete_ids(how.n_athletes), population=population
    )
    return SimulatedSessions(jumps, _sessions_table(jumps, how, metrics), truth, how)


def _present(ids: Sequence[str], settings: StudySettings) -> np.ndarray:
    """Return which athlete was tested in which session, shape (n, k)."""
    order = list(settings.sessions)
    there = np.ones((len(ids), len(order)), dtype=bool)
    for athlete, session in settings.absent.items():
        there[ids.index(athlete), order.index(session)] = False
    for athlete, session in settings.left.items():
        there[ids.index(athlete), order.index(session) :] = False
    return there


def _jumps_table(squad: Squad, settings: StudySettings, metrics: Sequence[str]) -> pd.DataFrame:
    values = metrics_of(squad.jump_parameters, metrics)
    n, k, j = next(iter(values.values())).shape
    ids, order = athlete_ids(n), list(settings.sessions)
    there = np.repeat(_present(ids, settings)[:, :, None], j, axis=2).ravel()
    table = pd.DataFrame(
        {
            "athlete": np.repeat(ids, k * j),
            "group": np.repeat(squad.group, k * j),
            "session": pd.Categorical(np.tile(np.repeat(order, j), n), order, ordered=True),
            "trial": np.tile([str(t) for t in range(1, j + 1)], n * k),
            **{key: value.ravel() for key, value in values.items()},
        }
    )
    return table[there].reset_index(drop=True)


def _sessions_table(
    jumps: pd.DataFrame, settings: StudySettings, metrics: Sequence[str]
) -> pd.DataFrame:
    grouped = jumps.groupby(["athlete", "group", "session"], observed=True)
    table = grouped[list(metrics)].mean().reset_index()
    table["n_jumps"] = grouped.size().to_numpy()
    table["n_expected"] = settings.jumps
    table["n_excluded"] = 0
    table["role"] = [settings.sessions[s] for s in table["session"].astype(str)]
    first = [c.name for c in SESSIONS.columns if c.name in table.columns and c.name not in metrics]
    table["group"] = pd.Categorical(table["group"], list(settings.groups), ordered=True)
    return table[[*first, *metrics]]


def simulate_study(
    settings: StudySettings | None = None,
    *,
    seed: int | np.random.SeedSequence | np.random.Generator = 0,
    population: bool = True,
) -> SimulatedStudy:
    """Simulate a whole study with recordings of two plates.

    Parameters
    ----------
    settings : StudySettings, optional
        Design, variation and effects; the defaults make 30 athletes, three groups and three
        sessions of three jumps.
    seed : int, SeedSequence or Generator
        The same seed gives the same study.
    population : bool
        Add the values of the population to the truth (a large squad is simulated; seconds).

    Returns
    -------
    SimulatedStudy

    Notes
    -----
    All data are invented. Group effects act on traits (height, depth, time to take-off);
    truth holds what follows for every metric.

    Examples
    --------
    >>> import cmjlab as cj
    >>> few = cj.simulate.StudySettings(groups={"strength": 2, "fast_braking": 2, "usual": 2}, jumps=1)
    >>> study = cj.simulate_study(few, seed=1)
    >>> len(study.athletes)
    6
    """
    how = checks.given_or_default("settings", settings, StudySettings)
    squad_random, record_random = np.random.default_rng(seed).spawn(2)
    squad = draw_squad(how, squad_random)
    ids = athlete_ids(how.n_athletes)
    there = _present(ids, how)
    recordings = []
    for cell, random in zip(
        np.ndindex(len(ids), len(how.sessions), how.jumps),
        record_random.spawn(len(ids) * len(how.sessions) * how.jumps), strict=True,
    ):  # fmt: skip
        if there[cell[:2]]:
            recordings.append(_record(squad, cell, (ids[cell[0]], how), random))
    measure_random = record_random.spawn(1)[0]
    return SimulatedStudy(
        athletes=_roster(squad, ids, measure_random),
        sessions=pd.DataFrame({"session": list(how.sessions), "role": list(how.sessions.values())}),
        recordings=tuple(recordings),
        measures=_measures(squad, (ids, there), how, measure_random),
        participation=_participation(how),
        truth=truth_table(squad, how, metrics=MAIN_METRICS, ids=ids, population=population),
        settings=how,
    )


def _record(
    squad: Squad, cell: tuple[int, ...], who: tuple[str, StudySettings], random: np.random.Generator
) -> SimulatedJump:
    """Record the jump of one athlete, session and trial."""
    athlete, how = who
    asymmetry = {
        f"asymmetry_{phase}_percent": float(squad.asymmetry[phase][cell]) for phase in LIMB_PHASES
    }
    recording = RecordingSettings(
        quiet_before_s=how.quiet_before_s + float(random.uniform(0, 0.3)),
        quiet_after_s=how.quiet_after_s,
        **asymmetry,  # type: ignore[arg-type]
    )
    sim = simulate_jump(
        profile_at(squad.jump_parameters, cell), rate_hz=how.rate_hz, noise_sd_n=how.noise_sd_n,
        sway_sd_n=how.sway_sd_n, settings=recording, seed=random,
    )  # fmt: skip
    named = sim.recording.replace(
        athlete=athlete, session=list(how.sessions)[cell[1]], trial=str(cell[2] + 1)
    )
    return replace(sim, recording=named)


def profile_at(parameters: Parameters, cell: tuple[int, ...]) -> Profile:
    """Return one jump out of arrays of parameters."""
    shape = np.broadcast_shapes(*(np.shape(v) for v in parameters[:-1]))
    names = ("mass_kg", "unweighting", "braking", "depth_m", "takeoff_velocity_m_per_s",
             "push_exponent", "push_dip", "landing_drop_m", "impact_share", "gravity_m_per_s2")  # fmt: skip
    numbers = {
        name: float(np.broadcast_to(value, shape)[cell])
        for name, value in zip(names, parameters[:-1], strict=True)
    }
    return Profile.from_dict({**numbers, "onset_shape": parameters.onset_shape})


def _roster(squad: Squad, ids: list[str], random: np.random.Generator) -> pd.DataFrame:
    mass = squad.true_parameters.mass_kg[:, 0]
    stature = 1.72 + 0.0035 * (mass - 68) + random.normal(0, 0.045, len(ids))
    return ATHLETES.cast(
        pd.DataFrame(
            {
                "athlete": ids,
                "group": squad.group,
                "stature_m": np.round(stature, 2),
                "body_mass_kg": np.round(mass, 1),
            }
        )
    )


def _measures(
    squad: Squad,
    who: tuple[list[str], np.ndarray],
    settings: StudySettings,
    random: np.random.Generator,
) -> pd.DataFrame:
    """Return tested strength and a coach's rating of each session, and attendance."""
    ids, there = who
    order = list(settings.sessions)
    attended = np.clip(np.round(random.normal(88, 7, len(ids))), 55, 100)
    height = squad.expected[..., TRAITS.index("height")]
    spread = max(float(height[:, 0].std()), 1e-9)
    seen = 6 + 1.1 * (height - height[:, :1].mean()) / spread
    rating = np.clip(np.round(seen + random.normal(0, 0.9, height.shape)), 1, 10)
    rows = []
    for a, s in zip(*np.nonzero(there), strict=True):
        values = [("squat_1rm", squad.lifted_kg[a, s], "kg", "tested"),
                  ("coach_rating", rating[a, s], "1 to 10", "rated")]  # fmt: skip
        if settings.sessions[order[s]] == "post":
            values.append(("attendance", attended[a], "%", "counted"))
        rows += [
            {"athlete": ids[a], "session": order[s], "measure": name, "value": float(value),
             "unit": unit, "how": how}
            for name, value, unit, how in values
        ]  # fmt: skip
    return MEASURES.frame(rows)


def _participation(settings: StudySettings) -> pd.DataFrame:
    rows = [
        {"athlete": a, "session": s, "status": status, "reason": ""}
        for status, missing in (("absent", settings.absent), ("left", settings.left))
        for a, s in missing.items()
    ]
    return PARTICIPATION.frame(rows)
