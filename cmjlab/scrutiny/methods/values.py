"""Values of athletes and sessions by every Method, summary and exclusion rule.

The summaries are those of :func:`cmjlab.summarise_sessions`, unchanged: all Methods go through it
in one table, each athlete once per Method.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from cmjlab.plan import Plan
from cmjlab.study.summarise import summarise_sessions

Array = NDArray[np.float64]


@dataclass(frozen=True)
class Squad:
    """Who and when, in order, and in which group.

    Attributes
    ----------
    athletes, sessions : tuple of str
    groups : dict of athlete to group
    group_order : tuple of str
    """

    athletes: tuple[str, ...]
    sessions: tuple[str, ...]
    groups: Mapping[str, str]
    group_order: tuple[str, ...]


def one_table(tables: Sequence[pd.DataFrame]) -> pd.DataFrame:
    """Return the jumps of all Methods below each other, with ``way``, the number of the Method."""
    every = pd.concat([t.assign(way=n) for n, t in enumerate(tables)], ignore_index=True)
    every["of"] = every["athlete"].astype(str)
    every["athlete"] = every["way"].astype(str).str.cat(every["of"], sep=":")
    return every


def accepted_by(jumps: pd.DataFrame, exclusion: str) -> NDArray[np.bool_]:
    """Return which jumps count by an exclusion rule.

    Parameters
    ----------
    jumps : pandas.DataFrame
        As :func:`one_table` gives them.
    exclusion : str
        "rules" and "enough_jumps": as the study accepts them; "strict": of those the ones that no
        rule warns of either; "everything": every jump with a value that no person rejected.
    """
    accepted = jumps["accepted"].to_numpy(dtype=bool)
    if exclusion == "strict":
        warned = jumps["flags"].str.contains(":warn", regex=False).to_numpy(dtype=bool)
        kept = (jumps["verdict"] == "accept").to_numpy(dtype=bool)
        return accepted & (~warned | kept)
    if exclusion == "everything":
        readable = (jumps["error"] == "") & (jumps["verdict"] != "reject")
        return readable.to_numpy(dtype=bool)
    return accepted


def session_values(
    jumps: pd.DataFrame,
    metrics: Sequence[str],
    squad: Squad,
    plan: Plan,
    how: tuple[str, str],
) -> Array:
    """Return values by one summary and one exclusion rule.

    Parameters
    ----------
    jumps : pandas.DataFrame
        As :func:`one_table` gives them.
    metrics : sequence of str
    squad : Squad
    plan : Plan
        Load, best n, fewest jumps.
    how : (summary, exclusion)

    Returns
    -------
    array, shape (n_methods, n_metrics, n_sessions, n_athletes)
        nan where there is no value.
    """
    summary, exclusion = how
    columns = list(dict.fromkeys(("jump_height_m", *metrics)))
    table = jumps[["athlete", "session", "load_kg", *columns]].assign(
        accepted=accepted_by(jumps, exclusion)
    )
    made = summarise_sessions(
        table, summary, jumps_wanted=plan.jumps_wanted, best_n=plan.best_n, load_kg=plan.load_kg
    )
    found = made[list(metrics)].to_numpy(dtype=np.float64)
    if exclusion == "enough_jumps":
        few = made["n_jumps"].to_numpy(dtype=np.int64) < plan.minimum_jumps
        found = np.where(few[:, None], np.nan, found)
    ways, names = zip(*(str(a).split(":", 1) for a in made["athlete"]), strict=True)
    place = {a: i for i, a in enumerate(squad.athletes)}
    when = {s: i for i, s in enumerate(squad.sessions)}
    who = np.array([place.get(a, -1) for a in names])
    session = np.array([when.get(str(s), -1) for s in made["session"]])
    way = np.array(ways, dtype=np.int64)
    n_ways = int(jumps["way"].max()) + 1
    out = np.full((n_ways, len(metrics), len(squad.sessions), len(squad.athletes)), np.nan)
    keep = (who >= 0) & (session >= 0)
    out[way[keep], :, session[keep], who[keep]] = found[keep]
    return out
