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

import json
from collections.abc import Iterator, Mapping, Sequence
from typing import Any

import numpy as np
import pandas as pd
from numpy.typing import ArrayLike, NDArray

from cmjlab.catalog import STATISTICS
from cmjlab.results import Case, Reason, contrast_words, method_words, remark_words
from cmjlab.stats.common.least_squares import Estimate
from cmjlab.stats.common.tables import unit_of
from cmjlab.tables import STATISTICS_TABLE
from cmjlab.words.catalog import Words, read_words

#: Columns that say where a row belongs; the rest of a row says what was found there.
PLACE = ("metric", "group", "first", "second", "other_metric", "session", "since", "athlete",
         "case")  # fmt: skip
#: Phrases of a block under the names that a reader of rows knows.
_PHRASES = {"_reason": "reason", "_remark": "remark"}
_MADE_HERE = frozenset({"contrast", "method", "text", "word_values", "reason_code", "remark_code"})
#: Columns from which the words of a row are made.
_WORDED = ("metric", "estimate", "first", "second", "other_metric", "session", "since", "case",
           "estimator", "interval_kind")  # fmt: skip
_COLUMNS = frozenset(STATISTICS_TABLE.names) - _MADE_HERE

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
        self._blocks: list[dict[str, NDArray[Any]]] = []

    def at(self, **place: Any) -> Place:
        """Return a place to add rows to; see :class:`Place`."""
        return Place(self, place)

    def records(self, statistic: str | None = None, **where: Any) -> Iterator[dict[str, Any]]:
        """Yield rows as mappings of column to value, in the order in which they were added.

        ``reason`` and ``remark`` are the phrases themselves, None where there is none.
        """
        for block in self._blocks:
            if statistic is not None and block["statistic"][0] != statistic:
                continue
            for i in range(len(block["statistic"])):
                row = {_PHRASES.get(name, name): column[i] for name, column in block.items()}
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
            if block["statistic"][0] == statistic:
                return block[name]
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
        columns: dict[str, NDArray[Any]] = {}
        sizes = [len(b["statistic"]) for b in self._blocks]
        for name in dict.fromkeys(n for b in self._blocks for n in b):
            empty = np.nan if _is_number(name) else None
            kind = float if _is_number(name) else object
            parts = [
                b[name] if name in b else np.full(size, empty, dtype=kind)
                for b, size in zip(self._blocks, sizes, strict=True)
            ]
            columns[name] = np.concatenate(parts)
        columns["leads"] = _leading(columns)
        table = pd.DataFrame(columns)
        order = np.argsort(pd.factorize(table["metric"])[0], kind="stable")
        table = _in_words(table.iloc[order].reset_index(drop=True), words or read_words())
        return STATISTICS_TABLE.cast(table)[STATISTICS_TABLE.names]


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
        return np.array(np.broadcast_to(np.asarray(value, dtype=np.float64), (self.size,)))

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
        cases: list[Case | None] = [_cell(block.get("case"), i) for i in range(self.size)]
        block["case"] = [c.code if c is not None else None for c in cases]
        block["_case"] = [c.values if c is not None else None for c in cases]
        if block.get("unit") is None:
            names = [_cell(block["metric"], i) for i in range(self.size)]
            block["unit"] = [unit_of(str(m)) if own == "metric" else own for m in names]
        unknown = {c for c in block if c[0] != "_"} - _COLUMNS
        if unknown:
            raise ValueError(f"the statistics table has no column {sorted(unknown)[0]!r} to fill")
        self._rows._blocks.append({n: self._spread(n, v) for n, v in block.items()})

    def _spread(self, name: str, value: Any) -> NDArray[Any]:
        if _is_number(name):
            return self._floats(np.nan if value is None else value)
        out = np.empty(self.size, dtype=object)
        out[:] = list(value) if _is_many(value) else [value] * self.size
        return out


def _is_number(name: str) -> bool:
    if name[0] == "_":
        return False
    return STATISTICS_TABLE.column(name).dtype in ("number", "integer")


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
    cases = [_as_json(v or {}) for v in columns["_case"]]
    keys = list(zip(questions, *places, cases, strict=True))
    decided = {k for k, s in zip(keys, stated, strict=True) if s is not None}
    out = np.empty(len(stated), dtype=object)
    taken: set[tuple[Any, ...]] = set()
    for i, key in enumerate(keys):
        out[i] = bool(stated[i]) if key in decided else key not in taken
        taken.add(key)
    return out


def _in_words(table: pd.DataFrame, words: Words) -> pd.DataFrame:
    """Return the table with the words of its keys, and the values of the words as JSON."""
    reasons, remarks, values, cases = (
        table.pop(c) for c in ("_reason", "_remark", "_words", "_case")
    )
    made = {
        "reason_code": [r.code if r is not None else None for r in reasons],
        "remark_code": [r.code if r is not None else None for r in remarks],
        "word_values": [
            _as_json(_merged(v, r.values if r else {}, m.values if m else {}, c or {}))
            for r, m, v, c in zip(reasons, remarks, values, cases, strict=True)
        ],
    }
    read = {c: table[c].tolist() for c in _WORDED if c in table} | made
    records = [dict(zip(read, row, strict=True)) for row in zip(*read.values(), strict=True)]
    return table.assign(
        **made,
        contrast=[contrast_words(r, words) or None for r in records],
        method=_methods(records, words),
        text=[remark_words(r, words) or None for r in records],
    )


def _methods(records: Sequence[Mapping[str, Any]], words: Words) -> list[str | None]:
    """Return the method of each row; most rows share a few."""
    known: dict[tuple[Any, ...], str | None] = {}
    out = []
    for row in records:
        key = tuple(row.get(c) for c in ("estimator", "interval_kind", "word_values"))
        if key not in known:
            known[key] = method_words(row, words) or None
        out.append(known[key])
    return out


def _merged(*parts: Mapping[str, Any]) -> dict[str, Any]:
    """Return the values of all words of a row; one name has one value."""
    out: dict[str, Any] = {}
    for part in parts:
        for name, value in part.items():
            if name in out and out[name] != value:
                raise ValueError(f"two values for the gap {name!r}: {out[name]!r} and {value!r}")
            out[name] = value
    return out


def _as_json(values: Mapping[str, Any]) -> str | None:
    def plain(value: Any) -> Any:
        return value.item() if isinstance(value, np.generic) else list(value)

    return json.dumps(values, ensure_ascii=False, default=plain) if values else None
