"""The same jumps measured two ways, brought side by side."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import pandas as pd

from cmjlab.catalog import METRICS
from cmjlab.checks import suggestion
from cmjlab.errors import ArgumentError, StatsError
from cmjlab.results import Note
from cmjlab.stats.common.tables import refuse_no_table

#: Columns that say which jump it is, beside athlete and session; those that both tables have are used.
_WHICH = ("trial", "jump")
_WHO = ("athlete", "session")


@dataclass(frozen=True)
class Matched:
    """Jumps that both measured.

    Attributes
    ----------
    pairs : pandas.DataFrame
        athlete, session, which jump, and for each metric ``<metric>_1`` and ``<metric>_2``.
    keys : tuple of str
        Columns by which they were matched.
    notes : tuple of Note
    """

    pairs: pd.DataFrame
    keys: tuple[str, ...]
    notes: tuple[Note, ...]

    def values(self, metric: str) -> tuple[list[np.ndarray], list[np.ndarray], list[str]]:
        """Return per athlete all values of first and second, and the athletes; complete pairs only."""
        columns = [f"{metric}_1", f"{metric}_2"]
        there = self.pairs[np.isfinite(self.pairs[columns].to_numpy(dtype=float)).all(axis=1)]
        groups = [
            (str(a), part[columns].to_numpy(dtype=float).T)
            for a, part in there.groupby("athlete", sort=False)
        ]
        return [v[0] for _, v in groups], [v[1] for _, v in groups], [a for a, _ in groups]


def matched_files(first: pd.DataFrame, second: pd.DataFrame, metrics: Sequence[str]) -> Matched:
    """Return the jumps of the same files measured two ways, by file and number of the jump.

    A file in which the two find another number of jumps is left out: which is which is not sure.
    """
    counts = [t.groupby("file").size() for t in (first, second)]
    unequal = counts[0].index[counts[0].ne(counts[1].reindex(counts[0].index))]
    one, two = (t[~t["file"].isin(unequal)] for t in (first, second))
    notes = [Note("pool_other_number", {"n": len(unequal)})] if len(unequal) else []
    return _matched(one, two, ("file", "jump"), metrics, notes)


def matched_tables(first: pd.DataFrame, second: pd.DataFrame, metrics: Sequence[str]) -> Matched:
    """Return the jumps that two tables share, by athlete, session and the number of the jump.

    Raises
    ------
    StatsError
        A column is missing, a jump stands twice, or the tables share none.
    """
    for name, table in (("first", first), ("second", second)):
        refuse_no_table(name, table)
        for column in _WHO:
            if column not in table:
                raise StatsError(
                    f"{name}: the table has no column {column!r}; a row per jump is needed."
                )
    which = [c for c in _WHICH if c in first and c in second]
    return _matched(first, second, (*_WHO, *which), metrics, [])


def common_metrics(
    first: pd.DataFrame, second: pd.DataFrame, wanted: Sequence[str] | None
) -> list[str]:
    """Return the metrics asked for, else those of the catalog that both tables have with values.

    Raises
    ------
    ArgumentError
        A metric that one of the tables lacks, or none in common.
    """
    both = [m for m in METRICS if m in first and m in second]
    if wanted is None:
        wanted = [m for m in both if first[m].notna().any() and second[m].notna().any()]
        if not wanted:
            raise ArgumentError("metrics: the two tables have no metric with values in common.")
        return list(wanted)
    for name in wanted:
        missing = "first" if name not in first else "second" if name not in second else ""
        if missing:
            raise ArgumentError(f"metrics: the {missing} has no {name!r}.{suggestion(name, both)}")
        for table in (first, second):
            if not pd.api.types.is_numeric_dtype(table[name]):
                raise ArgumentError(f"metrics: {name!r} holds no numbers.")
    return list(wanted)


def _matched(
    first: pd.DataFrame,
    second: pd.DataFrame,
    keys: tuple[str, ...],
    metrics: Sequence[str],
    notes: list[Note],
) -> Matched:
    tables = []
    for name, table in (("first", first), ("second", second)):
        part = table.copy()
        for key in dict.fromkeys((*keys, *_WHO)):
            part[key] = _numbered(part[key]) if key in _WHICH else part[key].astype(str)
        twice = part.duplicated(list(keys))
        if twice.any():
            row = part.loc[twice, list(keys)].iloc[0]
            raise StatsError(
                f"{name}: {', '.join(f'{k} {v}' for k, v in row.items())} stands twice; a column trial or"
                " jump that both tables have tells the jumps of a session apart."
            )
        tables.append(part)
    one, two = tables
    both = one[[*dict.fromkeys((*_WHO, *keys)), *metrics]].merge(
        two[[*keys, *metrics]], on=list(keys), suffixes=("_1", "_2"), how="inner"
    )
    if both.empty:
        raise StatsError(
            f"the two share no jump by {', '.join(keys)}; the ids of one must be those of the other."
        )
    counted = [_accepted(t) for t in tables]
    fine = [
        set(map(tuple, t.loc[c, list(keys)].to_numpy()))
        for t, c in zip(tables, counted, strict=True)
    ]
    known = list(map(tuple, both[list(keys)].to_numpy()))
    kept = [k in fine[0] and k in fine[1] for k in known]
    alone = [sum((k in fine[i]) and (k not in fine[1 - i]) for k in known) for i in (0, 1)]
    if any(alone):
        notes.append(
            Note("pool_accepted_by_one", {"first": alone[0], "second": alone[1], "of": len(known)})
        )
    unmatched = len(one) + len(two) - 2 * len(both)
    if unmatched:
        notes.append(Note("pool_unmatched", {"n": unmatched}))
    pairs = both[kept].reset_index(drop=True)
    if pairs.empty:
        raise StatsError(
            "no jump is accepted in both; 'cmjlab check' tells what speaks against them."
        )
    return Matched(pairs, keys, tuple(notes))


def _numbered(column: pd.Series) -> pd.Series:
    """Return numbers of trials or jumps as text: 1, 1.0 and "01" are the same one."""
    numbers = pd.to_numeric(column, errors="coerce")
    whole = numbers.notna() & (numbers == numbers.round())
    return numbers.astype("Int64").astype(str) if whole.all() else column.astype(str)


def _accepted(table: pd.DataFrame) -> pd.Series:
    if "accepted" not in table:
        return pd.Series(True, index=table.index)
    return table["accepted"].astype("boolean").fillna(False).astype(bool)
