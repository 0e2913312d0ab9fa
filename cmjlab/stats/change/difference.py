"""Differences of change scores between groups, and their standardised forms."""

from __future__ import annotations

import numpy as np

from cmjlab.stats.change.design import Contrast
from cmjlab.stats.change.paired import no_spread
from cmjlab.stats.change.pairs import Pairs
from cmjlab.stats.common.effect_sizes import (
    approximate_j,
    hedges_j,
    noncentrality_interval,
    pooled_sd,
)
from cmjlab.stats.common.estimate_rows import Row, estimate_fields, not_estimable
from cmjlab.stats.common.least_squares import contrast, least_squares


def difference_rows(
    pairs: Pairs, contrasts: list[Contrast], place: Row, level: float, selected: bool
) -> list[Row]:
    """Return change differences, Hedges' g of the changes, and Morris' d_ppc2.

    Parameters
    ----------
    pairs : Pairs
    contrasts : list of (group, group)
        Differences are first - second.
    place : dict
        Columns that locate the rows.
    level : float
    selected : bool
        Whether groups were cut on a baseline; d_ppc2 is then not defined, because the cut
        shrinks the baseline SD that it divides by.
    """
    rows: list[Row] = []
    for first, second in contrasts:
        one, two = pairs.take(pairs.group == first), pairs.take(pairs.group == second)
        here = {**place, "contrast": f"{first} - {second}", "n": len(one.before) + len(two.before)}
        rows += _change_rows(one, two, here, level)
        rows += _size_rows(one, two, {**here, "unit": ""}, level, selected)
    return rows


def _change_rows(one: Pairs, two: Pairs, place: Row, level: float) -> list[Row]:
    change = np.concatenate([one.change, two.change])
    columns = np.zeros((len(change), 2))
    columns[: len(one.change), 0] = 1.0
    columns[len(one.change) :, 1] = 1.0
    words = {
        "hc2_bm": "change scores, Welch standard error, Bell-McCaffrey df",
        "classical": "change scores, pooled standard error",
    }
    rows: list[Row] = []
    model = least_squares(change, columns)
    flat = no_spread(one.change, one.before) and no_spread(two.change, two.before)
    for kind, method in words.items():
        row: Row = {**place, "statistic": "change_difference", "method": method}
        estimate = contrast(model, np.array([1.0, -1.0]), kind)
        if flat:
            row |= {"estimate": float(estimate.estimate), "level": level}
            row["text"] = (
                "interval not estimable: within each group every athlete changed by the same amount"
            )
        else:
            row |= estimate_fields(estimate, level)
        rows.append(row)
    return rows


def _size_rows(one: Pairs, two: Pairs, place: Row, level: float, selected: bool) -> list[Row]:
    spread, df = pooled_sd(one.change, two.change)
    if no_spread(one.change, one.before) and no_spread(two.change, two.before):
        why = "the SD of change is 0 in both groups"
        return [not_estimable(place, s, why) for s in ("hedges_g", "dppc2")]
    root = float(np.sqrt(1 / len(one.change) + 1 / len(two.change)))
    difference = float(one.change.mean() - two.change.mean())
    d = difference / spread
    low, high = (float(x) * root for x in noncentrality_interval(d / root, float(df), level))
    common = {**place, "level": level, "df": float(df)}
    rows: list[Row] = [
        {
            **common,
            "statistic": "hedges_g",
            "estimate": d * float(hedges_j(df)),
            "ci_low": low,
            "ci_high": high,
            "method": "change difference / pooled SD of change × J; noncentral-t limits, not multiplied by J",
        }
    ]
    baseline, _ = pooled_sd(one.before, two.before)
    if selected:
        rows.append(
            not_estimable(
                place,
                "dppc2",
                "not defined for groups that were cut on a baseline (its SD is shrunk by the cut)",
            )
        )
    elif baseline <= 1e-10 * float(np.abs(one.before).max()):
        rows.append(not_estimable(place, "dppc2", "the baseline has no spread"))
    else:
        ratio = spread / baseline
        rows.append(
            {
                **common,
                "statistic": "dppc2",
                "estimate": approximate_j(df) * difference / baseline,
                "ci_low": low * ratio,
                "ci_high": high * ratio,
                "method": "Morris 2008: change difference / pooled SD before × (1 - 3/(4 df - 1));"
                " noncentral-t limits × s_change / s_before",
            }
        )
    return rows
