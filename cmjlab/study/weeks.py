"""The weeks of a study that are followed: which sessions are stable, what is followed, who returns."""

from __future__ import annotations

from collections.abc import Sequence

import pandas as pd

from cmjlab import checks
from cmjlab.results import Result
from cmjlab.stats.season.charts import FollowSettings
from cmjlab.stats.season.follow import follow
from cmjlab.study.folder.study_folder import StudyFolder

#: Followed beside the primary metric where they have values: time, and what one leg spares.
MORE_METRICS = (
    "jump_height_m",
    "time_to_takeoff_s",
    "braking_impulse_asymmetry_percent",
    "propulsion_impulse_asymmetry_percent",
)
#: Statuses of participation.csv after which somebody returns, and for how many days that is so.
RETURN_FROM = ("pain", "injured", "ill")
_RETURN_DAYS = 120


def stable_sessions(study: StudyFolder) -> list[str]:
    """Return the sessions from which levels and noise may come, in order.

    Those of role baseline, and those with "yes" in column stable of sessions.csv; "no" there
    takes a session off.
    """
    rows = study.sessions
    said = rows["stable"].fillna("") if "stable" in rows else pd.Series("", index=rows.index)
    wanted = ((rows["role"] == "baseline") & (said != "no")) | (said == "yes")
    return list(rows.loc[wanted, "session"].astype(str))


def follow_weeks(
    study: StudyFolder,
    table: pd.DataFrame,
    metrics: str | Sequence[str] | None,
    settings: FollowSettings | None,
) -> Result:
    """Follow the weeks of monitoring of a study; see :func:`cmjlab.follow`.

    Parameters
    ----------
    study : StudyFolder
    table : pandas.DataFrame
        Its sessions table.
    metrics : str or sequence of str, optional
        Default: the primary metric, height, time to take-off and asymmetries that have values.
    settings : FollowSettings, optional
        A season has at least as many weeks as study.toml lists.
    """
    stable = [s for s in stable_sessions(study) if s in set(table["session"].astype(str))]
    weekly = [s for s in study.settings.monitoring if s not in stable]
    there = [s for s in weekly if s in set(table["session"].astype(str))]
    how = settings or FollowSettings()
    how = how.replace(looks=max(how.looks, min(len(weekly), 60)))
    if metrics is None:
        wanted = dict.fromkeys((study.plan.primary_metric, *MORE_METRICS))
        metrics = [m for m in wanted if m in table and table[m].notna().any()]
    names = checks.names("metrics", metrics)
    return follow(table, names, stable=stable, weeks=there, settings=how)


def returning(study: StudyFolder, weeks: Sequence[str]) -> list[str]:
    """Return who comes back: a dated absence for pain, injury or illness ended before a week.

    Parameters
    ----------
    study : StudyFolder
    weeks : sequence of str
        Weeks that are followed.
    """
    rows = study.sessions
    days = pd.to_datetime(rows.loc[rows["session"].isin(weeks), "date"], errors="coerce").dropna()
    part = study.participation
    if days.empty or part.empty:
        return []
    ended = pd.to_datetime(part["to"], errors="coerce")
    first = days.min() - pd.Timedelta(days=_RETURN_DAYS)
    back = part["status"].isin(RETURN_FROM) & (ended >= first) & (ended <= days.max())
    return list(dict.fromkeys(part.loc[back, "athlete"].astype(str)))
