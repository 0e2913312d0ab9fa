"""The curves and bands behind the figures, as tidy tables."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np
import pandas as pd

from cmjlab.results import Reason
from cmjlab.scrutiny.curves.effects import Athlete, Effect
from cmjlab.scrutiny.curves.question import Question
from cmjlab.scrutiny.curves.squad import SquadCurves
from cmjlab.stats.curves.noise import CurveNoise


def places(question: Question) -> dict[str, Any]:
    """Return phase, percent and place of every point; a place counts phases, one wide each."""
    percent = np.linspace(0.0, 100.0, question.points)
    count = len(question.phases)
    number = np.repeat(np.arange(count), question.points)
    return {
        "phase": np.array(question.phases, dtype=object)[number],
        "percent": np.tile(percent, count),
        "place": number + np.tile(percent, count) / 100.0,
    }


def mean_curves(squad: SquadCurves, question: Question) -> pd.DataFrame:
    """Return the mean curve of each group and session over the athletes compared."""
    parts = []
    for group in squad.groups:
        members = squad.members(group)
        for session in (question.before, question.after) if members else ():
            own = squad.of(session, members)
            sd = own.std(axis=0, ddof=1) if len(own) > 1 else np.full(own.shape[1], np.nan)
            parts.append(pd.DataFrame({
                "group": group, "session": session, **places(question), "mean": own.mean(axis=0),
                "sd": sd, "n": len(own),
            }))  # fmt: skip
    return pd.concat(parts, ignore_index=True)


def change_curves(question: Question, effects: Sequence[Effect]) -> pd.DataFrame:
    """Return the change along the curve of each group and comparison, with its band."""
    parts = [_change(question, e) for e in effects if not isinstance(e.band, Reason)]
    names = [
        "first",
        "second",
        *places(question),
        "estimate",
        "low",
        "high",
        "se",
        "t",
        "p",
        "outside",
    ]
    return pd.concat(parts, ignore_index=True) if parts else pd.DataFrame(columns=names)


def _change(question: Question, effect: Effect) -> pd.DataFrame:
    band = effect.band
    assert not isinstance(band, Reason)
    low, high = band.limits
    return pd.DataFrame({
        "first": effect.first, "second": effect.second, **places(question),
        "estimate": band.estimate, "low": low, "high": high, "se": band.se, "t": band.t,
        "p": band.p, "outside": band.outside,
    })  # fmt: skip


def athlete_curves(
    question: Question, athletes: Sequence[Athlete], noise: CurveNoise | Reason
) -> pd.DataFrame:
    """Return each athlete's curves before and after, the change and the noise around it."""
    unknown = np.full(len(question.phases) * question.points, np.nan)
    half = unknown if isinstance(noise, Reason) else noise.half_width
    parts = []
    for one in athletes:
        outside = (
            np.zeros(len(half), bool) if isinstance(noise, Reason) else noise.outside(one.change)
        )
        parts.append(pd.DataFrame({
            "athlete": one.athlete, "group": one.group, **places(question), "before": one.before,
            "after": one.after, "change": one.change, "low": one.change - half,
            "high": one.change + half, "outside": outside,
        }))  # fmt: skip
    return pd.concat(parts, ignore_index=True)


def noise_curve(question: Question, noise: CurveNoise | Reason) -> pd.DataFrame:
    """Return the typical error along the curve; no rows when nobody knows it."""
    frame = pd.DataFrame(places(question))
    if isinstance(noise, Reason):
        return frame.iloc[:0].assign(typical_error=[], half_width=[])
    return frame.assign(typical_error=noise.typical_error, half_width=noise.half_width)


def left_out(squad: SquadCurves) -> pd.DataFrame:
    """Return who is not compared, and why, in words."""
    rows = [(a, r.code, str(r)) for a, r in squad.left_out.items()]
    return pd.DataFrame(rows, columns=["athlete", "reason_code", "reason"])
