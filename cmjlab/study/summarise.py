"""From jumps to one value per athlete and session."""

from __future__ import annotations

import pandas as pd

from cmjlab.catalog import METRICS
from cmjlab.checks import number, one_of
from cmjlab.errors import StatsError
from cmjlab.stats.common.loads import at_one_load, loads_of
from cmjlab.stats.common.tables import refuse_lists
from cmjlab.tables import ATHLETES, JUMPS, SESSIONS

_HOW = ("mean", "best", "median", "best_n_mean")
#: The best jumps are those of the largest value of it.
BEST_BY = "jump_height_m"
#: Columns that describe the person or the session; the first value is carried over.
CARRIED = [c.name for c in ATHLETES.columns if c.name not in ("athlete", *METRICS)]
CARRIED += ["role", "date"]
#: Columns that are no values to summarise.
NOT_VALUES = {c.name for c in JUMPS.columns if c.name not in METRICS} | set(CARRIED)


def summarise_sessions(
    table: pd.DataFrame,
    how: str = "mean",
    *,
    jumps_wanted: int = 3,
    best_n: int = 2,
    load_kg: float | None = None,
) -> pd.DataFrame:
    """Return one row per athlete and session from a table with one row per jump.

    Parameters
    ----------
    table : pandas.DataFrame
        Columns athlete, session and metrics, e.g. from ``Study.measure``; jumps whose column
        ``accepted`` is false are counted but not used (without that column all are used).
    how : str
        "mean" (recommended: Claudino et al. 2017, and order statistics: the best of n grows
        with n), "median", "best" (all metrics of the one highest jump, never a mix of best
        values) or "best_n_mean" (mean of the ``best_n`` highest jumps). The best are taken from
        equally many jumps in each session of an athlete: from the first m accepted jumps with a
        height, in the order of the table, m being the fewest that a session of this athlete has.
    jumps_wanted : int
        Jumps wanted per athlete and session; becomes ``n_expected``.
    best_n : int
        Jumps used by "best_n_mean".
    load_kg : float, optional
        Load in kg of the jumps to summarise, where the table has a column ``load_kg``; jumps with
        other loads are left out. Default: jumps without load, or the only load there is.

    Returns
    -------
    pandas.DataFrame
        Sessions table: athlete, group, session, role, date, n_jumps, n_expected, n_excluded,
        metrics; ``load_kg`` where the jumps have a load. For the best also ``summary`` (``how``)
        and ``n_compared`` (m): the statistics of change say where jumps were set aside, and refuse
        tables that were put together from different m. Athletes without an accepted jump keep
        their row, with n_jumps 0 and no values.

    Raises
    ------
    StatsError
        When columns are missing, or several loads are there and none is asked for.
    ArgumentError
        When ``how`` is not one of the four.

    Examples
    --------
    >>> import cmjlab as cj
    >>> import pandas as pd
    >>> jumps = pd.DataFrame({"athlete": "A1", "session": "pre", "jump_height_m": [0.30, 0.32, 0.34]})
    >>> cj.summarise_sessions(jumps)["jump_height_m"].round(3).tolist()
    [0.32]
    >>> cj.summarise_sessions(jumps, "best")["jump_height_m"].tolist()
    [0.34]
    """
    one_of("how", how, _HOW)
    number("jumps_wanted", jumps_wanted, low=1)
    number("best_n", best_n, low=1)
    refuse_lists(table)
    for column in ("athlete", "session"):
        if column not in table:
            raise StatsError(f"the table has no column {column!r}; one row per jump is needed.")
    jumps = at_one_load(table, load_kg).copy()
    jumps["athlete"] = jumps["athlete"].astype("str")
    values = _metrics(jumps)
    if how in ("best", "best_n_mean") and BEST_BY not in values:
        raise StatsError(f"how={how!r} needs the column {BEST_BY!r} to know the highest jumps.")
    accepted = _accepted(jumps)
    keys = ["athlete", "session"]
    groups = jumps.groupby(keys, observed=True, sort=False)
    out = groups[[c for c in CARRIED if c in jumps]].first()
    recorded = groups.size()
    used = jumps[accepted]
    out["n_jumps"] = used.groupby(keys, observed=True).size().reindex(out.index, fill_value=0)
    out["n_expected"] = int(jumps_wanted)
    out["n_excluded"] = recorded - out["n_jumps"]
    if how in ("best", "best_n_mean"):
        used = _equally_many(used)
        compared = used.groupby(keys, observed=True).size()
        out["summary"] = how
        out["n_compared"] = compared.reindex(out.index, fill_value=0).astype("Int64")
    summary = _summary(used, keys, values, how, best_n).reindex(out.index)
    out = pd.concat([out, summary], axis=1).reset_index()
    loads = loads_of(jumps)
    if (loads > 0.0).any():
        out["load_kg"] = float(loads.iloc[0])
    return _finish(out, table, list(values))


def _metrics(jumps: pd.DataFrame) -> list[str]:
    """Return the columns to summarise: catalog metrics and numbers of the user's own."""
    return [
        str(c)
        for c in jumps.columns
        if c in METRICS
        or (
            c not in NOT_VALUES
            and pd.api.types.is_numeric_dtype(jumps[c])
            and not pd.api.types.is_bool_dtype(jumps[c])
        )
    ]


def _accepted(jumps: pd.DataFrame) -> pd.Series:
    if "accepted" not in jumps:
        return pd.Series(True, index=jumps.index)
    return jumps["accepted"].astype("boolean").fillna(False).astype(bool)


def _equally_many(used: pd.DataFrame) -> pd.DataFrame:
    """Return the first m jumps with a height of every session, m as each athlete's fewest.

    The best of m normal jumps lies 0.56, 0.85, 1.03, … SDs above the mean for m = 2, 3, 4, …
    (order statistics), so that a session with more jumps would win by their number.
    """
    with_height = used[used[BEST_BY].notna()]
    if with_height.empty:
        return with_height
    counts = with_height.groupby(["athlete", "session"], observed=True).size()
    fewest = counts.groupby("athlete").min()
    place = with_height.groupby(["athlete", "session"], observed=True).cumcount()
    return with_height[place < with_height["athlete"].map(fewest)]


def _summary(
    used: pd.DataFrame, keys: list[str], values: list[str], how: str, best_n: int
) -> pd.DataFrame:
    """Return the values of each athlete and session from the jumps used."""
    if how in ("best", "best_n_mean"):
        n = 1 if how == "best" else best_n
        ranked = used.sort_values(BEST_BY, ascending=False, kind="stable", na_position="last")
        used = ranked.groupby(keys, observed=True, sort=False).head(n)
    groups = used.groupby(keys, observed=True)[values]
    return groups.median() if how == "median" else groups.mean()


def _finish(out: pd.DataFrame, table: pd.DataFrame, values: list[str]) -> pd.DataFrame:
    """Put the columns in order and keep the order of the sessions."""
    order = [c for c in SESSIONS.names if c in out and c not in METRICS]
    others = [c for c in out.columns if c not in order and c not in values]
    out = out[[*order, *others, *values]]
    for column in ("n_jumps", "n_expected", "n_excluded"):
        out[column] = out[column].astype("Int64")
    session = table["session"].dtype
    if isinstance(session, pd.CategoricalDtype):
        out["session"] = out["session"].astype(session)
    return out
