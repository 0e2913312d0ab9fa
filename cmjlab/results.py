"""Result: the one object that every statistic returns."""

from __future__ import annotations

import html
from collections.abc import Mapping
from dataclasses import dataclass, field
from types import MappingProxyType
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    import pandas as pd


#: Rows of a table that a notebook shows at once.
_ROWS = 40
_PLACES = ("group", "contrast", "session", "athlete")


def _in_words(row: Mapping[str, Any]) -> dict[str, str]:
    """Return one estimate in words: labels of the catalog, units that a person reads."""
    from cmjlab.catalog import METRICS, STATISTICS
    from cmjlab.units import show, shown_unit

    metric, statistic = _text(row.get("metric")), _text(row.get("statistic"))
    entry, known = METRICS.get(metric), STATISTICS.get(statistic)
    own = entry.unit if entry else ""
    unit = own if known is None or known.unit == "metric" else known.unit
    values = [row.get(c) for c in ("estimate", "ci_low", "ci_high")]
    texts = [
        show(float("nan") if v is None else v, unit, with_unit=False, extra_decimals=1)
        for v in values
    ]
    number = _text(row.get("n"))
    return {
        "measure": entry.label if entry else metric,
        **{p: _text(row.get(p)) for p in _PLACES},
        "statistic": known.label if known else statistic.replace("_", " "),
        "estimate": texts[0].replace("-", "\u2212"),
        "interval": " to ".join(texts[1:]).replace("-", "\u2212") if "–" not in texts[1:] else "",
        "unit": shown_unit(unit),
        "n": number.removesuffix(".0"),
        "method": _text(row.get("method")),
        "remark": _text(row.get("text")) if texts[0] == "–" else "",
    }


def _text(value: Any) -> str:
    """Return a cell as text; nothing for a missing value."""
    return "" if value is None or value != value or str(value) in ("<NA>", "nan") else str(value)


@dataclass(frozen=True)
class Note:
    """A remark with a code that programs and tests can rely on, and a text for people."""

    code: str
    text: str

    def __str__(self) -> str:
        return self.text


@dataclass(frozen=True, eq=False)
class Result:
    """Numbers, the data behind the figure, settings, notes and plain sentences.

    Attributes
    ----------
    kind : str
        Which analysis, e.g. "reliability".
    table : pandas.DataFrame
        One estimate a row; columns of ``cmjlab.tables.STATISTICS``.
    points : mapping of str to pandas.DataFrame
        Tidy data behind the figures, by name.
    settings : mapping
        Plain data: everything needed to compute the result again.
    notes : tuple of Note
        Remarks that a reader needs; nothing is left out silently.
    sentences : tuple of str
        The result in plain words, written from the numbers.
    """

    kind: str
    table: pd.DataFrame
    points: Mapping[str, pd.DataFrame] = field(default_factory=dict)
    settings: Mapping[str, Any] = field(default_factory=dict)
    notes: tuple[Note, ...] = ()
    sentences: tuple[str, ...] = ()

    def __post_init__(self) -> None:
        object.__setattr__(self, "points", MappingProxyType(dict(self.points)))
        object.__setattr__(self, "settings", MappingProxyType(dict(self.settings)))

    def rows(self, statistic: str | None = None, **where: Any) -> pd.DataFrame:
        """Return the rows of one statistic, filtered by column values.

        Examples
        --------
        ``result.rows("typical_error", metric="jump_height_m")``
        """
        part = self.table
        if statistic is not None:
            part = part[part["statistic"] == statistic]
        for column, value in where.items():
            part = part[part[column] == value]
        return part

    def value(self, statistic: str, column: str = "estimate", **where: Any) -> float:
        """Return one number; raises KeyError unless exactly one row matches."""
        part = self.rows(statistic, **where)
        if len(part) != 1:
            raise KeyError(f"{statistic} {where}: {len(part)} rows match, one is needed")
        return float(part[column].iloc[0])

    def has_note(self, code: str) -> bool:
        """Return whether a note with this code is present."""
        return any(n.code == code for n in self.notes)

    def wide(self) -> pd.DataFrame:
        """Return one row per metric (and group, contrast, … where present) for reading."""
        keys = ["metric", "group", "contrast", "session", "athlete"]
        index = [k for k in keys if k in self.table and self.table[k].notna().any()]
        part = self.table.copy()
        part["_column"] = part["statistic"].astype(str)
        many = part.duplicated([*index, "_column"], keep=False) & part["method"].notna()
        part.loc[many, "_column"] += " [" + part.loc[many, "method"].astype(str) + "]"
        part = part.drop_duplicates([*index, "_column"])
        wide = part.pivot(index=index, columns="_column", values="estimate")
        order = list(dict.fromkeys(part["_column"]))
        return wide[order].rename_axis(columns=None).reset_index()

    def __str__(self) -> str:
        lines = [f"{self.kind}: {len(self.table)} estimates", *self.sentences]
        lines += [f"Note ({n.code}): {n.text}" for n in self.notes]
        return "\n".join(lines)

    def _repr_html_(self) -> str:
        name = self.kind.replace("_", " ").capitalize()
        parts = [f"<p><strong>{html.escape(name)}</strong></p>"]
        parts += [f"<p>{html.escape(s)}</p>" for s in self.sentences]
        first = self.readable().head(_ROWS)
        parts.append(first.to_html(index=False, na_rep="", border=0))
        if len(self.table) > len(first):
            left = len(self.table) - len(first)
            parts.append(f"<p>… and {left} more rows in <code>.table</code>.</p>")
        parts += [f"<p><em>{html.escape(n.text)}</em></p>" for n in self.notes]
        return "\n".join(parts)

    def readable(self) -> pd.DataFrame:
        """Return the estimates as a person reads them: labels, shown units, one interval a cell.

        Returns
        -------
        pandas.DataFrame
            Texts; one row per estimate, columns that hold nothing are left out.
        """
        import pandas as pd

        rows = [_in_words(row) for row in self.table.to_dict("records")]
        frame = pd.DataFrame(rows, columns=list(rows[0]) if rows else ["measure", "estimate"])
        return frame.loc[:, (frame != "").any()] if len(frame) else frame
