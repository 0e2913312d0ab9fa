"""Sentences and notes of a season."""

from __future__ import annotations

from collections.abc import Sequence

import pandas as pd

from cmjlab.results import Note, Reason, Sentence
from cmjlab.stats.season.charts import FollowSettings
from cmjlab.stats.season.stable import Stable
from cmjlab.stats.season.trend import Trend

#: What everybody must know who reads a season.
_ALWAYS = ("season_cause", "season_average_noise", "season_return")


def follow_sentences(
    followed: Sequence[tuple[Stable, list[Trend]]], weeks: list[str], how: FollowSettings
) -> tuple[Sentence, ...]:
    """Return, per metric, the alarms of the last week and the conclusions that stand."""
    out: list[Sentence] = []
    for known, trends in followed:
        last = [s for s in weeks if any(s in t.sessions for t in trends)]
        if not last:
            out.append(Sentence("follow.nobody", known.metric))
            continue
        out.append(_week(known, trends, last[-1], how))
        out += _concluded(known, trends, how)
    return tuple(out)


def _week(known: Stable, trends: list[Trend], session: str, how: FollowSettings) -> Sentence:
    """Return who is beyond the weekly limits in a week, and how many would be by chance."""
    there = [t for t in trends if session in t.sessions]
    side = {t.athlete: t.alarms[t.sessions.index(session)] for t in there}
    above = [a for a, s in side.items() if s == "above"]
    below = [a for a, s in side.items() if s == "below"]
    kinds = {
        (True, True): "both", (True, False): "above", (False, True): "below", (False, False): "quiet",
    }  # fmt: skip
    values = {
        "session": session, "n": len(there), "above": above, "below": below,
        "expected": how.alarm * len(there), "alarm": how.alarm,
    }  # fmt: skip
    return Sentence(f"follow.week_{kinds[bool(above), bool(below)]}", known.metric, values=values)


def _concluded(known: Stable, trends: list[Trend], how: FollowSettings) -> list[Sentence]:
    """Return one sentence per athlete whose weighted mean is beyond its limits now, or was."""
    out = []
    for t in trends:
        now, ever = t.conclusions[-1], [s for s in t.conclusions if s]
        values = {
            "athlete": t.athlete, "session": t.sessions[-1], "mean": float(t.means[-1]),
            "low": float(t.means[-1] - t.mean_half[-1]), "high": float(t.means[-1] + t.mean_half[-1]),
            "level": 1.0 - how.season, "since": t.since[-1],
        }  # fmt: skip
        if now:
            out.append(Sentence(f"follow.concluded_{now}", known.metric, values=values))
        elif ever:
            values["since"] = next(s for s, c in zip(t.sessions, t.conclusions, strict=True) if c)
            out.append(Sentence(f"follow.was_{ever[-1]}", known.metric, values=values))
        hint = t.sum_sides[-1]
        if hint and not now:
            sums = {"above": float(t.above[-1]), "below": float(t.below[-1])}
            told = {"athlete": t.athlete, "sum": sums[hint], "limit": t.sum_limit}
            out.append(Sentence(f"follow.sum_{hint}", known.metric, values=told))
    return out or [Sentence("follow.no_conclusion", known.metric, values={"n": len(trends)})]


def follow_notes(
    table: pd.DataFrame,
    followed: Sequence[tuple[Stable, list[Trend]]],
    sessions: tuple[list[str], list[str]],
    how: FollowSettings,
    skipped: dict[str, Reason],
) -> tuple[Note, ...]:
    """Return what a reader must know: where noise and level come from, and how often chance alarms."""
    base, weeks = sessions
    looks = max(how.looks, len(weeks))
    given = any(known.given for known, _ in followed)
    notes = [Note("season_noise_given" if given else "season_noise", {"sessions": base})]
    rates = {"alarm": how.alarm, "season": how.season, "looks": looks}
    notes.append(Note("season_rates", rates))
    if len(weeks) > how.looks:
        notes.append(Note("season_longer", {"weeks": len(weeks), "looks": how.looks}))
    notes += _no_level(table, followed, weeks)
    notes += _few_jumps(table, base, weeks)
    notes += [Note("season_no_noise", {"metric": m, "why": why}) for m, why in skipped.items()]
    return (*notes, *(Note(code) for code in _ALWAYS))


def _no_level(
    table: pd.DataFrame, followed: Sequence[tuple[Stable, list[Trend]]], weeks: list[str]
) -> list[Note]:
    """Name who was tested in a week but has no stable week."""
    part = table[table["session"].astype(str).isin(weeks)]
    out = []
    for known, _ in followed:
        tested = dict.fromkeys(part.loc[part[known.metric].notna(), "athlete"].astype(str))
        lost = [a for a in tested if a not in known.levels]
        if lost:
            values = {"metric": known.metric, "athletes": lost, "n": len(lost)}
            out.append(Note("season_no_level", values))
    return out


def _few_jumps(table: pd.DataFrame, base: list[str], weeks: list[str]) -> list[Note]:
    """Name weeks whose value comes from fewer jumps than the stable weeks': they are noisier."""
    if "n_jumps" not in table:
        return []
    counts = pd.to_numeric(table["n_jumps"], errors="coerce")
    names = table["session"].astype(str)
    usual = counts[names.isin(base)].median()
    fewer = table[names.isin(weeks) & (counts < usual)]
    cells = [f"{r.athlete} ({r.session})" for r in fewer.itertuples()]
    return [Note("season_few_jumps", {"usual": float(usual), "cells": cells})] if cells else []
