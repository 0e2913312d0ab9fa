"""Notes on sessions by their role: weeks that were not used, training between re-tests."""

from __future__ import annotations

from collections.abc import Sequence

import pandas as pd

from cmjlab.results import Note
from cmjlab.stats.common.tables import session_order


def roles_of(table: pd.DataFrame) -> dict[str, str]:
    """Return the role of each session of a table, in order; empty where the table has none."""
    if "role" not in table:
        return {}
    roles = table.drop_duplicates("session").set_index("session")["role"].dropna()
    known = {str(s): str(r) for s, r in roles.items()}
    return {s: known.get(s, "") for s in session_order(table)}


def unused_weeks(table: pd.DataFrame, used: Sequence[str]) -> tuple[Note, ...]:
    """Return a note that names weeks of monitoring that an analysis does not use; none without."""
    weeks = [s for s, r in roles_of(table).items() if r == "monitoring" and s not in used]
    return (Note("monitoring_not_used", {"sessions": weeks}),) if weeks else ()


def training_between(table: pd.DataFrame, used: Sequence[str]) -> tuple[Note, ...]:
    """Return a note when sessions taken for re-tests are no baselines: training lies between.

    A table without roles says nothing about training; nor does one session.
    """
    roles = roles_of(table)
    others = [s for s in used if roles.get(s, "baseline") != "baseline"]
    if not others or len(used) < 2:
        return ()
    return (Note("training_between", {"sessions": list(used), "others": others}),)
