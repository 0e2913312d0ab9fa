"""Only the six ICCs with their published intervals, for very many metrics at once.

:func:`cmjlab.reliability` gives these and much more; this is for screening thousands of columns.
"""

from __future__ import annotations

from typing import Any

import pandas as pd

from cmjlab import checks
from cmjlab.results import Result
from cmjlab.stats.common.mean_squares import two_way
from cmjlab.stats.common.rows import Rows
from cmjlab.stats.common.tables import (
    check_table,
    left_out_notes,
    metric_names,
    sessions_to_use,
)
from cmjlab.stats.reliability.data import cube
from cmjlab.stats.reliability.reasons import value_reasons
from cmjlab.stats.reliability.rows import published_rows


def published_icc(
    table: pd.DataFrame, metrics: Any = None, *, use: Any = None, level: float = 0.95
) -> Result:
    """Return ICC(1), ICC(A,1), ICC(C,1) and their k forms with the published intervals.

    Parameters
    ----------
    table : pandas.DataFrame
        One row per athlete and session; columns ``athlete``, ``session`` and metrics.
    metrics : str or sequence of str, optional
        Metrics; by default all numeric columns.
    use : str or sequence of str, optional
        Sessions; by default those with role baseline, else all.
    level : float
        Level of the intervals.

    Returns
    -------
    Result
        kind "published_icc"; athletes with a gap are left out and named in a note.

    Raises
    ------
    StatsError
        As :func:`cmjlab.reliability`.

    Notes
    -----
    McGraw & Wong (1996), Psychol Methods 1:30, with its correction; Shrout & Fleiss (1979).

    Examples
    --------
    >>> import cmjlab as cj
    >>> table = cj.simulate_sessions(seed=1, metrics=["jump_height_m"]).sessions
    >>> found = cj.stats.published_icc(table, "jump_height_m", use=["base1", "base2"])
    >>> found.table["statistic"].tolist()
    ['icc_1', 'icc_a1', 'icc_c1', 'icc_1k', 'icc_ak', 'icc_ck']
    """
    level = checks.level(level)
    checked = check_table(table)
    names = metric_names(checked, metrics)
    sessions = sessions_to_use(checked, use)
    data = cube(checked, names, sessions)
    rows = Rows(level=level)
    published_rows(rows.at(metric=names), two_way(data.values), value_reasons(data))
    return Result(
        "published_icc",
        rows.frame(),
        settings={"metrics": names, "use": sessions, "level": level},
        notes=(*left_out_notes(table, checked, names, sessions), *data.notes),
    )
