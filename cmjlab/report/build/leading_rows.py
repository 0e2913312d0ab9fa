"""Which row of a result a report shows when several estimate the same thing."""

from __future__ import annotations

import pandas as pd

from cmjlab.results import Result


def first_row(result: Result, statistic: str, metric: str) -> pd.Series | None:
    """Return the row of a statistic of a metric that a report shows, over all athletes.

    Parameters
    ----------
    result : Result
    statistic, metric : str

    Returns
    -------
    pandas.Series or None
        The first row without stratum that leads, else the first without stratum.
    """
    rows = result.rows(statistic, metric=metric)
    rows = rows[rows["group"].isna()]
    leading = rows[rows["leads"].fillna(False).astype(bool)]
    chosen = leading if len(leading) else rows
    return chosen.iloc[0] if len(chosen) else None
