"""Which columns of a study go along: ids, numbers and coded words; free text only when it is named.

A cell of free text may hold anything: a name, a diagnosis, a place. So it stays at home unless the
person who shares names its column. What a study cannot be read without is replaced, not left out.
"""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass

import pandas as pd

from cmjlab.checks import suggestion
from cmjlab.errors import ArgumentError
from cmjlab.tables import USER_TABLES

#: Columns of each table that go along by themselves. Tables that do not stand here never do.
GO_ALONG: dict[str, tuple[str, ...]] = {
    "athletes": ("athlete", "group", "sex", "birth_year", "stature_m", "body_mass_kg"),
    "sessions": ("session", "date", "tester", "load_kg", "stable"),
    "measures": ("athlete", "session", "date", "measure", "value", "unit"),
    "participation": ("athlete", "session", "from", "to", "status"),
    "decisions": ("file", "jump", "action", "event", "time_s", "reason", "who", "when"),
    "subgroups": ("subgroup", "rule", "athlete"),
    "block": ("exercise", "subgroup", "load", "sets", "reps", "weeks", "percent_of"),
    "targets": ("subgroup", "metric", "wanted", "amount"),
    "reference": tuple(USER_TABLES["reference"].names),
}
#: What may be kept besides columns: the title, and where a stated typical error comes from.
TITLE, SOURCE = "title", "typical_error.source"
#: Columns that go along in another form, and can be kept as they are.
STATUS, REASON = "participation.status", "decisions.reason"


@dataclass(frozen=True)
class Choice:
    """What a person wants to keep beside what goes along by itself.

    Attributes
    ----------
    named : frozenset of str
        ``table.column`` of every column that was named, and ``title``.
    """

    named: frozenset[str] = frozenset()

    def keeps(self, place: str) -> bool:
        """Return whether something was named: "table.column", or "title"."""
        return place in self.named

    def columns(self, stem: str, there: Sequence[str]) -> list[str]:
        """Return the columns of a table that go along, in their order."""
        return [c for c in there if c in GO_ALONG[stem] or self.keeps(f"{stem}.{c}")]


def read_choice(keep: str | Collection[str], tables: Mapping[str, pd.DataFrame]) -> Choice:
    """Return what was named to be kept.

    Parameters
    ----------
    keep : collection of str
        Columns, as ``column`` (in every table that has it) or ``table.column``; or ``title``.
    tables : mapping of str to DataFrame
        Tables of the study by their file stem.

    Raises
    ------
    ArgumentError
        No table has such a column.
    """
    known = {f"{stem}.{c}" for stem, table in tables.items() for c in map(str, table.columns)}
    known |= {TITLE, SOURCE}
    named: set[str] = set()
    for word in [keep] if isinstance(keep, str) else keep:
        wanted = word.removesuffix(".csv").strip()
        hits = {k for k in known if wanted in (k, k.partition(".")[2])}
        if not hits:
            short = sorted({k.partition(".")[2] or k for k in known})
            raise ArgumentError(
                f"keep: no table of the study has a column {word!r}; write column or table.column"
                f" (e.g. athletes.position), or 'title'.{suggestion(wanted, [*known, *short])}"
            )
        named |= hits
    return Choice(frozenset(named))
