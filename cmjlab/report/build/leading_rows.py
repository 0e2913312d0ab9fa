"""Which row of a result a report shows when several methods estimate the same thing."""

from __future__ import annotations

import pandas as pd

from cmjlab.results import Result

#: Shown first when it is there: intervals that hold under a change between sessions.
#: The published interval of ICC(A,1) is too narrow then (tests/calibration), and stays in the CSV.
PREFERRED = {
    "icc_a1": "fiducial, these sessions",
    "icc_ak": "fiducial, these sessions",
}


def first_row(result: Result, statistic: str, metric: str) -> pd.Series | None:
    """Return the row of a statistic of a metric that a report shows, over all athletes.

    Parameters
    ----------
    result : Result
    statistic, metric : str

    Returns
    -------
    pandas.Series or None
        The preferred method where the statistic has one, else the first row without stratum.
    """
    rows = result.rows(statistic, metric=metric)
    if "group" in rows:
        rows = rows[rows["group"].isna() | (rows["group"].astype(str) == "")]
    better = rows[rows["method"].astype(str) == PREFERRED.get(statistic, "")]
    better = better[better["ci_low"].notna() & better["ci_high"].notna()]
    chosen = better if len(better) else rows
    return chosen.iloc[0] if len(chosen) else None


def preferred_first(table: pd.DataFrame) -> pd.DataFrame:
    """Return a statistics table in its order, preferred methods before the others.

    After it ``drop_duplicates`` on metric and statistic keeps the row that a report shows.
    """
    wanted = table["statistic"].astype(str).map(PREFERRED)
    better = (table["method"].astype(str) == wanted) & table["ci_low"].notna()
    places = pd.Series(range(len(table)), index=table.index)
    for _, rows in table.groupby(["metric", "statistic"], sort=False):
        order = [*rows.index[better[rows.index]], *rows.index[~better[rows.index]]]
        places[order] = sorted(places[rows.index])
    return table.loc[places.sort_values().index]
