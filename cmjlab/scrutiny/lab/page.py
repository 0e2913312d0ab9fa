"""``lab_truth``: how true a lab's own numbers are, and which share of their noise is the lab's."""

from __future__ import annotations

import contextlib
from collections.abc import Sequence
from typing import Any

import numpy as np
import pandas as pd

from cmjlab import checks
from cmjlab.errors import ArgumentError, CmjlabError
from cmjlab.plan import Plan
from cmjlab.results import Note, Result, Sentence
from cmjlab.scrutiny.lab.errors import MetricErrors, metric_errors, simulated_errors
from cmjlab.scrutiny.lab.noise_share import kept_of_a_jump
from cmjlab.scrutiny.lab.rows import add_rows, metric_sentences, noise_of
from cmjlab.scrutiny.lab.seen import Lab, lab_of_jumps, looked_at
from cmjlab.scrutiny.lab.squad_profiles import profiles_like
from cmjlab.scrutiny.opened import opened
from cmjlab.stats.common.rows import Rows
from cmjlab.stats.common.tables import sessions_to_use
from cmjlab.stats.reliability.reliability import reliability
from cmjlab.study.analyses.defaults import measures_of
from cmjlab.study.study import Study
from cmjlab.study.summarise import BEST_BY

#: Recordings without a value are told from this share on.
_MISSING = 0.02


def lab_truth(
    study: Study,
    metrics: str | Sequence[str] | None = None,
    *,
    profiles: int = 30,
    repeats: int = 12,
    most: int = 60,
    level: float | None = None,
    seed: int = 0,
) -> Result:
    """Return how true a lab's own numbers are: bias, spread, and their share of the typical error.

    Sampling rate, plate noise, step of the converter, sway and protocol are read from the study's
    own recordings. Jumps like the squad's, whose every metric is known exactly, are recorded under
    these conditions and measured by the study's method. What the errors scatter from recording to
    recording is the part of the typical error that instrument and method make; the rest is biology.

    Parameters
    ----------
    study : Study
        An opened study.
    metrics : str or sequence of str, optional
        Default: the plan's measures that have values.
    profiles, repeats : int
        Athletes whose jumps are imitated (at least 2), and recordings of each (at least 2).
    most : int
        Recordings that are looked at for noise and sway, spread evenly over the study.
    level : float, optional
        Level of the intervals; default the plan's.
    seed : int
        The same seed gives the same numbers.

    Returns
    -------
    Result
        kind "lab_truth". Rows ``instrument_bias`` (mean error measured − exact, and ``se``),
        ``instrument_sd`` (spread of the errors of one jump), ``instrument_share_of_jumps`` (of the
        variance from jump to jump, %), ``instrument_share`` (of the variance of the typical error of
        a session's value, %), ``biology_sd`` (what is left of the typical error). ``points``: lab
        (what is simulated), recordings (one row per jump looked at), squad (quartiles), errors (one
        row per simulated recording), causes, shares.

    Raises
    ------
    StatsError
        No measure has a value, too few accepted jumps, no noise to be seen, or no profile like the
        squad's.
    ArgumentError
        A number out of its range.

    Notes
    -----
    A mean of m jumps leaves 1/m of the instrument's variance in a session's value, a median and a
    best jump what order statistics of normal values leave. Other metrics of the best jump keep all
    of it, at most. The share is a ratio of two independent mean squares with an F interval; limits
    of what is left are modified large-sample limits (Ting et al. 1990). Nothing here can see a
    plate that reads all forces by the same share too high on one day: its calibration does.

    Examples
    --------
    >>> import cmjlab as cj
    >>> study = cj.Study.open(cj.demo_study())
    >>> truth = cj.lab_truth(study, "jump_height_m", profiles=4, repeats=5, most=10)
    >>> row = truth.row("instrument_sd", metric="jump_height_m")
    >>> bool(0.001 < row["estimate"] < 0.01), int(row["n"])  # metres
    (True, 20)
    """
    study = opened(study)
    count, each, looks = (
        int(checks.number(name, value, low=low, high=high))
        for name, value, low, high in (
            ("profiles", profiles, 2, 500), ("repeats", repeats, 2, 10_000), ("most", most, 5, 100_000),
        )
    )  # fmt: skip
    level = checks.level(study.plan.level if level is None else level)
    sessions = study.sessions_table()
    names = measures_of(study, sessions, metrics)
    _refuse_unknown(sessions, names)
    jumps = study.jumps_at_load()
    lab, recordings = lab_of_jumps(looked_at(study, jumps, looks), study.method)
    squad = profiles_like(jumps, count, gravity=study.method.gravity_m_per_s2)
    seed = int(checks.number("seed", seed, low=0))
    errors = simulated_errors(
        lab, squad.profiles, study.method, repeats=each, seed=seed, metrics=names
    )
    found = {m: metric_errors(errors, m) for m in names}
    noise = _reliability(study, sessions, names, level)
    tested = _tested(sessions, noise)
    rows = Rows(level=level)
    said = [_lab_sentence(lab)]
    for metric in names:
        add_rows(
            rows, metric, found[metric], noise_of(noise, metric, _kept(study.plan, tested, metric))
        )
        said += metric_sentences(rows, metric, found[metric])
    table = rows.frame()
    return Result(
        "lab_truth", table,
        {"lab": _lab_table(lab), "recordings": recordings, "squad": squad.table, "errors": errors,
         "causes": _causes(found), "shares": _shares(table, noise)},
        {"metrics": names, "method": study.method.to_dict(), "profiles": len(squad.profiles),
         "repeats": each, "seed": seed, "level": level, "summary": study.plan.summary},
        (*lab.notes, *squad.notes, *_notes(study, noise, found)), tuple(said),
    )  # fmt: skip


def _refuse_unknown(sessions: pd.DataFrame, names: list[str]) -> None:
    known = [str(c) for c in sessions]
    for name in names:
        if name not in known:
            raise ArgumentError(
                f"metrics: the study has no measure {name!r}.{checks.suggestion(name, known)}"
            )


def _reliability(
    study: Study, sessions: pd.DataFrame, names: list[str], level: float
) -> Result | None:
    """Return the study's own noise; with one baseline that within the session; None without any."""
    with contextlib.suppress(CmjlabError):
        return study.reliability(names, level=level)
    with contextlib.suppress(CmjlabError):
        return reliability(
            sessions, names, use=sessions_to_use(sessions, None)[:1], level=level,
            jumps=study.jumps_at_load(),
        )  # fmt: skip
    return None


def _tested(sessions: pd.DataFrame, noise: Result | None) -> pd.DataFrame:
    """Return the rows of the sessions that the noise is known from."""
    if noise is None:
        return sessions
    return sessions[sessions["session"].astype(str).isin(noise.settings["use"])]


def _kept(plan: Plan, tested: pd.DataFrame, metric: str) -> float:
    """Return which part of one jump's variance is in a session's value."""
    column = "n_compared" if "n_compared" in tested else "n_jumps"
    counts = tested.loc[tested[metric].notna(), column].fillna(0).to_numpy(dtype=float)
    return kept_of_a_jump(plan.summary, counts, plan.best_n, ranks=metric == BEST_BY)


def _lab_table(lab: Lab) -> pd.DataFrame:
    """Return what is simulated: name, value, unit."""
    rows: list[tuple[str, float, str]] = [
        *(("rate", rate, "Hz") for rate in lab.rates_hz),
        ("plates", lab.plates, ""), ("plate_noise_sd", lab.noise_sd_n, "N"),
        ("converter_step", lab.step_n, "N"), ("sway_sd", lab.sway_sd_n, "N"),
        ("standing", lab.standing_s, "s"), ("after_landing", lab.after_s, "s"),
        ("recordings", lab.n, ""),
    ]  # fmt: skip
    return pd.DataFrame(rows, columns=["name", "value", "unit"])


def _lab_sentence(lab: Lab) -> Sentence:
    values: dict[str, Any] = {
        "n": lab.n, "rates": [float(r) for r in lab.rates_hz], "noise": lab.noise_sd_n,
        "sway": lab.sway_sd_n, "standing": lab.standing_s, "step": lab.step_n,
    }  # fmt: skip
    return Sentence("lab_truth.lab_with_step" if lab.step_n else "lab_truth.lab", values=values)


def _causes(found: dict[str, MetricErrors | None]) -> pd.DataFrame:
    rows = [(m, e.cause, e.cause_r2) for m, e in found.items() if e is not None]
    return pd.DataFrame(rows, columns=["metric", "cause", "r2"])


def _shares(table: pd.DataFrame, noise: Result | None) -> pd.DataFrame:
    """Return what the figure draws: metric, typical_error, share, low, high (%)."""
    part = table[table["statistic"] == "instrument_share"]
    out = part[["metric", "estimate", "ci_low", "ci_high", "text"]]
    out = out.set_axis(["metric", "share", "low", "high", "text"], axis=1).reset_index(drop=True)
    errors = {} if noise is None else noise.rows("typical_error").set_index("metric")["estimate"]
    return out.assign(typical_error=[float(errors.get(m, np.nan)) for m in out["metric"]])


def _notes(study: Study, noise: Result | None, found: dict[str, MetricErrors | None]) -> list[Note]:
    notes = [Note("sway_is_added"), Note("lab_gain_not_seen")]
    if study.plan.summary in ("best", "best_n_mean"):
        notes.append(Note("lab_best_jump"))
    if noise is None or len(noise.settings["use"]) < 2:
        notes.append(Note("lab_one_session"))
    missing = [m for m, e in found.items() if e is not None and e.n_missing > _MISSING * e.n]
    if missing:
        notes.append(Note("lab_not_measured", {"metrics": tuple(missing)}))
    without = [m for m, e in found.items() if e is None]
    if without:
        notes.append(Note("lab_without_truth", {"metrics": tuple(without)}))
    return notes
