"""What a study is made of, in words: its sessions with their dates, its groups with their sizes."""

from __future__ import annotations

import pandas as pd

from cmjlab.report.build.context import Context


def group_sizes(context: Context) -> str:
    """Return the groups with their numbers of athletes: "9 strength, 9 usual"."""
    say = context.words.say
    names = context.study.athletes["group"].fillna("").astype(str)
    counts = {g: int((names == g).sum()) for g in context.study.groups if (names == g).any()}
    if not counts:
        return say("coach.no_groups")
    rest = int((names == "").sum())
    parts = [say("coach.in_group", n=n, group=g) for g, n in counts.items()]
    parts += [say("coach.without_group", n=rest)] if rest else []
    return ", ".join(parts)


def dated_sessions(context: Context) -> list[str]:
    """Return the sessions in order, with dates where known."""
    rows = context.study.sessions
    out = []
    for session, date in zip(rows["session"].astype(str), rows["date"], strict=True):
        dated = pd.notna(date) and str(date)
        out.append(
            context.words.say("coach.dated", session=session, date=date) if dated else session
        )
    return out
