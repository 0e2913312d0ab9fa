"""How a table is declared: columns with type, unit and meaning.

A :class:`Table` gives the columns with type, unit and meaning; from it come casting,
validation, the Frictionless Table Schema (an open standard) and the glossary.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from contextlib import suppress
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    import pandas as pd

#: dtype word -> pandas dtype. "text" keeps leading zeros; "date" is ISO text (YYYY-MM-DD).
_DTYPES = {
    "text": "str",
    "date": "str",
    "number": "float64",
    "integer": "Int64",
    "boolean": "boolean",
}
_FRICTIONLESS = {
    "text": "string",
    "date": "date",
    "number": "number",
    "integer": "integer",
    "boolean": "boolean",
}


def _in_dtype(values: Any, kind: str) -> Any:
    """Return values as an array of a pandas dtype; texts by way of arrow, which is quicker."""
    import pandas as pd
    import pyarrow as pa

    if kind == "str":
        with suppress(pa.ArrowTypeError, pa.ArrowInvalid):  # not all are texts: pandas casts them
            values = pa.array(list(values), type=pa.large_string(), from_pandas=True)
    return pd.array(values, dtype=kind)


@dataclass(frozen=True)
class Column:
    """One column: name, dtype word, meaning, unit, whether it must be there, what it may hold."""

    name: str
    dtype: str
    description: str
    unit: str = ""
    required: bool = False
    allowed: tuple[str, ...] = ()
    low: float = -1e15
    high: float = 1e15


@dataclass(frozen=True)
class Table:
    """A table: name, columns in order, and the columns that identify a row.

    Columns of the key that may be empty stand in ``key_optional`` (an open standard's
    primary key cannot hold them, so such a key is not part of the schema).
    """

    name: str
    description: str
    columns: tuple[Column, ...]
    key: tuple[str, ...] = ()
    key_optional: tuple[str, ...] = ()

    @property
    def names(self) -> list[str]:
        """Column names in order."""
        return [c.name for c in self.columns]

    def column(self, name: str) -> Column:
        """Return one column; KeyError when there is none of this name."""
        for c in self.columns:
            if c.name == name:
                return c
        raise KeyError(f"table {self.name} has no column {name!r}")

    def empty(self) -> pd.DataFrame:
        """Return the table without rows, with the right dtypes."""
        import pandas as pd

        return pd.DataFrame({c.name: pd.array([], dtype=_DTYPES[c.dtype]) for c in self.columns})

    def frame(self, rows: Sequence[dict[str, Any]]) -> pd.DataFrame:
        """Return rows as a DataFrame with all columns, in order, with the right dtypes."""
        import pandas as pd

        return self.cast(pd.DataFrame(list(rows), columns=self.names))

    def from_columns(self, columns: Mapping[str, Any]) -> pd.DataFrame:
        """Return the table from one array per column; columns that are not given stay empty.

        Quicker than :meth:`cast`: every column is made once, in its dtype.
        """
        import pandas as pd

        size = max((len(column) for column in columns.values()), default=0)
        out: dict[str, Any] = {}
        for c in self.columns:
            values = columns[c.name] if c.name in columns else [None] * size
            out[c.name] = _in_dtype(values, _DTYPES[c.dtype])
        return pd.DataFrame(out)

    def cast(self, frame: pd.DataFrame) -> pd.DataFrame:
        """Return a copy with the columns of this table first, in order, in their dtypes.

        Missing columns are added empty; further columns are kept behind.
        """
        import pandas as pd

        kinds = frame.dtypes.to_dict()
        made: dict[str, Any] = {}
        for c in self.columns:
            kind = _DTYPES[c.dtype]
            if c.name not in kinds:
                made[c.name] = pd.Series(index=frame.index, dtype=kind)
            elif kinds[c.name] != kind:
                made[c.name] = frame[c.name].astype(kind)
        names = self.names
        order = [*names, *(n for n in frame.columns if n not in names)]
        if made:
            kept = [n for n in order if n not in made]
            frame = pd.concat([frame[kept], pd.DataFrame(made, index=frame.index)], axis=1)
        return frame[order].copy()

    def frictionless(self, frame: pd.DataFrame | None = None) -> dict[str, Any]:
        """Return the Frictionless Table Schema of this table as plain data.

        Parameters
        ----------
        frame : pandas.DataFrame, optional
            A table with further columns: the schema then describes its columns, in its order.
        """
        fields = []
        for c in self.columns if frame is None else self._columns_of(frame):
            item: dict[str, Any] = {
                "name": c.name,
                "type": _FRICTIONLESS[c.dtype],
                "description": c.description + (f" [{c.unit}]" if c.unit else ""),
            }
            constraints: dict[str, Any] = {}
            if c.required or (c.name in self.key and c.name not in self.key_optional):
                constraints["required"] = True
            if c.allowed:
                constraints["enum"] = list(c.allowed)
            if (c.low, c.high) != (Column.low, Column.high):
                constraints |= {"minimum": c.low, "maximum": c.high}
            if constraints:
                item["constraints"] = constraints
            fields.append(item)
        schema: dict[str, Any] = {"fields": fields, "missingValues": ["", "NA"]}
        if self.key and not self.key_optional:
            schema["primaryKey"] = list(self.key)
        return schema

    def _columns_of(self, frame: pd.DataFrame) -> list[Column]:
        """Return the columns of a frame: declared ones, and joined ones by their dtype."""
        import pandas as pd

        out = []
        for name in map(str, frame.columns):
            if name in self.names:
                out.append(self.column(name))
                continue
            kind = frame[name]
            if pd.api.types.is_bool_dtype(kind):
                word = "boolean"
            elif pd.api.types.is_integer_dtype(kind):
                word = "integer"
            elif pd.api.types.is_numeric_dtype(kind):
                word = "number"
            else:
                word = "text"
            out.append(Column(name, word, "joined from the study's own tables"))
        return out
