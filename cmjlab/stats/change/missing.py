"""What if the athletes who were missing changed differently (delta-adjusted sensitivity).

Leaving out an athlete without a post test takes it for granted that this athlete changed like
the others. Injured athletes do not drop out at random: here the missing ones are given the
mean change of their group plus a shift, and the shift is named at which the answer tips.

Source: pattern-mixture models, Little 1993 (J Am Stat Assoc 88:125), from memory.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np
import pandas as pd

from cmjlab import checks
from cmjlab.errors import StatsError
from cmjlab.results import Case, Note, Reason, Result, Sentence
from cmjlab.stats.change.left_out import left_out_notes
from cmjlab.stats.change.paired import mean_estimate
from cmjlab.stats.change.pairs import Prepared, make_pairs, prepare
from cmjlab.stats.common.least_squares import Estimate
from cmjlab.stats.common.rows import Place, Rows
from cmjlab.stats.common.verdicts import side_of_zero


def change_if_missing_differ(
    table: pd.DataFrame,
    metric: str,
    *,
    before: str,
    after: str,
    shifts: Sequence[float],
    group: str | None = None,
    level: float = 0.95,
) -> Result:
    """Return the mean change under shifts of the athletes without a later value.

    Parameters
    ----------
    table : pandas.DataFrame
        One row per athlete and session.
    metric : str
    before, after : str
    shifts : sequence of float
        By how much the missing athletes' mean change differs from the others', in the
        metric's unit, e.g. (0.0, -0.01, -0.02).
    group : str, optional
        Column whose groups are reported one by one.
    level : float

    Returns
    -------
    Result
        Rows ``mean_change_shifted`` per group and shift (column ``case``): mean of the complete +
        f · shift, f the share missing, its own uncertainty included; and ``tipping_shift``, the
        shift at which the interval reaches zero.

    Examples
    --------
    >>> import cmjlab as cj
    >>> table = cj.simulate_sessions(seed=1, metrics=["jump_height_m"]).sessions
    >>> gone = table["athlete"].isin(["A01", "A02"]) & (table["session"] == "post")
    >>> found = cj.stats.change_if_missing_differ(table[~gone], "jump_height_m", before="base2",
    ...                                           after="post", shifts=(0.0, -0.02))
    >>> found.rows("mean_change_shifted")["estimate"].round(3).tolist()
    [0.008, 0.007]
    """
    level = checks.level(level)
    steps = [checks.number("shifts", s) for s in shifts]
    if not steps:
        raise StatsError("shifts: at least one number is needed, e.g. (0.0, -0.01).")
    prepared = prepare(table, metric, before=before, after=after, group=group)
    pairs = make_pairs(prepared, metric)
    rows, sentences = Rows(level=level), []
    for name in prepared.group_order or ("",):
        change = pairs.change[pairs.group == name] if name else pairs.change
        gone = len(_missing(prepared, metric, name))
        place = rows.at(metric=metric, group=name or None, first=prepared.after,
                        second=prepared.before, n=len(change) + gone)  # fmt: skip
        if len(change) < 2 or np.ptp(change) == 0:
            place.none("mean_change_shifted", Reason("two_different_changes"))
            continue
        _add_shifted(place, change, gone, steps)
        tip = tipping_shift(change, gone, level)
        place.add(
            "tipping_shift",
            np.nan if isinstance(tip, Reason) else tip,
            reason=tip if isinstance(tip, Reason) else None,
            estimator="shift_to_zero",
        )
        sentences.append(_sentence(metric, name, gone, tip))
    return Result(
        kind="change_if_missing_differ",
        table=rows.frame(),
        settings={
            "metric": metric,
            "before": prepared.before,
            "after": prepared.after,
            "shifts": steps,
            "group": group,
            "level": level,
        },
        notes=(*left_out_notes([pairs]), Note("missing_not_in_the_data")),
        sentences=tuple(sentences),
    )


def _missing(prepared: Prepared, metric: str, group: str) -> list[str]:
    """Return athletes with a value before and none after."""
    first = prepared.values(metric, prepared.before)
    later = prepared.values(metric, prepared.after)
    return [
        a
        for a, v in first.items()
        if np.isfinite(v)
        and not np.isfinite(later.get(a, np.nan))
        and (not group or prepared.groups[a] == group)
    ]


def shifted(change: Any, missing: int, shift: float) -> Estimate:
    """Return the mean change with ``missing`` more athletes whose mean differs by ``shift``.

    Variance: that of the complete athletes' mean + shift² f (1 - f) / N.
    """
    complete = mean_estimate(np.asarray(change, dtype=np.float64))
    total = len(change) + missing
    share = missing / total
    variance = float(complete.se) ** 2 + shift**2 * share * (1 - share) / total
    return Estimate(float(complete.estimate) + share * shift, float(np.sqrt(variance)), complete.df)


def _add_shifted(place: Place, change: Any, missing: int, steps: Sequence[float]) -> None:
    for step in steps:
        place.at(case=Case("shift_of_missing", {"shift": step})).add_estimate(
            "mean_change_shifted",
            shifted(change, missing, step),
            estimator="complete_and_missing",
            interval_kind="t",
            words={"missing": missing},
        )


def tipping_shift(change: Any, missing: int, level: float) -> float | Reason:
    """Return the smallest shift towards zero at which the interval reaches zero, or why none."""
    low, high = (float(v) for v in shifted(change, missing, 0.0).interval(level))
    if missing == 0:
        return Reason("nobody_missing")
    if side_of_zero(low, high) == "open":
        return Reason("zero_without_shift")
    sign = -1.0 if low > 0 else 1.0
    far = sign * 1000 * max(abs(low), abs(high))

    def includes_zero(step: float) -> bool:
        ends = shifted(change, missing, step).interval(level)
        return bool(ends[0] <= 0 <= ends[1])

    if not includes_zero(far):
        far *= 1000
    near = 0.0
    for _ in range(200):
        middle = (near + far) / 2
        near, far = (near, middle) if includes_zero(middle) else (middle, far)
    return far


def _sentence(metric: str, group: str, missing: int, tip: float | Reason) -> Sentence:
    if isinstance(tip, Reason):
        return Sentence("change.no_tipping", metric, group, {"n": missing, "why": tip})
    return Sentence("change.tipping", metric, group, {"n": missing, "shift": tip})
