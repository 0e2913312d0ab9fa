"""Follow a squad through a season: every athlete against the own stable weeks."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np
import pandas as pd

from cmjlab import checks
from cmjlab.errors import StatsError
from cmjlab.results import Reason, Result
from cmjlab.stats.change.pairs import session_values
from cmjlab.stats.common.noise import no_noise_text
from cmjlab.stats.common.rows import Rows
from cmjlab.stats.common.tables import check_table, every_group, metric_names, refuse_infinite
from cmjlab.stats.season.charts import FollowSettings
from cmjlab.stats.season.follow_rows import add_noise, add_squad, add_trend, week_points
from cmjlab.stats.season.sentences import follow_notes, follow_sentences
from cmjlab.stats.season.stable import Stable, chosen_sessions, stable_weeks
from cmjlab.stats.season.trend import Trend, trend_of
from cmjlab.tables import WEEKS


def follow(
    table: pd.DataFrame,
    metrics: Any = None,
    *,
    stable: Sequence[str] | None = None,
    weeks: Sequence[str] | None = None,
    reliability: Any = None,
    settings: FollowSettings | None = None,
) -> Result:
    """Follow every athlete from week to week against the own stable weeks.

    Parameters
    ----------
    table : pandas.DataFrame
        One row per athlete and session, in order: ``athlete``, ``session`` and metrics; ``role``
        says which sessions are baselines and which weeks of monitoring.
    metrics : str or sequence of str, optional
        Default: all numeric columns.
    stable : sequence of str, optional
        Sessions without training before them: level and noise come from these alone. Default:
        those of role baseline.
    weeks : sequence of str, optional
        Weeks to follow; default those of role monitoring (in a table without roles all others).
    reliability : Result, or mapping of metric to (typical error, df), optional
        The noise, where the stable sessions are too few to show it.
    settings : FollowSettings, optional
        Chances of a false alarm and a false conclusion, weeks of the season, weight, slack.

    Returns
    -------
    Result
        Per athlete and week ``week_difference`` (its interval leaves out zero when there is an
        alarm), ``season_mean`` (its interval leaves out zero when there is a conclusion),
        ``season_sum_above`` and ``season_sum_below``; per week ``squad_difference``; per metric
        ``typical_error``. Points ``weeks``: one row per athlete, metric and week, columns of
        ``cmjlab.tables.WEEKS``; ``missing``: weeks without a value.

    Raises
    ------
    StatsError
        No stable session, no week, or the noise of no metric is known.

    Notes
    -----
    Level and noise are estimated, and the limits carry that. A week differs from the level by
    ± t · TE · √(1 + 1/b) with b stable weeks. The weighted mean (Roberts 1959) starts at 0; its
    limits hold for all weeks of the season at once, for the number of stable weeks of each athlete
    and the degrees of freedom of the noise, see ``cmjlab.stats.season.limits``. The conclusion rests
    on the weighted mean; the running sum (Page 1954) has limits of its own and is a second look.

    Examples
    --------
    >>> import cmjlab as cj
    >>> sim = cj.simulate_sessions(seed=4, metrics=["jump_height_m"]).sessions
    >>> season = follow(sim, "jump_height_m", weeks=["post"])
    >>> season.points["weeks"]["alarm"].isin(["above", "below", ""]).all()
    np.True_
    """
    how = checks.given_or_default("settings", settings, FollowSettings)
    checked = check_table(table)
    names = metric_names(checked, metrics)
    refuse_infinite(checked, names)
    base, found = chosen_sessions(checked, stable, weeks)
    looks = max(how.looks, len(found))
    rows = Rows(level=1.0 - how.season)
    followed: list[tuple[Stable, list[Trend]]] = []
    skipped: dict[str, Reason] = {}
    for metric in names:
        known = stable_weeks(checked, metric, base, reliability)
        if isinstance(known, Reason):
            skipped[metric] = known
            continue
        trends = _trends(checked, known, found, how, looks)
        followed.append((known, trends))
        add_noise(rows, known)
        for trend in trends:
            add_trend(rows, metric, trend, how)
        add_squad(rows, metric, trends, found)
    if not followed:
        raise StatsError(" ".join(no_noise_text(m, why) for m, why in skipped.items()))
    if not any(trends for _, trends in followed):
        raise StatsError(
            f"nobody has a value in a stable session ({', '.join(base)}) and in a week"
            f" ({', '.join(found)}); nobody can be followed."
        )
    for metric, why in skipped.items():
        rows.at(metric=metric).none("typical_error", why)
    points = WEEKS.frame(week_points(checked, followed))
    return Result(
        kind="follow",
        table=rows.frame(),
        points={"weeks": points, "missing": _missing(checked, followed, found)},
        settings={
            "metrics": [known.metric for known, _ in followed],
            "stable": base,
            "weeks": found,
            "looks": looks,
            "level": 1.0 - how.season,
            "charts": how.to_dict(),
            "groups": every_group(checked),
            "leading": {"statistic": "season_mean", "why": "holds_for_a_season"},
        },
        notes=follow_notes(checked, followed, (base, found), how, skipped),
        sentences=follow_sentences(followed, found, how),
    )


def _trends(
    table: pd.DataFrame, known: Stable, weeks: list[str], how: FollowSettings, looks: int
) -> list[Trend]:
    """Return the trends of all who have a level and a week with a value."""
    columns = {s: session_values(table, known.metric, s) for s in weeks}
    out = []
    for athlete in known.levels:
        mine = {s: float(c.get(athlete, np.nan)) for s, c in columns.items()}
        mine = {s: v for s, v in mine.items() if np.isfinite(v)}
        if mine:
            out.append(trend_of(athlete, mine, known, how, looks))
    return out


def _missing(
    table: pd.DataFrame, followed: list[tuple[Stable, list[Trend]]], weeks: list[str]
) -> pd.DataFrame:
    """Return weeks without a value of athletes who are followed: metric, athlete, session."""
    rows = [
        {"metric": known.metric, "athlete": trend.athlete, "session": session}
        for known, trends in followed
        for trend in trends
        for session in weeks
        if session not in trend.sessions
    ]
    return pd.DataFrame(rows, columns=["metric", "athlete", "session"])
