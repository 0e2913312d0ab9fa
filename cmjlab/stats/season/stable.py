"""What is known of athletes in their stable weeks: each own level, and the noise of the squad."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
import pandas as pd

from cmjlab import checks
from cmjlab.checks import suggestion
from cmjlab.errors import StatsError
from cmjlab.results import Reason
from cmjlab.stats.change.pairs import session_values
from cmjlab.stats.common.noise import noise_or_reason
from cmjlab.stats.common.tables import session_order
from cmjlab.stats.common.weeks import roles_of
from cmjlab.stats.reliability.missing import intra_block

#: With fewer degrees of freedom the limits are too wide to say anything.
FEWEST_DF = 5.0


@dataclass(frozen=True)
class Stable:
    """Level of each athlete and noise of one metric.

    Attributes
    ----------
    metric : str
    levels : dict of athlete to (level, number of stable weeks)
    noise : float
        Typical error of one week's value.
    df : float
    given : bool
        Whether the noise was given, not taken from the stable weeks.
    """

    metric: str
    levels: dict[str, tuple[float, int]]
    noise: float
    df: float
    given: bool


def chosen_sessions(
    table: pd.DataFrame, stable: Sequence[str] | None, weeks: Sequence[str] | None
) -> tuple[list[str], list[str]]:
    """Return the stable sessions and the weeks to follow, both in order.

    Stable are those that are named, else those of role baseline: never a week of training that
    nobody declared stable. Weeks are those that are named, else those of role monitoring; in a
    table without roles all that are not stable.

    Raises
    ------
    StatsError
        A session that is not there, or in both lists; no stable session; no week.
    """
    order, roles = session_order(table), roles_of(table)
    base = _named(order, stable, "stable")
    if base is None:
        base = [s for s in order if roles.get(s) == "baseline"]
    if not base:
        raise StatsError(
            "stable: no session is known to be stable. Name sessions without training before them"
            " (stable=[…], in a study role baseline or 'yes' in column stable of sessions.csv);"
            " weeks of training are never taken for it."
        )
    found = _named(order, weeks, "weeks")
    if found is None:
        weekly = [s for s in order if roles.get(s) == "monitoring" or not roles]
        found = [s for s in weekly if s not in base]
    both = [s for s in found if s in base]
    if both:
        raise StatsError(f"weeks: {both[0]} is also named as stable; it can only be one of both.")
    if not found:
        raise StatsError(
            "weeks: there is no week to follow. Give sessions the role monitoring, or name them"
            f" (weeks=[…]); sessions are {', '.join(order)}."
        )
    return base, found


def _named(order: list[str], names: Any, argument: str) -> list[str] | None:
    if names is None:
        return None
    wanted = checks.names(argument, names)
    for name in wanted:
        if name not in order:
            raise StatsError(
                f"{argument}: there is no session {name!r}; sessions are {', '.join(order)}."
                f"{suggestion(name, order)}"
            )
    return [s for s in order if s in wanted]


def stable_weeks(
    table: pd.DataFrame, metric: str, sessions: list[str], reliability: Any
) -> Stable | Reason:
    """Return levels and noise of one metric, or why the noise is not known.

    Parameters
    ----------
    table : pandas.DataFrame
        As ``check_table`` returns it.
    metric : str
    sessions : list of str
        The stable sessions.
    reliability : Result, mapping or None
        The noise where it is known otherwise; None takes it from the stable sessions: the
        residual of athletes and sessions, all athletes together.
    """
    athletes = list(dict.fromkeys(table["athlete"]))
    columns = [session_values(table, metric, s) for s in sessions]
    values = np.array([[c.get(a, np.nan) for c in columns] for a in athletes], dtype=float)
    values = values.reshape(len(athletes), len(sessions))
    there = np.isfinite(values).sum(axis=1)
    levels = {
        a: (float(np.nanmean(row)), int(n))
        for a, row, n in zip(athletes, values, there, strict=True)
        if n
    }
    if reliability is not None:
        noise = noise_or_reason(reliability, metric)
        if isinstance(noise, Reason):
            return noise
        error, df, given = noise.typical_error, noise.df, True
    else:
        block = intra_block(values)
        error, df, given = math.sqrt(float(np.nan_to_num(block.mse))), float(block.df), False
    if not error > 0 or df < FEWEST_DF:
        return Reason("season_noise_unknown",
                      {"df": df, "needed": FEWEST_DF, "sessions": list(sessions)})  # fmt: skip
    return Stable(metric, levels, error, df, given)
