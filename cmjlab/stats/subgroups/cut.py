"""A cut against the line behind it: rows, verdict and sentences of one stratum."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from cmjlab.results import Case, Reason, Sentence
from cmjlab.stats.common.least_squares import Estimate
from cmjlab.stats.common.measures import ALL
from cmjlab.stats.common.rows import Place, Rows
from cmjlab.stats.common.tables import unit_of
from cmjlab.stats.common.verdicts import estimate_says, relation_says, side_of_zero
from cmjlab.stats.subgroups.relation import add_coefficient, add_line

Array = NDArray[np.float64]
SUPPORTED, NOT_SUPPORTED, CANNOT_TELL = "supported", "not_supported", "cannot_tell"
#: More goes with more, and nothing speaks for a step at this cut.
LINE_ONLY = "line_only"
#: A difference smaller than this share of the squad's SD separates nothing; our own limit.
SMALL = 0.5


@dataclass(frozen=True)
class CutPart:
    """Values of one stratum and the cut."""

    name: str
    session: str
    metric: str
    outcome: str
    cut: float
    x: Array
    y: Array


def add_cut(rows: Rows, part: CutPart) -> str:
    """Add rows of the regression, of the difference and of the step; return the verdict."""
    here = rows.at(
        metric=part.outcome,
        other_metric=part.metric,
        group=part.name,
        session=part.session,
        n=len(part.x),
    )
    why = add_line(here, part.x, part.y, part.outcome)
    if why is not None:
        for statistic in ("cut_difference", "cut_beyond_line"):
            here.none(statistic, why)
        return CANNOT_TELL
    design = np.column_stack([np.ones_like(part.x), part.x])
    cut = {"cut": part.cut, "unit": unit_of(part.metric)}
    _add_difference(here.at(case=Case("above_less_below", cut)), part, design)
    return _verdict(rows, part)


def _add_difference(here: Place, part: CutPart, line: Array) -> None:
    """Add the difference across the cut, and what it adds to the line."""
    above = part.x >= part.cut
    sizes = int(above.sum()), int((~above).sum())
    if min(sizes) < 2:
        why = Reason("few_on_a_side", {"above": sizes[0], "below": sizes[1]})
        for statistic in ("cut_difference", "cut_beyond_line"):
            here.none(statistic, why)
        return
    difference = _welch(part.y[above], part.y[~above])
    here.add_estimate(
        "cut_difference", difference, estimator="difference_of_means", interval_kind="welch_t"
    )
    add_coefficient(here, "cut_beyond_line", np.column_stack([line, above.astype(float)]), part.y)


def _verdict(rows: Rows, part: CutPart) -> str:
    """Return the verdict on a cut: the step beyond the line decides, not the difference.

    Wherever the outcome rises with the measure, athletes above a cut differ from those below,
    wherever it is set; only a step that the line does not hold speaks for this cut. A step
    against the difference says that the line does not fit, and nothing about the cut.
    """
    difference, step = (
        rows.first(s, group=part.name) for s in ("cut_difference", "cut_beyond_line")
    )
    if difference is None or step is None or not np.isfinite(difference["ci_low"]):
        return CANNOT_TELL
    adds = _adds(step, float(difference["estimate"]))
    if adds != "nothing":
        return SUPPORTED if adds == "something" else CANNOT_TELL
    low, high = float(difference["ci_low"]), float(difference["ci_high"])
    if side_of_zero(low, high) in ("up", "down"):
        return LINE_ONLY
    return NOT_SUPPORTED if max(-low, high) < SMALL * part.y.std(ddof=1) else CANNOT_TELL


def _adds(step: Mapping[str, Any], difference: float) -> str:
    """Return whether a step adds something, nothing, or goes against the difference."""
    side = side_of_zero(step["ci_low"], step["ci_high"])
    if side not in ("up", "down"):
        return "nothing"
    return "something" if (side == "up") == (difference > 0) else "against"


def _welch(first: Array, second: Array) -> Estimate:
    """Return the difference of two means with Welch's standard error and df."""
    parts = np.array([first.var(ddof=1) / len(first), second.var(ddof=1) / len(second)])
    difference, variance = float(first.mean() - second.mean()), float(parts.sum())
    if not variance > 0:
        return Estimate(difference, 0.0, np.nan)
    df = variance**2 / float((parts**2 / [len(first) - 1, len(second) - 1]).sum())
    return Estimate(difference, float(np.sqrt(variance)), df)


def cut_sentences(part: CutPart, rows: Rows, verdict: str) -> list[Sentence]:
    """Return what the difference, the correlation and the step say."""
    group = "" if part.name == ALL else part.name
    found = {str(r["statistic"]): r for r in rows.records(group=part.name)}
    difference, step, r = (found[s] for s in ("cut_difference", "cut_beyond_line", "correlation"))
    common = {"other": part.metric, "cut": _as_declared(part.metric, part.cut)}
    if not np.isfinite(difference["estimate"]):
        why = {**common, "why": difference["reason"]}
        return [Sentence("threshold.unknown", part.outcome, group, why)]
    said = {
        **common,
        "difference": estimate_says(difference),
        "small": SMALL,
        "athletes": len(part.x),
    }
    key = verdict
    if verdict == LINE_ONLY and difference["estimate"] < 0:
        key = f"{LINE_ONLY}_less"
    out = [Sentence(f"threshold.{key}", part.outcome, group, said)]
    if np.isfinite(r["estimate"]):
        numbers = {c: float(r[c]) for c in ("estimate", "ci_low", "ci_high", "level")}
        says = relation_says(r["ci_low"], r["ci_high"])
        values = {**common, **numbers, "athletes": len(part.x), "says": says}
        out.append(Sentence("threshold.correlation", part.outcome, group, values))
    if np.isfinite(step["estimate"]):
        adds = _adds(step, float(difference["estimate"]))
        values = {**common, "step": estimate_says(step)}
        out.append(Sentence(f"threshold.adds_{adds}", part.outcome, group, values))
    return out


def _as_declared(metric: str, cut: float) -> Sentence:
    """Return a cut with the metric's unit; without a unit as it was written."""
    kind = "cut_with_unit" if unit_of(metric) else "cut_without_unit"
    return Sentence(f"threshold.{kind}", metric, values={"cut": cut})
