"""Change over several sessions and groups, with missing sessions: contrasts first.

The answer is the pre-declared contrast: the change of each athlete between two sessions,
compared between groups, tested against its own error (:mod:`cmjlab.stats.contrasts`).
Models of the covariance between sessions stand beside it, because they use athletes with a
missing session, and because readers ask for them; they are right only when their covariance
is (a random intercept alone on weekly data rejects a true null in 10–12 % of studies).
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import pandas as pd

from cmjlab.checks import level as check_level
from cmjlab.results import Result
from cmjlab.stats.mixed_panel import read_panel
from cmjlab.stats.mixed_rows import contrast_rows, figure_data, primary_pair
from cmjlab.stats.tidy import statistics_frame


def change_mixed(
    table: pd.DataFrame,
    metric: str,
    *,
    order: Sequence[str] | None = None,
    primary: tuple[str, str] | None = None,
    control: str | None = None,
    constrained: bool = False,
    level: float = 0.95,
) -> Result:
    """Return how athletes and groups changed over two or more sessions.

    Parameters
    ----------
    table : pandas.DataFrame
        One row per athlete and session: ``athlete``, ``session``, the metric, optional ``group``.
    metric : str
        Column to analyse, in its own unit.
    order : sequence of str, optional
        Sessions to use, in protocol order; else category order or order of appearance.
    primary : (str, str), optional
        Earlier and later session of the pre-declared contrast; else first and last of ``order``.
    control : str, optional
        Group that the others are compared with; else the first category or first to appear.
    constrained : bool
        Add the constrained longitudinal model: no group difference at the first session. Right
        for groups formed at random only (Liang & Zeger 2000).
    level : float
        Level of all intervals.

    Returns
    -------
    Result
        ``mean_change`` per group and pair of sessions, ``change_difference`` per pair of groups;
        contrasts are "later - earlier" and "group - control".

    Raises
    ------
    StatsError
        When the table cannot be analysed, naming the athlete or session.
    """
    level = check_level(level)
    panel = read_panel(table, metric, order=order, control=control)
    declared = primary_pair(panel, primary)
    rows, notes = contrast_rows(panel, declared, level)
    settings: dict[str, Any] = {
        "metric": panel.metric,
        "order": list(panel.sessions),
        "primary": [panel.sessions[declared[0]], panel.sessions[declared[1]]],
        "control": panel.groups[0],
        "constrained": constrained,
        "level": level,
    }
    return Result(
        "change over sessions",
        statistics_frame(rows),
        figure_data(panel),
        settings,
        (*panel.notes, *notes),
    )
