"""From a sessions table to pairs: who counts, and in which group.

Athletes are always joined by id, never by the order of rows. Whoever is left out is kept with
what is missing (see :mod:`cmjlab.stats.change.left_out`).
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from functools import cached_property
from types import MappingProxyType
from typing import Any
from unicodedata import normalize

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from cmjlab import checks
from cmjlab.checks import suggestion
from cmjlab.errors import StatsError
from cmjlab.stats.common.best_of import refuse_unequal_best
from cmjlab.stats.common.tables import (
    check_table,
    grid,
    metric_names,
    refuse_infinite,
    session_order,
)

Array = NDArray[np.float64]
#: A value that an athlete needs beside the pair: (metric, session).
Covariate = tuple[str, str]


@dataclass(frozen=True)
class Prepared:
    """A checked table and what is compared.

    Attributes
    ----------
    table : pandas.DataFrame
        Rows of the sessions in use only.
    metrics : list of str
    before, after : str
    groups : dict
        Athlete to group; empty when no groups are compared.
    group_order : tuple of str
        Groups in the order of their categories, else of appearance.
    """

    table: pd.DataFrame
    metrics: list[str]
    before: str
    after: str
    groups: dict[str, str] = field(default_factory=dict)
    group_order: tuple[str, ...] = ()

    def values(self, metric: str, session: str) -> Mapping[str, float]:
        """Return athlete to value of one metric in one session; athletes without one are absent.

        Raises
        ------
        StatsError
            An infinite value.
        """
        key = (metric, session)
        if key not in self._known:
            athletes, rows = self._seats.get(session, ([], np.empty(0, dtype=np.intp)))
            column = self.table[metric].to_numpy(dtype=np.float64, na_value=np.nan)[rows]
            if np.isinf(column).any():
                refuse_infinite(self.table.iloc[rows], [metric])
            pairs = zip(athletes, column.tolist(), strict=True)
            self._known[key] = MappingProxyType({a: v for a, v in pairs if np.isfinite(v)})
        return self._known[key]

    @cached_property
    def sex(self) -> Mapping[str, str]:
        """Athlete to sex, where the table has it; the first entry counts."""
        known = self.table[["athlete", "sex"]].dropna().drop_duplicates("athlete")
        return dict(zip(known["athlete"].astype(str), known["sex"].astype(str), strict=True))

    @cached_property
    def _known(self) -> dict[Covariate, Mapping[str, float]]:
        """Values that were asked for once: many rows ask for the same."""
        return {}

    @cached_property
    def _seats(self) -> dict[str, tuple[list[str], NDArray[np.intp]]]:
        """Athletes of each session, and the rows of the table where they stand."""
        sessions = self.table["session"].astype(str).to_numpy(dtype=object)
        athletes = self.table["athlete"].astype(str).to_numpy(dtype=object)
        rows = {s: np.flatnonzero(sessions == s) for s in dict.fromkeys(sessions)}
        return {str(s): (list(map(str, athletes[r])), r) for s, r in rows.items()}


@dataclass(frozen=True)
class LeftOut:
    """An athlete without a pair, and the values that are missing, as (metric, session)."""

    athlete: str
    missing: tuple[Covariate, ...]


@dataclass(frozen=True)
class Pairs:
    """Values of one metric before and after, for the athletes who have both.

    Attributes
    ----------
    metric : str
    athletes : tuple of str
    before, after : array, shape (n,)
    group : array of str, shape (n,)
        All "" when no groups are compared.
    others : array, shape (n, q)
        Further covariates, e.g. the values that decided the group.
    left_out : tuple of LeftOut
    """

    metric: str
    athletes: tuple[str, ...]
    before: Array
    after: Array
    group: NDArray[np.str_]
    others: Array
    left_out: tuple[LeftOut, ...]

    @property
    def change(self) -> Array:
        """After - before."""
        return self.after - self.before

    def take(self, keep: NDArray[np.bool_]) -> Pairs:
        """Return the pairs of some athletes only."""
        who = tuple(a for a, k in zip(self.athletes, keep, strict=True) if k)
        return Pairs(
            self.metric,
            who,
            self.before[keep],
            self.after[keep],
            self.group[keep],
            self.others[keep],
            self.left_out,
        )


def prepare(
    table: pd.DataFrame,
    metrics: Any,
    *,
    before: str,
    after: str,
    group: str | None = None,
    also: Sequence[str] = (),
) -> Prepared:
    """Check the table, the two sessions and the groups.

    Parameters
    ----------
    table : pandas.DataFrame
        One row per athlete and session.
    metrics : str, sequence of str or None
    before, after : str
        Sessions to compare.
    group : str, optional
        Column with the group.
    also : sequence of str
        Further sessions whose rows are kept (and checked for their group).

    Raises
    ------
    StatsError
        Unknown sessions or columns, the same session twice, an athlete without a group or
        in two groups, duplicates, best jumps from unequal numbers of jumps.
    """
    checked = check_table(table)
    for column in ("athlete", "session"):
        _refuse_near_duplicates(checked, column)
    order = session_order(checked)
    before, after = str(before).strip(), str(after).strip()
    for name, role in ((before, "before"), (after, "after"), *((str(s), "session") for s in also)):
        if name not in order:
            raise StatsError(
                f"{role}: there is no session {name!r}; sessions are {', '.join(order)}."
                f"{suggestion(name, order)}"
            )
    if before == after:
        raise StatsError(
            f"before and after are the same session, {before!r}; name two different sessions."
        )
    used = checked[checked["session"].astype(str).isin([before, after, *map(str, also)])]
    refuse_unequal_best(used)
    names = metric_names(checked, metrics)
    refuse_infinite(used, names)
    if group is None:
        return Prepared(used, names, before, after)
    groups, group_order = _groups(used, group)
    return Prepared(used, names, before, after, groups, group_order)


def _refuse_near_duplicates(table: pd.DataFrame, column: str) -> None:
    """Raise when two labels differ only in case or in how an accent is stored."""
    spellings: dict[str, list[str]] = {}
    for label in dict.fromkeys(table[column].astype(str)):
        spellings.setdefault(normalize("NFC", label).casefold(), []).append(label)
    twice = [" and ".join(map(repr, s)) for s in spellings.values() if len(s) > 1]
    if twice:
        raise StatsError(
            f"column {column!r} has labels that differ only in case or accents: {'; '.join(twice[:5])}. If they"
            " are the same, write them the same way; if not, choose labels that differ clearly."
        )


def _group_text(value: Any) -> str:
    """Return a group label as text; 1.0 is read as 1 (a spreadsheet makes whole numbers decimal)."""
    if isinstance(value, float) and np.isfinite(value) and value == int(value):
        return str(int(value))
    return str(value).strip()


def _groups(table: pd.DataFrame, column: str) -> tuple[dict[str, str], tuple[str, ...]]:
    if checks.one_name("group", column) not in table:
        raise StatsError(
            f"the table has no column {column!r}; add one with the group of each athlete, or use"
            f" change_within. Its columns are {', '.join(map(str, table.columns[:20]))}."
        )
    label = [
        "" if missing else _group_text(value)
        for value, missing in zip(table[column], table[column].isna(), strict=True)
    ]
    frame = pd.DataFrame({"athlete": table["athlete"].to_numpy(), "label": label})
    blank = sorted(set(frame.loc[frame["label"] == "", "athlete"]))
    if blank:
        raise StatsError(
            f"athlete(s) {', '.join(blank[:10])} have no entry in column {column!r} in at least one"
            " session; fill it in, or remove these athletes on purpose."
        )
    found = frame.groupby("athlete", sort=False)["label"].agg(lambda s: list(dict.fromkeys(s)))
    moved = [f"{a} ({' and '.join(labels)})" for a, labels in found.items() if len(labels) > 1]
    if moved:
        raise StatsError(
            f"athlete(s) in more than one group in column {column!r}: {', '.join(moved[:10])}."
            " Give each athlete one group for the comparison (or a different id, if two people"
            " share one)."
        )
    groups = {str(a): labels[0] for a, labels in found.items()}
    present = list(dict.fromkeys(groups.values()))
    if isinstance(table[column].dtype, pd.CategoricalDtype):
        ordered = [_group_text(c) for c in table[column].cat.categories]
        present = [g for g in ordered if g in present]
    return groups, tuple(present)


def make_pairs(prepared: Prepared, metric: str, covariates: Sequence[Covariate] = ()) -> Pairs:
    """Return one metric's pairs; athletes without all values are listed with what is missing.

    Parameters
    ----------
    prepared : Prepared
    metric : str
    covariates : sequence of (metric, session)
        Further values that each athlete needs.
    """
    needed = [(metric, prepared.before), (metric, prepared.after), *covariates]
    columns = [prepared.values(m, s) for m, s in needed]
    kept, rows, left_out = [], [], []
    for athlete in dict.fromkeys(prepared.table["athlete"].astype(str)):
        row = np.array([column.get(athlete, np.nan) for column in columns])
        if np.isfinite(row).all():
            kept.append(athlete)
            rows.append(row)
        else:
            empty = tuple(n for n, v in zip(needed, row, strict=True) if not np.isfinite(v))
            left_out.append(LeftOut(athlete, empty))
    array = np.asarray(rows, dtype=np.float64).reshape(len(kept), len(needed))
    return Pairs(
        metric,
        tuple(kept),
        array[:, 0].copy(),
        array[:, 1].copy(),
        np.array([prepared.groups.get(a, "") for a in kept], dtype=np.str_),
        array[:, 2:].copy(),
        tuple(left_out),
    )


def session_values(table: pd.DataFrame, metric: str, session: str) -> dict[str, float]:
    """Return athlete to value of one metric in one session; athletes without one are absent."""
    values = grid(table, metric, [session])
    return {a: float(v[0]) for a, v in zip(values.athletes, values.values, strict=True)}


def pairs_frame(every: Sequence[Pairs]) -> pd.DataFrame:
    """Return the pairs of all metrics as tidy rows (data behind the paired-lines figure)."""
    parts = [
        pd.DataFrame(
            {
                "metric": p.metric,
                "athlete": list(p.athletes),
                "group": [str(g) for g in p.group],
                "before": p.before,
                "after": p.after,
                "change": p.change,
            }
        )
        for p in every
        if p.athletes
    ]
    columns = ["metric", "athlete", "group", "before", "after", "change"]
    return pd.concat(parts, ignore_index=True) if parts else pd.DataFrame(columns=columns)
