"""One mean curve per athlete and session from the jumps of a study, and who has none and why."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from cmjlab.errors import StatsError
from cmjlab.results import Reason
from cmjlab.scrutiny.curves.question import Question
from cmjlab.stats.curves.noise import CurveNoise, curve_noise
from cmjlab.study.analyses.defaults import baselines_tested
from cmjlab.study.study import Study

Array = NDArray[np.float64]

#: Athletes with two sessions without training in between who are needed for a noise.
_FEWEST = 5


@dataclass(frozen=True)
class SquadCurves:
    """Mean curves.

    Attributes
    ----------
    means : dict of (athlete, session) to array, shape (m,)
        Of the accepted jumps; m points over all phases.
    jumps : dict of (athlete, session) to int
        How many jumps each mean is of.
    athletes : tuple of str
        Those with both sessions of the question (and a group, where there are groups).
    group : array of str, shape (n,)
        The group of each of them; "" without groups.
    groups : tuple of str
        In the order of the study; ("",) without groups.
    left_out : dict of str to Reason
        Athletes of the squad who are not compared, and why.
    jumps_left_out : int
        Accepted jumps that lack an event.
    """

    means: dict[tuple[str, str], Array]
    jumps: dict[tuple[str, str], int]
    athletes: tuple[str, ...]
    group: NDArray[np.str_]
    groups: tuple[str, ...]
    left_out: dict[str, Reason] = field(default_factory=dict)
    jumps_left_out: int = 0

    def of(self, session: str, athletes: Sequence[str]) -> Array:
        """Return the curves of athletes in a session, shape (n, m)."""
        return np.array([self.means[a, session] for a in athletes])

    def members(self, group: str) -> tuple[str, ...]:
        """Return the athletes of a group that are compared."""
        return tuple(a for a, g in zip(self.athletes, self.group, strict=True) if g == group)


def squad_curves(study: Study, question: Question) -> tuple[SquadCurves, CurveNoise | Reason]:
    """Return the curves of a study, and the noise of one athlete's curve or why nobody knows it.

    Raises
    ------
    StatsError
        Nobody has a curve in both sessions.
    """
    pair = [question.before, question.after]
    try:
        baselines = baselines_tested(study, study.sessions_table())
    except StatsError as error:
        baselines, why = [], Reason("curves_no_baselines", {"why": str(error)})
    jumps = study.jumps_at_load()
    used = jumps[jumps["session"].astype(str).isin([*pair, *baselines])]
    curves = study.curves(question.quantity, points=question.points, each_phase=True, jumps=used)
    found = _compared(study, question, jumps, curves)
    if not found.athletes:
        raise StatsError(_nobody(question, found))
    noise = _noise(found, baselines, question.level) if baselines else why
    return found, noise


def _compared(
    study: Study, question: Question, jumps: pd.DataFrame, curves: pd.DataFrame
) -> SquadCurves:
    """Return the mean curves, and sort athletes into those compared and those left out."""
    means, counts = _means(curves, question)
    roster = jumps[["athlete", "group"]].drop_duplicates("athlete")
    group = dict(zip(roster["athlete"].astype(str), _texts(roster["group"]), strict=True))
    listed = dict(zip(study.athletes["athlete"].astype(str), _texts(study.athletes["group"]), strict=True))  # fmt: skip
    group = {**listed, **group}
    named = tuple(g for g in study.groups if g in set(group.values()))
    groups = named if len(named) > 1 else ("",)
    left_out = {}
    for athlete in group:
        reason = _why_left_out(jumps, means, athlete, (question.before, question.after))
        if reason is None and groups != ("",) and group[athlete] not in groups:
            reason = Reason("curve_no_group")
        if reason is not None:
            left_out[athlete] = reason
    kept = tuple(a for a in group if a not in left_out)
    own = np.array([group[a] if groups != ("",) else "" for a in kept], dtype=str)
    return SquadCurves(means, counts, kept, own, groups, left_out, len(curves.attrs["left_out"]))


def _texts(column: pd.Series) -> list[str]:
    return [str(g).strip() for g in column.astype(object).where(column.notna(), "")]


def _means(
    curves: pd.DataFrame, question: Question
) -> tuple[dict[tuple[str, str], Array], dict[tuple[str, str], int]]:
    """Return the mean curve of each athlete and session, and of how many jumps it is."""
    size = question.points * len(question.phases)
    values = curves["value"].to_numpy(dtype=np.float64).reshape(-1, size)
    head = curves.iloc[::size]
    keys = zip(head["athlete"].astype(str), head["session"].astype(str), strict=True)
    rows: dict[tuple[str, str], list[int]] = {}
    for place, key in enumerate(keys):
        rows.setdefault(key, []).append(place)
    means = {key: values[places].mean(axis=0) for key, places in rows.items()}
    return means, {key: len(places) for key, places in rows.items()}


def _why_left_out(
    jumps: pd.DataFrame,
    means: dict[tuple[str, str], Array],
    athlete: str,
    sessions: Sequence[str],
) -> Reason | None:
    """Return why an athlete has no change of the curve, None when there is one."""
    missing = [s for s in sessions if (athlete, s) not in means]
    if not missing:
        return None
    mine = jumps[jumps["athlete"].astype(str) == athlete]
    there = mine[mine["session"].astype(str) == missing[0]]
    code = "curve_no_events"
    if not len(there):
        code = "curve_not_tested"
    elif not there["accepted"].fillna(False).astype(bool).any():
        code = "curve_none_accepted"
    return Reason(code, {"session": missing[0]})


def _nobody(question: Question, found: SquadCurves) -> str:
    """Return the error when nobody can be compared, with the reasons of the first few."""
    few = [f"{a}: {r}" for a, r in list(found.left_out.items())[:5]]
    return (
        f"no athlete has an accepted jump with all events in both {question.before} and"
        f" {question.after}: {'; '.join(few) or 'the study lists no athlete'}."
        " Look at the reasons of the jumps (cmjlab check), or name other sessions."
    )


def _noise(found: SquadCurves, baselines: Sequence[str], level: float) -> CurveNoise | Reason:
    """Return the noise from athletes with every baseline, those without a later session included."""
    everybody = dict.fromkeys(a for a, _ in found.means)
    whole = [a for a in everybody if all((a, s) in found.means for s in baselines)]
    if len(whole) < _FEWEST:
        return Reason("few_for_curve_noise", {"needed": _FEWEST, "found": len(whole)})
    values = np.stack([found.of(s, whole) for s in baselines], axis=1)
    return curve_noise(values, level)
