"""Change within one group of athletes: one metric, two sessions, all its rows."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from cmjlab.stats.change.pairs import Pairs
from cmjlab.stats.common.effect_sizes import average_sd, hedges_j, noncentrality_interval, paired_d
from cmjlab.stats.common.estimate_rows import Row, estimate_fields, not_estimable
from cmjlab.stats.common.least_squares import Estimate
from cmjlab.stats.common.tables import is_ratio_scale, unit_of
from cmjlab.stats.common.wording import direction, interval_text, name_of, range_text, signed

Array = NDArray[np.float64]


def mean_estimate(values: Array) -> Estimate:
    """Return the mean of the last axis with its standard error and n - 1 df."""
    n = values.shape[-1]
    return Estimate(
        values.mean(axis=-1),
        values.std(axis=-1, ddof=1) / np.sqrt(n),
        np.full(values.shape[:-1], float(n - 1)),
    )


def no_spread(values: Array, scale: Array) -> bool:
    """Return whether changes differ only by rounding of the values they came from."""
    return bool(np.ptp(values) <= 1e-10 * max(float(np.abs(scale).max()), 1e-300))


def paired_rows(pairs: Pairs, place: Row, level: float) -> list[Row]:
    """Return all rows of change within one group of athletes.

    Parameters
    ----------
    pairs : Pairs
    place : dict
        Columns that locate the rows: metric, contrast, group.
    level : float
    """
    unit = unit_of(pairs.metric)
    n = len(pairs.athletes)
    place = {**place, "n": n, "unit": unit}
    if n < 2:
        only = f"; the change of {pairs.athletes[0]} alone is in points" if n else ""
        why = f"{n} athlete(s) with both sessions; at least 2 are needed{only}"
        return [not_estimable(place, s, why) for s in ("mean_change", "percent_change", "cohen_dz")]
    change = pairs.change
    main: Row = {
        **place,
        "statistic": "mean_change",
        "method": "paired t",
        **estimate_fields(mean_estimate(change), level),
    }
    if no_spread(change, pairs.before):
        why = "every athlete changed by the same amount; the SD of change is 0"
        main = {**place, "statistic": "mean_change", "method": "paired t"}
        main |= {"estimate": float(change.mean()), "level": level}
        main["text"] = f"interval not estimable: {why}"
        return [
            main,
            _percent_row(pairs, place, level),
            *(not_estimable(place, s, why) for s in ("cohen_dz", "cohen_dav", "hedges_g")),
        ]
    return [
        main,
        _percent_row(pairs, place, level),
        *_size_rows(pairs, place, level),
        _leave_one_out_row(pairs, place),
    ]


def _percent_row(pairs: Pairs, place: Row, level: float) -> Row:
    place = {**place, "unit": "%"}
    both = np.concatenate([pairs.before, pairs.after])
    if not is_ratio_scale(pairs.metric, both):
        return not_estimable(
            place, "percent_change", "percent needs positive values with a true zero"
        )
    logs = np.log(pairs.after / pairs.before)
    row: Row = {**place, "statistic": "percent_change", "method": "paired t of logarithms"}
    if no_spread(logs, np.ones(1)):
        row["text"] = "interval not estimable: every athlete changed by the same percentage"
        return {**row, "estimate": 100 * float(np.expm1(logs.mean())), "level": level}
    fields = estimate_fields(mean_estimate(logs), level)
    for key in ("estimate", "ci_low", "ci_high"):
        fields[key] = 100 * float(np.expm1(fields[key]))
    del fields["se"]
    return {**row, **fields}


def _size_rows(pairs: Pairs, place: Row, level: float) -> list[Row]:
    """Return d_z, d_av and Hedges' g with noncentral-t limits (unit: none)."""
    d_z, t, df = paired_d(pairs.change)
    root_n = np.sqrt(len(pairs.change))
    low, high = (float(x) / root_n for x in noncentrality_interval(t, float(df), level))
    place = {**place, "unit": "", "level": level, "df": float(df)}
    rows: list[Row] = [
        {
            **place,
            "statistic": "cohen_dz",
            "estimate": d_z,
            "ci_low": low,
            "ci_high": high,
            "method": "mean / SD of the changes; noncentral t",
        }
    ]
    average = average_sd(pairs.before, pairs.after)
    if average > 1e-10 * float(np.abs(pairs.before).max()):
        ratio = float(pairs.change.std(ddof=1)) / average
        rows.append(
            {
                **place,
                "statistic": "cohen_dav",
                "estimate": d_z * ratio,
                "ci_low": low * ratio,
                "ci_high": high * ratio,
                "method": "mean / sqrt((s1² + s2²)/2); noncentral-t limits × s_change / s_average",
            }
        )
    rows.append(
        {
            **place,
            "statistic": "hedges_g",
            "estimate": d_z * float(hedges_j(df)),
            "ci_low": low,
            "ci_high": high,
            "method": "d_z × J(n - 1); noncentral-t limits of the effect, not multiplied by J",
        }
    )
    return rows


def _leave_one_out_row(pairs: Pairs, place: Row) -> Row:
    change = pairs.change
    n = len(change)
    without = (change.sum() - change) / (n - 1)
    low, high = float(without.min()), float(without.max())
    far = int(np.abs(without - change.mean()).argmax())
    unit = unit_of(pairs.metric)
    return {
        **place,
        "statistic": "leave_one_out_range",
        "estimate": float(change.mean()),
        "ci_low": low,
        "ci_high": high,
        "method": "range of mean_change when one athlete at a time is left out",
        "text": f"without {pairs.athletes[far]}: {signed(float(without[far]), unit)}",
    }


def leave_one_out_points(pairs: Pairs) -> list[Row]:
    """Return the mean change without each athlete, one row per athlete."""
    n = len(pairs.athletes)
    if n < 3:
        return []
    change = pairs.change
    without = (change.sum() - change) / (n - 1)
    return [
        {"metric": pairs.metric, "statistic": "mean_change", "athlete": a, "estimate": float(w)}
        for a, w in zip(pairs.athletes, without, strict=True)
    ]


def paired_sentence(rows: list[Row], before: str, after: str) -> str:
    """Return the mean change of one metric in plain words."""
    by_name = {r["statistic"]: r for r in rows}
    main = by_name["mean_change"]
    who = f" in group {main['group']}" if main.get("group") else ""
    start = f"{name_of(main['metric'])}{who}, {before} to {after}:"
    if "estimate" not in main:
        return f"{start} {main['text']}."
    size = signed(main["estimate"], main["unit"])
    if "ci_low" not in main:
        return f"{start} mean change {size} (n = {main['n']}); {main['text']}."
    interval = interval_text(main["ci_low"], main["ci_high"], main["unit"], main["level"])
    text = f"{start} mean change {size} ({interval}; n = {main['n']})."
    text += " " + direction(main["ci_low"], main["ci_high"])
    spread = by_name.get("leave_one_out_range")
    if spread and main["n"] > 2:
        span = range_text(spread["ci_low"], spread["ci_high"], main["unit"])
        text += f" Leaving out one athlete at a time gives {span}."
    return text
