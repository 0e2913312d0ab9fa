"""Best jumps: a change of them needs equally many jumps before and after.

The best of more jumps is higher by number alone: with normal jumps by 0.85 of their SD for three
and 1.27 for six. :func:`cmjlab.summarise_sessions` takes the best from equally many jumps and
writes how many (``n_compared``); here a table is refused in which they differ.
"""

from __future__ import annotations

import pandas as pd

from cmjlab.errors import StatsError
from cmjlab.results import Note, Sentence

#: Summaries that grow with the number of jumps.
BEST = ("best", "best_n_mean")


def refuse_unequal_best(table: pd.DataFrame) -> None:
    """Raise when an athlete's best come from unequal numbers of jumps.

    Parameters
    ----------
    table : pandas.DataFrame
        Rows of the sessions to compare, as :func:`cmjlab.summarise_sessions` makes them.

    Raises
    ------
    StatsError
        Naming the athletes, their counts, and what to do.
    """
    part = _best(table)
    counts = part.groupby("athlete", sort=False)["n_compared"].unique()
    unequal = {str(a): sorted(int(n) for n in c) for a, c in counts.items() if len(c) > 1}
    if unequal:
        who = "; ".join(
            f"{a} ({' and '.join(map(str, c))} jumps)" for a, c in list(unequal.items())[:5]
        )
        raise StatsError(
            f"n_compared: the best of unequal numbers of jumps are no comparison, found {who}. Put"
            " the jumps of all sessions into one table and call summarise_sessions once, or use"
            " how='mean'."
        )


def best_notes(table: pd.DataFrame) -> list[Note]:
    """Return which athletes' best come from fewer jumps than they made, if any do."""
    part = _best(table)
    cut = part[part["n_compared"] < part["n_jumps"]] if "n_jumps" in part else part.iloc[:0]
    if cut.empty:
        return []
    who = [
        Sentence("best_of.athlete", values={"athlete": str(a), "m": int(m), "most": int(most)})
        for a, m, most in cut.groupby("athlete", sort=False)
        .agg(m=("n_compared", "first"), most=("n_jumps", "max"))
        .itertuples()
    ]
    return [Note("best_of_equal_jumps", {"cells": who})]


def _best(table: pd.DataFrame) -> pd.DataFrame:
    """Return the rows that hold best jumps."""
    if not {"summary", "n_compared"} <= set(table.columns):
        return table.iloc[:0].assign(n_compared=0)
    compared = pd.to_numeric(table["n_compared"], errors="coerce").fillna(0)
    return table[table["summary"].isin(BEST) & (compared > 0)]
