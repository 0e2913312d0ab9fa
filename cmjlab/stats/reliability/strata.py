"""Strata of athletes: sex first of all, then position or age band when asked."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import pandas as pd

from cmjlab import checks
from cmjlab.checks import suggestion
from cmjlab.errors import StatsError
from cmjlab.results import Note

#: Stratum of athletes for whom the column is empty.
NOT_STATED = "not stated"


@dataclass(frozen=True)
class Strata:
    """Which athlete belongs to which stratum.

    Attributes
    ----------
    column : str
    names : tuple of str
        Strata in order of first appearance, :data:`NOT_STATED` last.
    of : mapping of athlete to stratum
    notes : tuple of Note
    """

    column: str
    names: tuple[str, ...]
    of: Mapping[str, str]
    notes: tuple[Note, ...]


def strata_of(table: pd.DataFrame, by: str | None, athletes: tuple[str, ...]) -> Strata | None:
    """Return the strata of a table, or None when none were asked for.

    Raises
    ------
    StatsError
        No such column, or an athlete with two different values in it.
    """
    if by is None:
        return None
    if checks.one_name("by", by) not in table:
        columns = [str(c) for c in table.columns]
        raise StatsError(
            f"by: the table has no column {by!r}.{suggestion(by, columns)} Strata need one value"
            " per athlete, e.g. a column 'sex'."
        )
    who = table["athlete"].astype(str)
    words = table[by].astype("string").str.strip()
    frame = pd.DataFrame({"athlete": who, "stratum": words.where(words != "")})
    found = frame.dropna().drop_duplicates()
    twice = found["athlete"].duplicated(keep=False)
    if twice.any():
        name = found.loc[twice, "athlete"].iloc[0]
        both = ", ".join(map(repr, found.loc[found["athlete"] == name, "stratum"]))
        raise StatsError(f"by={by!r}: athlete {name} has {both}; one value per athlete is needed.")
    known = dict(zip(found["athlete"], found["stratum"].astype(str), strict=True))
    of = {a: known.get(a, NOT_STATED) for a in athletes}
    empty = [a for a in athletes if a not in known]
    names = tuple(dict.fromkeys(of[a] for a in athletes if a in known))
    notes: tuple[Note, ...] = ()
    if empty:
        names = (*names, NOT_STATED)
        notes = (Note("stratum_not_stated", {"column": by, "athletes": empty}),)
    return Strata(by, names, of, notes)
