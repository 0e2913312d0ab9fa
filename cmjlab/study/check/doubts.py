"""All doubts of a study's tables at once, before anybody reads a headline."""

from __future__ import annotations

from collections.abc import Sequence

import pandas as pd

from cmjlab.study.check.doubt import Doubt
from cmjlab.study.check.doubt_people import people_doubts
from cmjlab.study.check.doubt_sessions import session_doubts
from cmjlab.study.folder.problems import Problems


def find_doubts(
    jumps: pd.DataFrame,
    roster: pd.DataFrame,
    measures: pd.DataFrame,
    used: Sequence[str] = (),
) -> tuple[Doubt, ...]:
    """Return what cannot be right in the tables of a study, fails first.

    Parameters
    ----------
    jumps : pandas.DataFrame
        The jumps table at one load, as ``study.jumps_at_load()``; ``session`` is an ordered
        category.
    roster : pandas.DataFrame
        As ``study.athletes``: athlete, group, body_mass_kg.
    measures : pandas.DataFrame
        As ``study.measures``.
    used : sequence of str
        Sessions that the change over the block is taken from.

    Returns
    -------
    tuple of Doubt
        Empty when nothing is in doubt.
    """
    if jumps.empty:
        return ()
    found = [*session_doubts(jumps), *people_doubts(jumps, roster, measures, used)]
    explained = {d.sessions for d in found if d.key == "rate_stated_wrong"}
    found = [d for d in found if d.key != "implausible" or d.sessions not in explained]
    return tuple(sorted(found, key=lambda d: d.level != "fail"))


def add_doubts(doubts: Sequence[Doubt], problems: Problems) -> None:
    """Add every doubt to the list of problems."""
    for doubt in doubts:
        one = len(doubt.athletes) == 1 == len(doubt.sessions)
        place = ", ".join((*doubt.athletes, *doubt.sessions) if one else doubt.sessions) or "study"
        problems.add(
            doubt.level, doubt.key, where=(place, "", ""), found=doubt.found.text,
            expected="", remedy=doubt.remedy.text,
        )  # fmt: skip
