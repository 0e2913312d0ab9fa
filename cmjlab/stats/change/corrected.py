"""ANCOVA with the baseline's reliability taken into account, for groups formed on other grounds.

When groups differ in their true baseline, ANCOVA adjusts too little, because the measured
baseline is only partly true. Dividing the baseline slope by its reliability within groups
(regression calibration) corrects that; it needs a reliability, and the result is only as
good as that number.
"""

from __future__ import annotations

from typing import Any

import numpy as np
import pandas as pd

from cmjlab import checks
from cmjlab.errors import StatsError
from cmjlab.results import Note, Result
from cmjlab.stats.change.design import contrasts_of
from cmjlab.stats.change.pairs import (
    Pairs,
    Prepared,
    left_out_frame,
    left_out_notes,
    make_pairs,
    prepare,
)
from cmjlab.stats.common.estimate_rows import Row, estimate_fields, not_estimable
from cmjlab.stats.common.least_squares import Estimate, full_rank, least_squares
from cmjlab.stats.common.noise import noise_of
from cmjlab.stats.common.tables import statistics_frame, unit_of
from cmjlab.stats.common.wording import interval_text, name_of, signed


def change_between_corrected(
    table: pd.DataFrame,
    metrics: Any = None,
    *,
    before: str,
    after: str,
    reliability: Any,
    control: str | None = None,
    level: float = 0.95,
) -> Result:
    """Return the group difference at equal *true* baseline.

    Parameters
    ----------
    table : pandas.DataFrame
        Columns ``athlete``, ``session``, ``group`` and metrics.
    metrics : str or sequence of str, optional
    before, after : str
    reliability : Result, or mapping of metric to (typical error, df)
        Noise of a session value.
    control : str, optional
    level : float

    Returns
    -------
    Result
        Rows ``corrected_difference``; the slope is divided by λ = 1 - TE² / (variance of the
        baseline within groups), the standard error by the delta method with the uncertainty
        of λ; df of the fit.
    """
    level = checks.level(level)
    prepared = prepare(table, metrics, before=before, after=after, group="group")
    if len(prepared.group_order) < 2:
        raise StatsError("two groups are needed for a comparison; see change_within for one.")
    if control is not None:
        checks.one_of("control", control, prepared.group_order)
    rows, sentences, every = [], [], []
    for metric in prepared.metrics:
        pairs = make_pairs(prepared, metric)
        every.append(pairs)
        noise = noise_of(reliability, metric)
        for pair in contrasts_of(prepared.group_order, control):
            row = _row(pairs, prepared, pair, (noise.typical_error, noise.df), level)
            rows.append(row)
            sentences.append(_sentence(row))
    return Result(
        kind="change_between_corrected",
        table=statistics_frame(rows),
        points={"left_out": left_out_frame(every)},
        settings={"before": prepared.before, "after": prepared.after, "level": level},
        notes=(
            *left_out_notes(every),
            Note(
                "corrected_for_reliability",
                "The correction assumes that the typical error is right for this baseline and that groups"
                " would have moved alike from equal true baselines; neither can be seen in these data.",
            ),
        ),
        sentences=tuple(sentences),
    )


def _row(
    pairs: Pairs,
    prepared: Prepared,
    pair: tuple[str, str],
    noise: tuple[float, float],
    level: float,
) -> Row:
    place: Row = {
        "metric": pairs.metric,
        "contrast": f"{pair[0]} - {pair[1]}",
        "unit": unit_of(pairs.metric),
        "role": "exploratory",
    }
    part = pairs.take(np.isin(pairs.group, pair))
    first = part.group == pair[0]
    place["n"] = len(part.athletes)
    if min(int(first.sum()), int((~first).sum())) < 2 or len(part.athletes) < 5:
        why = "at least 2 athletes in each group and 5 in all are needed"
        return not_estimable(place, "corrected_difference", why)
    design = np.column_stack([first, ~first, part.before - part.before.mean()]).astype(float)
    if not full_rank(design):
        return not_estimable(
            place, "corrected_difference", "the baseline has no spread within groups"
        )
    fit = least_squares(part.after, design)
    gap = float(part.before[first].mean() - part.before[~first].mean())
    within = design[:, 2] - np.where(first, design[first, 2].mean(), design[~first, 2].mean())
    df_within = len(within) - 2
    variance = float((within**2).sum() / df_within)
    share = 1.0 - noise[0] ** 2 / variance
    if share <= 0.2:
        why = f"reliability of the baseline within groups is {share:.2f}; too low to divide by"
        return not_estimable(place, "corrected_difference", why)
    slope = float(fit.coefficients[2])
    after_gap = float(part.after[first].mean() - part.after[~first].mean())
    value = after_gap - slope / share * gap
    means = float(fit.variance) * (1 / first.sum() + 1 / (~first).sum())
    slope_part = (gap / share) ** 2 * float(fit.variance * fit.inverse[2, 2])
    spread_share = (1 - share) ** 2 * (2 / noise[1] + 2 / df_within)
    share_part = (slope * gap / share**2) ** 2 * spread_share
    se = float(np.sqrt(means + slope_part + share_part))
    row = {**place, "statistic": "corrected_difference"}
    row["method"] = f"ANCOVA, baseline slope / reliability {share:.2f}; delta method"
    return {**row, **estimate_fields(Estimate(value, se, float(fit.df)), level)}


def _sentence(row: Row) -> str:
    start = f"{name_of(row['metric'])}, {row['contrast']}, at equal true baseline:"
    if "ci_low" not in row:
        return f"{start} {row.get('text', 'no interval')}."
    interval = interval_text(row["ci_low"], row["ci_high"], row["unit"], row["level"])
    return f"{start} {signed(row['estimate'], row['unit'])} ({interval})."
