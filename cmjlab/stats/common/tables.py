"""From a table to arrays: what every statistic shares.

A table for the statistics has one row per athlete and session (columns ``athlete``,
``session`` and metrics). It may come from a study or from any spreadsheet.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import Any

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from cmjlab import checks
from cmjlab.catalog import METRICS
from cmjlab.checks import suggestion
from cmjlab.errors import StatsError
from cmjlab.results import Note, Sentence
from cmjlab.tables import SESSIONS

#: Columns of a sessions table that are not metrics.
NOT_METRICS = frozenset(
    {c.name for c in SESSIONS.columns if c.name not in METRICS}
    | {"trial", "jump", "sex", "birth_year", "stature_m", "position", "team", "file", "rate_hz"}
    | {"load_kg", "system_mass_kg"}
)


@dataclass(frozen=True)
class Grid:
    """Values of one metric, athletes in rows, sessions in columns; nan where missing.

    Attributes
    ----------
    metric : str
    values : array, shape (n_athletes, n_sessions)
    athletes, sessions : tuple of str
    notes : tuple of Note
        Who was left out, and why.
    """

    metric: str
    values: NDArray[np.float64]
    athletes: tuple[str, ...]
    sessions: tuple[str, ...]
    notes: tuple[Note, ...] = field(default=())

    @property
    def complete(self) -> NDArray[np.bool_]:
        """Athletes with a value in every session, shape (n_athletes,)."""
        return np.asarray(np.isfinite(self.values).all(axis=1))


#: Larger values, and smaller ones that are not zero, were not measured: their squares are lost.
_LARGEST, _SMALLEST = 1e100, 1e-100


def check_table(
    table: pd.DataFrame,
    *,
    needs: tuple[str, ...] = ("athlete", "session"),
    one_row_each: bool = True,
) -> pd.DataFrame:
    """Return a copy with text ids, one row per athlete and session, or raise StatsError.

    Parameters
    ----------
    table : pandas.DataFrame
    needs : tuple of str
        Id columns that must be there and filled; blanks around ids are cut off.
    one_row_each : bool
        False for single jumps: an athlete and session may have many rows.

    Raises
    ------
    StatsError
        When columns are missing, ids are empty, or an (athlete, session) stands twice with
        different values. Exact repeats of whole rows are dropped with no loss.
    """
    refuse_no_table("table", table)
    missing = [c for c in needs if c not in table]
    if missing:
        raise StatsError(
            f"the table has no column {missing[0]!r}; its columns are {', '.join(map(str, table.columns[:20]))}."
            f" Name the columns {', '.join(needs)} and one column per metric; one row per"
            f" {' and '.join(needs)}."
        )
    out = table.copy(deep=False)  # columns are replaced, never changed
    for c in needs:
        text = out[c].astype(str).str.strip()
        empty = out[c].isna() | (text == "")
        if empty.any():
            rows = ", ".join(str(i) for i in list(out.index[empty])[:5])
            raise StatsError(
                f"column {c!r} is empty in row(s) {rows}; fill it in or remove the row."
            )
        if isinstance(out[c].dtype, pd.CategoricalDtype):
            order = list(dict.fromkeys(str(v).strip() for v in out[c].cat.categories))
            out[c] = pd.Categorical(text, categories=order, ordered=True)
        else:
            out[c] = text
    if one_row_each and {"athlete", "session"} <= set(needs):
        twice = out.duplicated(["athlete", "session"], keep=False)
        if twice.any():
            # Only where ids repeat is the costly comparison of whole rows needed.
            out = out[~(twice & out.duplicated())]
            _refuse_duplicates(out)
    return out.reset_index(drop=True)


def refuse_no_table(name: str, value: object) -> None:
    """Raise StatsError when this is no DataFrame with single values below different names."""
    if not isinstance(value, pd.DataFrame):
        raise StatsError(f"{name}: a pandas DataFrame is needed, found {type(value).__name__}.")
    twice = value.columns[value.columns.duplicated()]
    if len(twice):
        raise StatsError(
            f"{name}: two columns are called {twice[0]!r}; rename or remove one of them."
        )
    refuse_lists(value)


def refuse_lists(table: pd.DataFrame) -> None:
    """Raise StatsError when a cell holds several values: it cannot be compared with others."""
    for column, dtype in zip(table.columns, table.dtypes, strict=True):
        if pd.api.types.is_object_dtype(dtype) and any(
            map(pd.api.types.is_list_like, table[column])
        ):
            raise StatsError(
                f"column {column!r} has a cell that holds several values; give each its own row."
            )


def _refuse_duplicates(table: pd.DataFrame) -> None:
    twice = table.duplicated(["athlete", "session"], keep=False)
    if not twice.any():
        return
    rows = table[twice]
    numeric = [
        c for c in rows.columns if c not in NOT_METRICS and pd.api.types.is_numeric_dtype(rows[c])
    ]
    shown = []
    for (athlete, session), part in list(
        rows.groupby(["athlete", "session"], sort=False, observed=True)
    )[:5]:
        differ = [c for c in numeric if part[c].nunique(dropna=False) > 1]
        values = " and ".join(f"{v:g}" for v in part[differ[0]]) if differ else ""
        shown.append(f"{athlete}/{session}" + (f" ({differ[0]}: {values})" if differ else ""))
    pairs = len(rows[["athlete", "session"]].drop_duplicates())
    raise StatsError(
        f"{pairs} athlete/session pair(s) stand more than once: {'; '.join(shown)}. One row per athlete and"
        " session is needed; summarise jumps first (summarise_sessions) or remove the copies."
    )


def left_out_notes(
    given: pd.DataFrame, checked: pd.DataFrame, metrics: list[str], sessions: list[str]
) -> tuple[Note, ...]:
    """Return notes on rows, columns and sessions of a table that an analysis does not use.

    Parameters
    ----------
    given, checked : pandas.DataFrame
        The table before and after :func:`check_table`.
    metrics, sessions : list of str
        What is used.
    """
    notes = []
    repeated = len(given) - len(checked)
    if repeated:
        notes.append(Note("repeated_rows", {"n": repeated}))
    columns = [
        str(c)
        for c, dtype in zip(checked.columns, checked.dtypes, strict=True)
        if c not in NOT_METRICS and c not in metrics and not pd.api.types.is_numeric_dtype(dtype)
    ]
    if columns:
        notes.append(Note("text_column", {"columns": columns}))
    rest = [s for s in session_order(checked) if s not in sessions]
    if rest:
        notes.append(Note("session_not_used", {"sessions": rest, "n": len(rest)}))
    return tuple(notes)


def session_order(table: pd.DataFrame) -> list[str]:
    """Return the sessions in protocol order: category order, else order of appearance."""
    column = table["session"]
    if isinstance(column.dtype, pd.CategoricalDtype):
        present = set(column.astype(str))
        return [str(c) for c in column.cat.categories if str(c) in present]
    return [str(s) for s in column.unique()]


def every_group(table: pd.DataFrame, column: str | None = "group") -> list[str]:
    """Return every group of a table in one order, those without a row included.

    The categories of the column where it has them (a study's tables do), else the order of
    appearance. Results keep it in ``settings["groups"]``: a group's place in it gives its look
    in every figure.
    """
    if column is None or column not in table:
        return []
    groups = table[column]
    if isinstance(groups.dtype, pd.CategoricalDtype):
        names = [str(g).strip() for g in groups.cat.categories]
    else:
        names = list(groups.dropna().astype(str).str.strip())
    return [g for g in dict.fromkeys(names) if g]


def metric_names(table: pd.DataFrame, metrics: Any = None) -> list[str]:
    """Return the metric columns asked for, or all numeric ones; unknown names raise StatsError."""
    numeric = [
        str(c)
        for c, dtype in zip(table.columns, table.dtypes, strict=True)
        if c not in NOT_METRICS
        and pd.api.types.is_numeric_dtype(dtype)
        and not pd.api.types.is_bool_dtype(dtype)
    ]
    if metrics is None:
        if not numeric:
            raise StatsError("the table has no numeric metric column.")
        return numeric
    wanted = checks.names("metrics", metrics)
    if not wanted:
        raise StatsError("metrics: at least one name is needed, found none.")
    for name in wanted:
        if name not in table:
            raise StatsError(
                f"there is no metric {name!r} in the table.{suggestion(name, numeric)}"
                f" Numeric columns: {', '.join(numeric[:20]) or 'none'}."
            )
        if name not in numeric:
            raise StatsError(f"column {name!r} is not numeric; it cannot be a metric.")
    return wanted


def sessions_to_use(table: pd.DataFrame, use: Any = None) -> list[str]:
    """Return the sessions to compare: those asked for, else role baseline, else all present.

    Weeks of monitoring are taken only when they are asked for, or when there is nothing else.
    """
    order = session_order(table)
    if use is not None:
        wanted = checks.names("use", use)
        for name in wanted:
            if name not in order:
                raise StatsError(
                    f"there is no session {name!r}; sessions are {', '.join(order)}.{suggestion(name, order)}"
                )
        if len(set(wanted)) < len(wanted):
            raise StatsError(f"use: a session is named twice: {', '.join(wanted)}.")
        # The order of an ordered column is the protocol's; without one the caller knows best.
        ordered = isinstance(table["session"].dtype, pd.CategoricalDtype)
        return [s for s in order if s in wanted] if ordered else wanted
    if "role" in table:
        base = set(table.loc[table["role"] == "baseline", "session"].astype(str))
        if base:
            return [s for s in order if s in base]
    return compared_sessions(table)


def compared_sessions(table: pd.DataFrame) -> list[str]:
    """Return the sessions in order without those of role monitoring, unless there is nothing else."""
    order = session_order(table)
    if "role" not in table:
        return order
    weekly = set(table.loc[table["role"] == "monitoring", "session"].astype(str))
    return [s for s in order if s not in weekly] or order


def refuse_infinite(table: pd.DataFrame, metrics: Sequence[str]) -> None:
    """Raise StatsError naming the first value that is infinite, or that values are too large or small."""
    for metric in metrics:
        values = table[metric].to_numpy(dtype=np.float64, na_value=np.nan)
        wrong = np.abs(values) > _LARGEST
        if wrong.any():
            row = table[wrong].iloc[0]
            raise StatsError(
                f"{metric}: athlete {row['athlete']}, session {row['session']} is"
                f" {'infinite' if np.isinf(row[metric]) else row[metric]}; correct or remove it."
            )
        if 0.0 < np.nanmax(np.abs(values), initial=0.0) < _SMALLEST:
            raise StatsError(f"{metric}: all values are below {_SMALLEST:g}; correct their unit.")


def grid(table: pd.DataFrame, metric: str, sessions: list[str]) -> Grid:
    """Return one metric as athletes × sessions; infinite values raise StatsError.

    Athletes without any value in these sessions are left out and named in a note.
    """
    part = table[["athlete", "session", metric]]
    part = part[part["session"].isin(sessions)]
    refuse_infinite(part, [metric])
    values = part[metric].to_numpy(dtype=np.float64, na_value=np.nan)
    who, athletes = pd.factorize(part["athlete"].astype(str))
    when = pd.Index(sessions).get_indexer(part["session"].astype(str))
    array = np.full((len(athletes), len(sessions)), np.nan)
    array[who, when] = values
    present = np.isfinite(array).any(axis=1)
    notes: tuple[Note, ...] = ()
    if not present.all():
        names = [str(a) for a, p in zip(athletes, present, strict=True) if not p]
        notes = (
            Note("no_value", {"metric": metric, "sessions": list(sessions), "athletes": names}),
        )
    kept = tuple(str(a) for a, p in zip(athletes, present, strict=True) if p)
    return Grid(metric, array[present], kept, tuple(sessions), notes)


def athlete_in_session(athlete: str, session: str) -> Sentence:
    """Return "A07 (base1)" as a phrase, for lists of cells of a table."""
    values = {"athlete": athlete, "session": session}
    return Sentence("word.athlete_in_session", values=values)


def measures(metrics: Sequence[str]) -> Sentence:
    """Return the names of metrics as a phrase; "any measure" when none is named."""
    return Sentence("word.measures" if metrics else "word.any_measure", values={"metrics": metrics})


def unit_of(metric: str) -> str:
    """Return the metric's unit from the catalog, or "" for a user's own column."""
    return METRICS[metric].unit if metric in METRICS else ""


def label_of(metric: str) -> str:
    """Return the metric's label from the catalog, or the column's own name."""
    return METRICS[metric].label if metric in METRICS else metric


def is_ratio_scale(metric: str, values: NDArray[np.float64]) -> bool:
    """Return whether logs and percent make sense: declared ratio scale and all values positive."""
    declared = METRICS[metric].ratio_scale if metric in METRICS else True
    finite = values[np.isfinite(values)]
    return bool(declared and finite.size > 0 and (finite > 0).all())
