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
from cmjlab.results import Note, Result
from cmjlab.stats.change.paired import mean_estimate
from cmjlab.stats.change.pairs import Prepared, left_out_notes, make_pairs, prepare, session_values
from cmjlab.stats.common.estimate_rows import Row, estimate_fields, not_estimable
from cmjlab.stats.common.least_squares import Estimate
from cmjlab.stats.common.tables import statistics_frame, unit_of
from cmjlab.stats.common.wording import name_of, signed


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
        Rows ``mean_change_shifted`` per group and shift: mean of the complete + f · shift, f the
        share missing, its own uncertainty included; and ``tipping_shift``, the shift at which
        the interval reaches zero.
    """
    level = checks.level(level)
    steps = [checks.number("shifts", s) for s in shifts]
    if not steps:
        raise StatsError("shifts: at least one number is needed, e.g. (0.0, -0.01).")
    prepared = prepare(table, metric, before=before, after=after, group=group)
    pairs = make_pairs(prepared, metric)
    rows: list[Row] = []
    sentences = []
    for name in prepared.group_order or ("",):
        change = pairs.change[pairs.group == name] if name else pairs.change
        gone = _missing(prepared, metric, name)
        place: Row = {"metric": metric, "group": name or None, "contrast": prepared.contrast}
        place |= {"unit": unit_of(metric), "n": len(change) + len(gone), "level": level}
        if len(change) < 2 or np.ptp(change) == 0:
            why = "at least 2 complete athletes with different changes are needed"
            rows.append(not_estimable(place, "mean_change_shifted", why))
            continue
        for step in steps:
            found = shifted(change, len(gone), step)
            method = f"{len(gone)} missing, their mean change {signed(step, unit_of(metric))} from the others'"
            row = {**place, "statistic": "mean_change_shifted", "method": method}
            rows.append({**row, **estimate_fields(found, level)})
        tip = _tipping(place, change, len(gone))
        rows.append(tip)
        sentences.append(_sentence(tip, len(gone)))
    return Result(
        kind="change_if_missing_differ",
        table=statistics_frame(rows),
        settings={
            "metric": metric,
            "before": prepared.before,
            "after": prepared.after,
            "shifts": steps,
            "group": group,
            "level": level,
        },
        notes=(
            *left_out_notes([pairs]),
            Note(
                "not_in_the_data",
                "How the missing athletes changed is not in the data; the rows say what each assumption would"
                " give, not which is right.",
            ),
        ),
        sentences=tuple(sentences),
    )


def _missing(prepared: Prepared, metric: str, group: str) -> list[str]:
    """Return athletes with a value before and none after."""
    first = session_values(prepared.table, metric, prepared.before)
    later = session_values(prepared.table, metric, prepared.after)
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


def _tipping(place: Row, change: Any, missing: int) -> Row:
    """Return the smallest shift towards zero at which the interval reaches zero."""
    level = place["level"]
    low, high = (float(v) for v in shifted(change, missing, 0.0).interval(level))
    if missing == 0:
        return not_estimable(place, "tipping_shift", "nobody is missing")
    if low <= 0 <= high:
        return not_estimable(place, "tipping_shift", "the interval holds zero without any shift")
    sign = -1.0 if low > 0 else 1.0
    far = sign * 1000 * max(abs(low), abs(high))

    def holds_zero(step: float) -> bool:
        ends = shifted(change, missing, step).interval(level)
        return bool(ends[0] <= 0 <= ends[1])

    if not holds_zero(far):
        far *= 1000
    near = 0.0
    for _ in range(200):
        middle = (near + far) / 2
        near, far = (near, middle) if holds_zero(middle) else (middle, far)
    method = "shift of the missing athletes' mean change at which the interval reaches zero"
    return {**place, "statistic": "tipping_shift", "estimate": far, "method": method}


def _sentence(tip: Row, missing: int) -> str:
    who = f" in group {tip['group']}" if tip.get("group") else ""
    start = f"{name_of(tip['metric'])}{who}: {missing} athlete(s) without a later value."
    if "estimate" not in tip:
        return f"{start} No tipping point: {tip['text'].removeprefix('not estimable: ')}."
    size = signed(tip["estimate"], tip["unit"])
    return f"{start} The interval would reach zero if their mean change differed from the others' by {size}."
