"""What the notebook of a season shows: weeks of the study, or invented ones where it has none."""

from __future__ import annotations

import pandas as pd
from scipy import special

from cmjlab.report.blocks.season_table import week_table
from cmjlab.report.notebooks.study import Tidy, tidy
from cmjlab.results import Result
from cmjlab.simulate.design import StudySettings
from cmjlab.simulate.study import simulate_sessions
from cmjlab.stats.season.charts import FollowSettings
from cmjlab.stats.season.follow import follow
from cmjlab.stats.season.limits import mean_factor, mean_sd
from cmjlab.study.study import Study
from cmjlab.study.weeks import returning
from cmjlab.words.catalog import read_words

#: Weeks of an invented season, and its seed.
_WEEKS, _SEED = 4, 7
#: Numbers of stable weeks in the table of limits.
_STABLE = (1, 2, 3, 4, 6, 10)


def weeks_to_follow(study: Study, *, looks: int) -> tuple[Result, str]:
    """Return the weeks of a study against own levels, and where they come from in words.

    A study without weeks of monitoring shows an invented squad instead, and says so.

    Parameters
    ----------
    study : Study
    looks : int
        Weeks that the season will have.
    """
    say, how = read_words().say, FollowSettings(looks=looks)
    table = study.sessions_table()
    there = set(table["session"].astype(str)) & set(study.settings.monitoring)
    if there:
        found = study.follow(settings=how)
        return found, say("season_notebook.own", weeks=found.settings["weeks"])
    weeks = {f"week{i}": "mid" for i in range(1, _WEEKS + 1)}
    roles = {"base1": "baseline", "base2": "baseline", **weeks}
    metrics = ["jump_height_m", "time_to_takeoff_s"]
    made = simulate_sessions(StudySettings(sessions=roles), seed=_SEED, metrics=metrics).sessions
    found = follow(made, metrics, weeks=list(weeks), settings=how)
    return found, say("season_notebook.invented")


def whom_to_show(study: Study, season: Result, athlete: str = "") -> str:
    """Return the athlete asked for, else who returns, else who stands out most this week."""
    followed = set(season.points["weeks"]["athlete"].astype(str))
    if athlete:
        return athlete
    back = [a for a in returning(study, season.settings["weeks"]) if a in followed]
    return back[0] if back else str(week_table(season, main_metric(season))["athlete"].iloc[0])


def main_metric(season: Result) -> str:
    """Return the measure that is shown first."""
    return str(season.settings["metrics"][0])


def alarms_by_week(season: Result, metric: str) -> Tidy:
    """Return how many athletes gave an alarm in each week, and how many chance gives on average."""
    points = season.points["weeks"]
    mine = points[points["metric"] == metric]
    share = float(season.settings["charts"]["alarm"])
    rows = []
    for week in season.settings["weeks"]:
        part = mine[mine["session"] == week]
        rows.append(
            {
                "week": str(week),
                "athletes": len(part),
                "alarms": int((part["alarm"] != "").sum()),
                "by chance": f"{share * len(part):.2f}",
            }
        )
    return tidy(pd.DataFrame(rows))


def limits_by_stable_weeks(season: Result, metric: str) -> Tidy:
    """Return both limits for more and fewer stable weeks, in typical errors, noise as known here."""
    how = FollowSettings.from_dict(season.settings["charts"])
    df = float(season.row("typical_error", metric=metric)["df"])
    looks = int(season.settings["looks"])
    rows = []
    for stable in _STABLE:
        week = float(special.stdtrit(df, 1 - how.alarm / 2)) * (1 + 1 / stable) ** 0.5
        factor = mean_factor(how.season, how.weight, looks, float(stable), df)
        last = factor * float(mean_sd(how.weight, looks, stable)[-1])
        rows.append(
            {"stable weeks": stable, "week": f"±{week:.2f}", "weighted mean": f"±{last:.2f}"}
        )
    return tidy(pd.DataFrame(rows))
