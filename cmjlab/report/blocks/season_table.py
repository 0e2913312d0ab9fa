"""The squad's last week as a table of texts: who stands out first."""

from __future__ import annotations

import pandas as pd

from cmjlab.plots.labels import value_text
from cmjlab.results import Result


def urgency(rows: pd.DataFrame) -> int:
    """Return 0 where a conclusion stands, 1 where the last week alarms, 2 otherwise."""
    last = rows.iloc[-1]
    return 0 if last["conclusion"] else 1 if last["alarm"] else 2


def week_table(result: Result, metric: str) -> pd.DataFrame:
    """Return the squad's last week as text columns, for a console: who stands out first."""
    points = result.points["weeks"]
    mine = points[points["metric"] == metric]
    tested = set(points["session"].astype(str))
    week = [str(w) for w in result.settings["weeks"] if str(w) in tested][-1]
    rows = []
    for athlete, part in mine.groupby("athlete", sort=False):
        here = part[part["session"].astype(str) == week]
        last = part.iloc[-1]
        difference = (
            value_text(metric, float(here["difference"].iloc[0]), signed=True) if len(here) else "–"
        )
        rows.append(
            {
                "athlete": athlete,
                "own level": value_text(metric, float(last["own_level"])),
                week: difference,
                "weekly limits": f"±{value_text(metric, float(last['alarm_half']))}",
                "alarm": str(here["alarm"].iloc[0]) if len(here) else "not tested",
                "season": f"{last['conclusion']} since {last['since']}"
                if last["conclusion"]
                else "",
                "order": urgency(part),
            }
        )
    table = pd.DataFrame(rows).sort_values("order", kind="stable")
    return table.drop(columns="order").reset_index(drop=True)
