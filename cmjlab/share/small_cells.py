"""Who could be recognised although no name is there: combinations that few athletes share."""

from __future__ import annotations

import pandas as pd

#: A combination of fewer athletes is told (common practice for tables on persons, no source).
FEWEST = 5
#: Columns of a roster that somebody who knows the squad knows too.
KNOWN_TO_OTHERS = ("group", "sex", "age_band", "birth_year", "position", "team")


def small_cells(roster: pd.DataFrame, fewest: int = FEWEST) -> pd.DataFrame:
    """Return every combination of what others know that fewer than ``fewest`` athletes share.

    Parameters
    ----------
    roster : pandas.DataFrame
        Roster of the copy. Columns of the user's own that were kept count, too.
    fewest : int
        Fewer athletes than this are told.

    Returns
    -------
    pandas.DataFrame
        One row a combination: the columns, and ``athletes``, the rarest first; empty when all are
        shared by enough.
    """
    own = [c for c in roster.columns if c not in ("athlete", "stature_m", "body_mass_kg")]
    first = [c for c in KNOWN_TO_OTHERS if c in own]
    columns = [c for c in [*first, *(c for c in own if c not in first)] if roster[c].notna().any()]
    if not columns:
        return pd.DataFrame({"athletes": pd.Series(dtype="int64")})
    counts = roster.groupby(columns, dropna=False, observed=True).size().rename("athletes")
    table = counts.reset_index().sort_values("athletes", kind="stable")
    return table[table["athletes"] < fewest].reset_index(drop=True)
