"""Rows of the statistics table: one builder for every statistic.

A :class:`Rows` collects; a :class:`Place` says where its rows belong (metric, group, contrast,
session, athlete, case) and adds them, one statistic for one place or for many places at once::

    rows = Rows(level=0.95)
    squad = rows.at(metric=["jump_height_m", "time_to_takeoff_s"])
    squad.add("typical_error", error, limits=(low, high), df=df, interval_kind="chi_square")
    pair = rows.at(metric="jump_height_m", first="heavy", second="usual", n=18)
    pair.add("dppc2", nan, reason=Reason("cut_on_baseline"))
    table = rows.frame()

Nothing but keys and numbers goes in. A number that is missing needs a :class:`Reason`, and so
does a missing interval of a statistic that the catalog says has one. The words of the columns
``method``, ``contrast`` and ``text`` are made from the keys when the table is made.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
import pandas as pd
from numpy.typing import ArrayLike, NDArray

from cmjlab.catalog import STATISTICS
from cmjlab.results import Reason
from cmjlab.stats.common.least_squares import Estimate
from cmjlab.stats.common.row_words import MADE_HERE, Once, as_json, in_words
from cmjlab.stats.common.tables import unit_of
from cmjlab.tables import STATISTICS_TABLE
from cmjlab.words.catalog import Words, read_words

#: Columns that say where a row belongs; the rest of a row says what was found there.
PLACE = ("metric", "group", "first", "second", "other_metric", "session", "since", "athlete",
         "case")  # fmt: skip
#: Phrases of a block under the names that a reader of rows knows.
_PHRASES = {"_reason": "reason", "_remark": "remark"}
_COLUMNS = frozenset(STATISTICS_TABLE.names).difference(MADE_HERE)

#: One reason for all places of a block, or one (or None) per place.
Reasons = Reason | Sequence[Reason | None] | NDArray[np.object_] | None


class Rows:
    """Collects the rows of one result.

    Parameters
    ----------
    level : float
        Level of the intervals.
    """

    def __init__(self, *, level: float) -> None:
        self.level = level
        self._blocks: list[_Block] = []

    def at(self, **place: Any) -> Place:
        """Return a place to add rows to; see :class:`Place`."""
        return Place(self, place)

    def records(self, statistic: str | None = None, **where: Any) -> Iterator[dict[str, Any]]:
        """Yield rows as mappings of column to value, in the order in which they were added.

        ``reason`` and ``remark`` are the phrases themselves, None where there is none.
        """
        for block in self._blocks:
            if statistic is not None and block.statistic != statistic:
                continue
            named = {n: c for n, c in block.columns.items() if n in where}
            for i in range(block.size):
                if any(_cell(c, i) != where[n] for n, c in named.items()):
                    continue
                row = {_PHRASES.get(n, n): _cell(c, i) for n, c in block.columns.items()}
                if all(row.get(k) == v for k, v in where.items()):
                    yield row

    def first(self, statistic: str, **where: Any) -> dict[str, Any] | None:
        """Return the first row of a statistic in a place, None when there is none."""
        return next(self.records(statistic, **where), None)

    def column(self, statistic: str, name: str) -> NDArray[Any]:
        """Return a column of the first block of a statistic, shape (n_places,).

        Raises
        ------
        KeyError
            The statistic was not added.
        """
        for block in self._blocks:
            if block.statistic == statistic:
                return np.array(_all_cells(block.columns[name], block.size))
        raise KeyError(statistic)

    def extend(self, other: Rows) -> None:
        """Add all rows of another collection behind these."""
        self._blocks += other._blocks

    def frame(self, words: Words | None = None) -> pd.DataFrame:
        """Return all rows, metric by metric in the order of their first appearance.

        Parameters
        ----------
        words : Words, optional
            Words of the columns ``method``, ``contrast`` and ``text``; default: ours.
        """
        if not self._blocks:
            return STATISTICS_TABLE.empty()
        columns = {
            name: _column(name, self._blocks)
            for name in dict.fromkeys(n for b in self._blocks for n in b.columns)
        }
        columns["leads"] = _leading(columns)
        seen: dict[str, int] = {}
        codes = [seen.setdefault(m, len(seen)) for m in columns["metric"]]
        order = np.argsort(np.array(codes), kind="stable")
        columns = {name: column[order] for name, column in columns.items()}
        return STATISTICS_TABLE.from_columns(columns | in_words(columns, words or read_words()))


@dataclass(frozen=True)
class _Block:
    """One statistic for one place or many: a column is one value for all, or an array."""

    statistic: str
    size: int
    columns: Mapping[str, Any]


class Place:
    """Where rows belong: one metric, group, contrast, …, or several side by side.

    Parameters
    ----------
    rows : Rows
        Collects what is added.
    place : mapping
        Columns of the statistics table, each a single value or one value per place: ``metric``,
        ``group``, ``first`` and ``second`` (of a contrast), ``other_metric`` (of a correlation),
        ``session`` (and ``since``, where groups are compared in a change), ``athlete``, ``case``
        (a :class:`~cmjlab.words.phrases.Case`), and anything that all rows share (``n``, ``role``).
        ``unit`` is the metric's own when left out.
    """

    def __init__(self, rows: Rows, place: Mapping[str, Any]) -> None:
        unknown = set(place) - _COLUMNS
        if unknown:
            raise ValueError(f"the statistics table has no column {sorted(unknown)[0]!r} to fill")
        self._rows, self._place = rows, dict(place)
        self.size = max([1, *(len(v) for v in place.values() if _is_many(v))])

    @property
    def level(self) -> float:
        """Level of the intervals."""
        return self._rows.level

    def at(self, **place: Any) -> Place:
        """Return a narrower place: the same with more said about it."""
        return Place(self._rows, {**self._place, **place})

    def add(
        self,
        statistic: str,
        estimate: ArrayLike,
        *,
        limits: tuple[ArrayLike, ArrayLike] | None = None,
        reason: Reasons = None,
        void: Reasons = None,
        remark: Reasons = None,
        leads: bool | Sequence[bool] | NDArray[np.bool_] | None = None,
        **columns: Any,
    ) -> None:
        """Add one statistic for every place.

        Parameters
        ----------
        statistic : str
            Key of the catalog; it says whether there is an interval, and the unit.
        estimate : array_like, shape () or (n_places,)
        limits : (low, high), optional
            Limits of the interval at the level of the collection.
        reason : Reason, or one (or None) per place
            Why an estimate, or its limits, are nan.
        void : Reason, or one (or None) per place
            Makes the estimate nan wherever it is given.
        remark : Reason, or one (or None) per place
            What to know about a number that is there.
        leads : bool or one per place, optional
            Whether the row answers its question. When left out, the first row of a question in
            a place does.
        **columns
            Further columns of the statistics table (``estimator``, ``interval_kind``, ``df``,
            ``p``, …), single or one per place; ``words`` is a mapping of values for their words.

        Raises
        ------
        ValueError
            An unknown statistic or column, or nan without a reason.
        """
        if statistic not in STATISTICS:
            raise ValueError(f"the catalog has no statistic {statistic!r}")
        words = columns.pop("words", {})
        low, high = (np.nan, np.nan) if limits is None else limits
        value, low, high = (self._floats(x) for x in (estimate, low, high))
        voids, reasons, remarks = (self._reasons(x) for x in (void, reason, remark))
        empty = ~np.isfinite(value) | np.array([v is not None for v in voids])
        wants = STATISTICS[statistic].has_interval
        bare = ~empty & ~(np.isfinite(low) & np.isfinite(high)) & wants
        value[empty] = np.nan
        low[empty | bare] = high[empty | bare] = np.nan
        why = [(v or r) if e or b else None for v, r, e, b in zip(voids, reasons, empty, bare, strict=True)]  # fmt: skip
        for i in np.flatnonzero(empty | bare):
            if why[i] is None:
                raise ValueError(f"{statistic} of {self._name(int(i))}: nan without a reason")
        remarks = [None if e else r for r, e in zip(remarks, empty, strict=True)]
        self._store(
            statistic,
            {
                "estimate": value,
                "ci_low": low,
                "ci_high": high,
                "level": np.where(np.isfinite(low), self.level, np.nan),
                "leads": leads,
                "_reason": np.array([*why, None], dtype=object)[:-1],
                "_remark": np.array([*remarks, None], dtype=object)[:-1],
                "_words": np.array([*([words] * self.size), None], dtype=object)[:-1],
                **columns,
            },
        )

    def add_estimate(
        self, statistic: str, estimate: Estimate, *, reason: Reasons = None, **columns: Any
    ) -> None:
        """Add an estimate with its standard error and df: interval, t and p follow.

        A standard error of zero gives the number alone: an interval without width or a p of
        zero would claim a certainty that no measurement has.

        Parameters
        ----------
        statistic : str
        estimate : Estimate
        reason : Reason, optional
            Why there is no number or interval; when left out, what the estimate itself shows.
        **columns
            As in :meth:`add`.
        """
        value, se, df = (
            np.asarray(x, float) for x in (estimate.estimate, estimate.se, estimate.df)
        )
        fine = np.isfinite(value) & np.isfinite(se) & (se > 0) & np.isfinite(df) & (df > 0)
        sure = Estimate(value, np.where(fine, se, 1.0), np.where(fine, df, 1.0))
        low, high = sure.interval(self.level)
        if reason is None:
            reason = self._reasons_where(np.isfinite(value))
        self.add(
            statistic,
            value,
            limits=(np.where(fine, low, np.nan), np.where(fine, high, np.nan)),
            reason=reason,
            **{
                "df": np.where(fine, df, np.nan),
                "se": np.where(fine, se, np.nan),
                "test_value": np.where(fine, value / sure.se, np.nan),
                "p": np.where(fine, sure.p_value(), np.nan),
                **columns,
            },
        )

    def none(self, statistic: str, reason: Reason, **columns: Any) -> None:
        """Add rows that say why there is no number."""
        self.add(statistic, np.nan, reason=reason, **columns)

    def _reasons_where(self, there: NDArray[np.bool_]) -> list[Reason | None]:
        flags = np.broadcast_to(there, (self.size,))
        return [Reason("no_spread_left") if f else Reason("no_solution") for f in flags]

    def _floats(self, value: ArrayLike) -> NDArray[np.float64]:
        found = np.array(value, dtype=np.float64)
        if found.shape == (self.size,):
            return found
        return np.array(np.broadcast_to(found, (self.size,)))

    def _reasons(self, given: Reasons) -> list[Reason | None]:
        if given is None or isinstance(given, Reason):
            return [given] * self.size
        return [r if isinstance(r, Reason) else None for r in given]

    def _name(self, i: int) -> str:
        values = (_cell(self._place.get(c), i) for c in PLACE)
        return ", ".join(str(v) for v in values if v is not None)

    def _store(self, statistic: str, columns: Mapping[str, Any]) -> None:
        own = STATISTICS[statistic].unit
        block = {"metric": None, **self._place, "statistic": statistic, **columns}
        unknown = {c for c in block if c[0] != "_"} - _COLUMNS
        if unknown:
            raise ValueError(f"the statistics table has no column {sorted(unknown)[0]!r} to fill")
        case: Any = block.get("case")
        metric: Any = block["metric"]
        if _is_many(case):
            block["case"] = [c.code if c is not None else None for c in case]
            block["_case"] = [c.values if c is not None else None for c in case]
        elif case is not None:
            block["case"], block["_case"] = case.code, case.values
        if block.get("unit") is None:
            block["unit"] = own
            if own == "metric":
                many = _is_many(metric)
                block["unit"] = [unit_of(str(m)) for m in metric] if many else unit_of(str(metric))
        kept = {n: self._kept(n, v) for n, v in block.items()}
        self._rows._blocks.append(_Block(statistic, self.size, kept))

    def _kept(self, name: str, value: Any) -> Any:
        """Return one value for all places as it is, else an array with one per place."""
        if name in _NUMBERS:
            if value is None:
                return np.nan
            if isinstance(value, (float, int)):
                return float(value)
            return self._floats(value)
        if not _is_many(value):
            return value
        out = np.empty(self.size, dtype=object)
        out[:] = list(value)
        return out


#: Columns that hold numbers.
_NUMBERS = frozenset(c.name for c in STATISTICS_TABLE.columns if c.dtype in ("number", "integer"))


def _column(name: str, blocks: Sequence[_Block]) -> NDArray[Any]:
    """Return one column of all blocks; empty where a block does not have it."""
    number = name in _NUMBERS
    out = np.empty(sum(b.size for b in blocks), dtype=np.float64 if number else object)
    start = 0
    for block in blocks:
        found = block.columns.get(name)
        # One value for all is put in as such, were it a list or a mapping.
        if isinstance(found, np.ndarray):
            out[start : start + block.size] = found
        elif number:
            out[start : start + block.size] = np.nan if found is None else found
        else:
            out[start : start + block.size] = _all_cells(found, block.size)
        start += block.size
    return out


def _all_cells(value: Any, size: int) -> Any:
    """Return an array with the value of every place."""
    if isinstance(value, np.ndarray):
        return value
    out = np.empty(size, dtype=np.float64 if isinstance(value, float) else object)
    out[:] = [value] * size
    return out


def _is_many(value: Any) -> bool:
    if isinstance(value, np.ndarray):
        return value.ndim > 0
    return isinstance(value, (list, tuple, pd.Series, pd.Index))


def _cell(value: Any, i: int) -> Any:
    return value[i] if _is_many(value) else value


def _leading(columns: Mapping[str, NDArray[Any]]) -> NDArray[np.object_]:
    """Return who leads: as stated, else the first row of a question in its place."""
    stated = columns["leads"]
    questions = [STATISTICS[s].question or s for s in columns["statistic"]]
    places = [columns[c] for c in PLACE if c in columns]
    if "_case" in columns:
        json_of = Once(lambda values: as_json(values or {}))
        places.append(np.array([*map(json_of, columns["_case"]), None], dtype=object)[:-1])
    keys = list(zip(questions, *places, strict=True))
    decided = {k for k, s in zip(keys, stated, strict=True) if s is not None}
    out = np.empty(len(stated), dtype=object)
    taken: set[tuple[Any, ...]] = set()
    for i, key in enumerate(keys):
        out[i] = bool(stated[i]) if key in decided else key not in taken
        taken.add(key)
    return out
