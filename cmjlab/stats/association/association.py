"""Association: do ratings, on-court measures and metrics go together, and do they change together.

Two sessions in which everybody gets better make any two metrics correlate, because both rise:
with changes of one SD and no link at all, the usual repeated-measures correlation of 12
athletes is .50 on average. Here the session is taken out too, so that what is left is whether
those who gained more in the one also gained more in the other. The published form stands beside
it. An association is no effect of anything: attendance, for example, was not dealt out by lot.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import pandas as pd

from cmjlab import checks
from cmjlab.errors import StatsError
from cmjlab.results import Result
from cmjlab.stats.association.rows import (
    add_in_sessions,
    add_of_changes,
    add_oldham,
    add_repeated,
    add_with_change,
    repeated,
)
from cmjlab.stats.association.sentences import association_notes, association_sentences
from cmjlab.stats.common.rows import Rows
from cmjlab.stats.common.tables import (
    check_table,
    compared_sessions,
    metric_names,
    refuse_infinite,
    session_order,
)
from cmjlab.stats.common.weeks import unused_weeks


def association(
    table: pd.DataFrame,
    x: str | Sequence[str],
    metrics: str | Sequence[str] | None = None,
    *,
    use: Sequence[str] | None = None,
    before: str | None = None,
    after: str | None = None,
    level: float = 0.95,
) -> Result:
    """Return correlations of one set of columns with another, within and between athletes.

    Parameters
    ----------
    table : pandas.DataFrame
        One row per athlete and session: ``athlete``, ``session`` and columns; measures such as
        coach ratings, attendance or match figures come from measures.csv.
    x : str or sequence of str
        Columns on one side, e.g. ``"coach_rating_1_to_10"``.
    metrics : str or sequence of str, optional
        Columns on the other side; default all numeric ones but ``x``.
    use : sequence of str, optional
        Sessions for the correlations over sessions; default all but weeks of monitoring.
    before, after : str, optional
        Two sessions: the correlation of changes, of ``x`` with the change, and (when ``x`` is
        the metric itself) of change against the mean of both are added.
    level : float

    Returns
    -------
    Result
        Rows ``correlation`` (per session), ``correlation_repeated`` (``sessions_taken_out``
        leads, ``sessions_left_in`` is the published form), with before and after
        ``correlation_change``, ``correlation_with_change`` and ``correlation_oldham``. Column
        ``other_metric`` names the other side. ``points["pairs"]`` holds what the figure shows.

    Raises
    ------
    StatsError
        Unknown columns or sessions, or only one of before and after.

    Notes
    -----
    Degrees of freedom of the session-centred correlation: observations - athletes - sessions;
    with two sessions that is n - 2. Limits by Fisher's z with df - 1 in place of n - 3. Pairs
    that share a formula (RSImod and height, change and start) are named in a note: part of
    their correlation is arithmetic.

    Examples
    --------
    >>> import cmjlab as cj
    >>> study = cj.Study.open(cj.demo_study())
    >>> found = cj.association(study.sessions_table(), "squat_1rm_kg", "jump_height_m", use=["base1"])
    >>> round(float(found.rows("correlation")["estimate"].iloc[0]), 2)
    0.45
    """
    level = checks.level(level)
    data = check_table(table)
    left = metric_names(data, x)
    right = metric_names(data, metrics) if metrics is not None else metric_names(data)
    refuse_infinite(data, [*left, *right])
    sessions = _sessions(data, use)
    pair = _pair(data, before, after)
    rows = Rows(level=level)
    points: list[pd.DataFrame] = []
    for a in left:
        for b in right:
            if a == b:
                if pair:
                    add_oldham(rows, data, a, pair)
                    add_with_change(rows, data, a, b, pair)
                continue
            add_in_sessions(rows, data, a, b, sessions)
            add_repeated(rows, data, a, b, sessions)
            if pair:
                add_of_changes(rows, data, a, b, pair)
                add_with_change(rows, data, a, b, pair)
            points.append(_points(data, a, b, sessions))
    table_of_rows = rows.frame()
    if table_of_rows.empty:
        raise StatsError(
            f"association: nothing to correlate: {', '.join(left)} with itself in one session. Give"
            " other metrics, or before and after."
        )
    return Result(
        "association",
        table_of_rows,
        points={"pairs": pd.concat(points, ignore_index=True) if points else pd.DataFrame()},
        settings={"x": left, "metrics": right, "use": sessions, "before": before, "after": after,
                  "level": level},
        notes=(
            *association_notes(data, left, right, pair, rows),
            *(unused_weeks(data, sessions) if use is None else ()),
        ),
        sentences=association_sentences(rows),
    )  # fmt: skip


def _sessions(table: pd.DataFrame, use: Sequence[str] | None) -> list[str]:
    if use is None:
        return compared_sessions(table)
    order = session_order(table)
    wanted = checks.names("use", use)
    return [_known(order, s, "use") for s in wanted]


def _known(order: list[str], session: str, name: str) -> str:
    if session not in order:
        raise StatsError(
            f"{name}: there is no session {session!r}; sessions are {', '.join(order)}."
        )
    return session


def _pair(table: pd.DataFrame, before: str | None, after: str | None) -> tuple[str, str] | None:
    if (before is None) != (after is None):
        raise StatsError("association: before and after are needed together, or neither.")
    if before is None or after is None:
        return None
    order = session_order(table)
    if before == after:
        raise StatsError(f"association: before and after are both {before!r}.")
    return _known(order, before, "before"), _known(order, after, "after")


def _points(table: pd.DataFrame, a: str, b: str, sessions: list[str]) -> pd.DataFrame:
    part = table[table["session"].astype(str).isin(sessions)]
    part = part[part[a].notna() & part[b].notna()]
    return pd.DataFrame({
        "x": a, "metric": b, "athlete": part["athlete"].astype(str),
        "session": part["session"].astype(str), "x_value": part[a].astype(float),
        "value": part[b].astype(float),
    })  # fmt: skip


def repeated_correlation(
    x: np.ndarray, y: np.ndarray, athlete: np.ndarray, session: np.ndarray | None = None
) -> tuple[float, int]:
    """Return the repeated-measures correlation and its degrees of freedom.

    Parameters
    ----------
    x, y : array, shape (n_observations,)
    athlete : array, shape (n_observations,)
    session : array, optional
        Taken out too when given.

    Notes
    -----
    Published form: Bland & Altman 1995; Bakdash & Marusich 2017 (from memory). df =
    observations - athletes - 1, less sessions - 1 when sessions are taken out.
    """
    return repeated(x, y, athlete, session)
