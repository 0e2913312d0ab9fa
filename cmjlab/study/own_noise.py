"""Test day: an athlete's height of today against the own baselines and the noise of one test."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import pandas as pd

from cmjlab.errors import CmjlabError
from cmjlab.plan import Plan
from cmjlab.stats.common.intervals import t_quantile
from cmjlab.stats.reliability.reliability import reliability
from cmjlab.study.summarise import summarise_sessions
from cmjlab.words.phrases import Reason

#: What is looked at while athletes jump.
METRIC = "jump_height_m"
_COLUMNS = ["athlete", "session", "accepted", "load_kg", METRIC]


@dataclass(frozen=True)
class OwnNoise:
    """What is known of the noise before today.

    Attributes
    ----------
    sessions : tuple of str
        Baseline sessions before today.
    typical_error : float
        In the unit of the metric; nan when it is not known.
    df : float
        Degrees of freedom of the typical error.
    athletes : int
        Athletes behind it.
    level : float
        Level at which a change counts as more than noise.
    reason : Reason or None
        Why it is not known.
    """

    sessions: tuple[str, ...]
    typical_error: float
    df: float
    athletes: int
    level: float
    reason: Reason | None = None

    def limit(self, baselines: int) -> float:
        """Return how far noise alone takes a change from the mean of some baselines.

        t · TE · √(1 + 1/k) for k baselines, as in :func:`cmjlab.change_individual`.
        """
        if not self.typical_error > 0 or baselines < 1:
            return math.nan
        quantile = float(t_quantile(1 - (1 - self.level) / 2, self.df))
        return quantile * self.typical_error * math.sqrt(1 + 1 / baselines)


def own_noise(jumps: pd.DataFrame, baselines: Sequence[str], plan: Plan) -> OwnNoise:
    """Return the noise of one test, from the study's baselines before today.

    Parameters
    ----------
    jumps : pandas.DataFrame
        Jumps table.
    baselines : sequence of str
        Baseline sessions before today.
    plan : Plan
    """
    table = _sessions(jumps, baselines, plan)
    held = [s for s in baselines if s in set(table["session"].astype(str))]
    none = (tuple(held), math.nan, math.nan, 0, plan.level)
    if len(held) < 2:
        return OwnNoise(*none, Reason("noise_before_today", {"n": len(held)}))
    try:
        row = reliability(table, [METRIC], use=held, level=plan.level).row(
            "typical_error", metric=METRIC
        )
    except (CmjlabError, KeyError) as error:
        return OwnNoise(*none, Reason("noise_not_computed", {"why": str(error)}))
    if not row["estimate"] > 0 or not row["df"] > 0:
        return OwnNoise(*none, Reason("few_tested_twice", {}))
    return OwnNoise(
        tuple(held), float(row["estimate"]), float(row["df"]), int(row["n"]), plan.level
    )


def _sessions(jumps: pd.DataFrame, sessions: Sequence[str], plan: Plan) -> pd.DataFrame:
    part = jumps[jumps["session"].astype(str).isin(sessions)]
    part = part[[c for c in _COLUMNS if c in part]].assign(session=part["session"].astype(str))
    table = summarise_sessions(
        part, plan.summary, jumps_wanted=plan.jumps_wanted, best_n=plan.best_n, load_kg=plan.load_kg
    )
    order = pd.CategoricalDtype(list(sessions), ordered=True)
    return table.assign(session=table["session"].astype(str).astype(order))


def heights(jumps: pd.DataFrame, session: str, noise: OwnNoise, plan: Plan) -> pd.DataFrame:
    """Return each athlete's height of today: value of the session, best, last, change, noise.

    Parameters
    ----------
    jumps : pandas.DataFrame
        Jumps table.
    session : str
        Session of today.
    noise : OwnNoise
    plan : Plan

    Returns
    -------
    pandas.DataFrame
        Index athlete; ``height_m`` (the session's value as the plan summarises, of the jumps so
        far), ``best_m``, ``last_m``, ``change_m`` (against the mean of the own baselines),
        ``noise_m`` (how far noise alone goes) and ``beyond``: "more", "less", "no" or "".
    """
    columns = ["height_m", "best_m", "last_m", "change_m", "noise_m", "beyond"]
    good = jumps[(jumps["session"].astype(str) == session) & jumps["accepted"].astype(bool)]
    good = good[good[METRIC].notna()]
    if good.empty:
        return pd.DataFrame(columns=columns, index=pd.Index([], name="athlete"))
    table = _sessions(jumps, [*noise.sessions, session], plan)
    values = table.pivot(index="athlete", columns="session", values=METRIC)
    by_athlete = good.groupby("athlete", sort=False)[METRIC]
    out = pd.DataFrame({"best_m": by_athlete.max(), "last_m": by_athlete.last()})
    out.insert(0, "height_m", values[session].reindex(out.index))
    before = values[list(noise.sessions)].reindex(out.index)
    out["change_m"] = out["height_m"] - before.mean(axis=1)
    out["noise_m"] = [noise.limit(int(k)) for k in before.notna().sum(axis=1)]
    out["beyond"] = [_beyond(c, n) for c, n in zip(out["change_m"], out["noise_m"], strict=True)]
    return out[columns]


def _beyond(change: float, limit: float) -> str:
    if not math.isfinite(change) or not math.isfinite(limit):
        return ""
    return "no" if abs(change) <= limit else "more" if change > 0 else "less"
