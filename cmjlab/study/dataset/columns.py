"""Columns of a data set of jumps: what the tables that came in say of each, made into one.

Parquet keeps numbers, texts and truth values, but not that a text is one of an ordered list of
sessions, nor that whole numbers may be missing. Both stand as JSON beside the schema, so that a
table comes back in the dtypes in which it was given.
"""

from __future__ import annotations

import json
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from graphlib import CycleError, TopologicalSorter
from typing import TYPE_CHECKING, Any

import pandas as pd

from cmjlab.errors import StatsError
from cmjlab.stats.common.tables import refuse_no_table

if TYPE_CHECKING:
    import pyarrow as pa

#: Key of what is said here in the metadata of the Parquet schema.
KEY = b"cmjlab.columns"
#: Column that holds the place of a jump among all that were given.
ROW = "row_of_table"
_CATEGORY = "category"


@dataclass(frozen=True)
class Kind:
    """How a column comes back.

    Attributes
    ----------
    dtype : str
        Name of a pandas dtype.
    categories : tuple of str
        Where it is a category, its values in order.
    ordered : bool
        Whether that order means something.
    """

    dtype: str
    categories: tuple[str, ...] = ()
    ordered: bool = False

    def of(self, column: pd.Series) -> pd.Series:
        """Return a column that was read in this kind."""
        if self.dtype == _CATEGORY:
            kind = pd.CategoricalDtype(list(self.categories), ordered=self.ordered)
            return column.astype("str").astype(kind)
        return column if str(column.dtype) == self.dtype else column.astype(self.dtype)


@dataclass
class _Seen:
    """What the tables said of one column."""

    filled: set[str] = field(default_factory=set)
    empty: set[str] = field(default_factory=set)
    tables: int = 0
    lists: dict[tuple[str, ...], bool] = field(default_factory=dict)


class Columns:
    """Collects the columns of all tables of a data set."""

    def __init__(self) -> None:
        self._seen: dict[str, _Seen] = {}
        self._tables = 0

    def take(self, frame: pd.DataFrame) -> pa.Table:
        """Return a table for Parquet, and remember its dtypes; a column without a value has no type.

        Raises
        ------
        StatsError
            No table of jumps: athlete or session missing, an id empty, two columns of one name,
            or a column that cannot be kept.
        """
        import pyarrow as pa

        _refuse(frame)
        self._tables += 1
        frame = frame.copy(deep=False)
        frame["athlete"] = frame["athlete"].astype("str")
        arrays: dict[str, Any] = {}
        for name in map(str, frame.columns):
            seen, column = self._seen.setdefault(name, _Seen()), frame[name]
            kind = "str" if column.dtype == object else str(column.dtype)
            if isinstance(column.dtype, pd.CategoricalDtype):
                kind = _CATEGORY
                seen.lists[tuple(map(str, column.cat.categories))] = bool(column.cat.ordered)
            bare = bool(column.isna().all())
            (seen.empty if bare else seen.filled).add(kind)
            seen.tables += 1
            if len(seen.filled) > 1:
                _one_dtype(
                    name, seen.filled, everywhere=False
                )  # refused before anything is put together
            plain = column.astype("str") if kind in ("str", _CATEGORY) else column
            arrays[name] = pa.nulls(len(frame)) if bare else _array(name, plain)
        return pa.table(arrays)

    def kinds(self) -> dict[str, Kind]:
        """Return how each column comes back, in order of first appearance.

        Raises
        ------
        StatsError
            A column holds numbers in one table and texts in another, or tables have the sessions
            in orders that contradict each other.
        """
        return {name: self._kind(name, seen) for name, seen in self._seen.items()}

    def _kind(self, name: str, seen: _Seen) -> Kind:
        kinds = seen.filled or seen.empty
        if kinds == {_CATEGORY}:
            ordered = all(seen.lists.values())
            return Kind(_CATEGORY, _one_order(name, list(seen.lists), ordered), ordered)
        return Kind(_one_dtype(name, kinds, everywhere=seen.tables == self._tables))


def _refuse(frame: pd.DataFrame) -> None:
    refuse_no_table("tables", frame)
    for needed in ("athlete", "session"):
        if needed not in frame:
            raise StatsError(
                f"a table has no column {needed!r}; a data set holds one row per jump, with athlete and"
                " session."
            )
    if ROW in frame:
        raise StatsError(f"a table has a column {ROW!r}, which a data set keeps for itself.")
    empty = frame["athlete"].isna()
    if empty.any():
        rows = ", ".join(str(i) for i in list(frame.index[empty])[:5])
        raise StatsError(
            f"column 'athlete' is empty in row(s) {rows}; fill it in or remove the row."
        )


def _array(name: str, column: pd.Series) -> Any:
    import pyarrow as pa

    try:
        return pa.array(column, from_pandas=True)
    except (pa.ArrowException, TypeError, ValueError) as error:
        raise StatsError(
            f"column {name!r} cannot be kept ({' '.join(str(error).split())[:120]}); a data set holds"
            " numbers, texts and dates. Remove it or make it text."
        ) from error


def _one_dtype(name: str, kinds: set[str], *, everywhere: bool) -> str:
    """Return one dtype for a column that has these in the tables that hold it."""
    types = pd.api.types
    kinds = {"str" if k == _CATEGORY else k for k in kinds}
    bare = {k for k in kinds if k[0] in "biu"}  # numpy's own cannot be missing
    if len(kinds) == 1 and (everywhere or not bare):
        return next(iter(kinds))
    if all(types.is_bool_dtype(k) for k in kinds):
        return "boolean"
    if all(types.is_integer_dtype(k) for k in kinds):
        return "Int64"
    numbers = [k for k in kinds if types.is_numeric_dtype(k) and not types.is_bool_dtype(k)]
    if len(numbers) == len(kinds):
        return "float64"
    raise StatsError(
        f"column {name!r} is {' and '.join(sorted(kinds))} in different tables; give it one kind of"
        " value, or leave it out."
    )


def _one_order(name: str, lists: Sequence[tuple[str, ...]], ordered: bool) -> tuple[str, ...]:
    """Return the values of all tables in an order that contradicts none of them."""
    if len(lists) == 1 or not ordered:
        return tuple(dict.fromkeys(value for each in lists for value in each))
    graph: dict[str, dict[str, None]] = {}
    for each in lists:
        for i, value in enumerate(each):
            graph.setdefault(value, {}).update(dict.fromkeys(each[max(i - 1, 0) : i]))
    try:
        return tuple(TopologicalSorter(graph).static_order())
    except CycleError:
        said = "; ".join(", ".join(each) for each in lists[:4])
        raise StatsError(
            f"column {name!r}: the tables have different orders ({said}). Give all of them one order."
        ) from None


def as_metadata(kinds: Mapping[str, Kind]) -> dict[bytes, bytes]:
    """Return the kinds as metadata of a Parquet schema."""
    plain = {n: [k.dtype, list(k.categories), k.ordered] for n, k in kinds.items()}
    return {KEY: json.dumps(plain, ensure_ascii=False).encode("utf-8")}


def from_metadata(metadata: Mapping[bytes, bytes] | None) -> dict[str, Kind]:
    """Return the kinds that stand in the metadata of a schema.

    Raises
    ------
    ValueError
        They are not there, or not as they are written here.
    """
    found = json.loads((metadata or {}).get(KEY, b"").decode("utf-8"))
    out = {}
    for name, (dtype, categories, ordered) in found.items():
        pd.api.types.pandas_dtype(dtype)
        out[str(name)] = Kind(str(dtype), tuple(map(str, categories)), bool(ordered))
    return out


def one_schema(schemas: Iterable[pa.Schema], kinds: Mapping[str, Kind]) -> pa.Schema:
    """Return the schema of all parts: the columns of every table, and the row of each jump."""
    import pyarrow as pa

    found = pa.unify_schemas(list(schemas), promote_options="permissive")
    fields = []
    for name, kind in kinds.items():
        type_ = found.field(name).type
        if kind.dtype == "Int64":
            type_ = pa.int64()
        if pa.types.is_null(type_):
            text = kind.dtype in ("str", _CATEGORY)
            type_ = pa.string() if text else pa.array(pd.array([], dtype=kind.dtype)).type
        fields.append((name, pa.string() if pa.types.is_large_string(type_) else type_))
    return pa.schema([*fields, (ROW, pa.int64())], metadata=as_metadata(kinds))
