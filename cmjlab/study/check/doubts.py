"""All doubts of a study's tables at once, before anybody reads a headline."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import pandas as pd

from cmjlab.checks import suggestion
from cmjlab.study.check.doubt import Doubt
from cmjlab.study.check.doubt_people import people_doubts
from cmjlab.study.check.doubt_sessions import session_doubts
from cmjlab.study.folder.problems import Problems


def find_doubts(
    jumps: pd.DataFrame,
    roster: pd.DataFrame,
    measures: pd.DataFrame,
    used: Sequence[str] = (),
    settled: Sequence[str] = (),
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
    settled : sequence of str
        Names of doubts that a person found to be true: they stop nothing.

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
    found = [replace(d, level="warn", settled=True) if d.name in settled else d for d in found]
    return tuple(sorted(found, key=lambda d: d.level != "fail"))


def add_doubts(doubts: Sequence[Doubt], settled: Sequence[str], problems: Problems) -> None:
    """Add every doubt to the list of problems, and names under ``settled`` that are none."""
    names = [d.name for d in doubts]
    for name in settled:
        if name not in names:
            problems.add(
                "warn", "settled_without_doubt", where=("study.toml", "", "plan.settled"),
                found=name, expected=", ".join(names) or "nothing: there are no doubts",
                remedy=f"Correct the name or remove it; it has no effect.{suggestion(name, names)}",
            )  # fmt: skip
    for doubt in doubts:
        one = len(doubt.athletes) == 1 == len(doubt.sessions)
        place = ", ".join((*doubt.athletes, *doubt.sessions) if one else doubt.sessions) or "study"
        problems.add(
            "note" if doubt.settled else doubt.level, doubt.key, where=(place, "", ""), found=doubt.found.text,
            expected="", remedy=f"{doubt.remedy.text} {doubt.settle.text}",
        )  # fmt: skip
