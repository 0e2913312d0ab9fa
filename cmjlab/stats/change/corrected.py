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
from numpy.typing import NDArray

from cmjlab import checks
from cmjlab.errors import StatsError
from cmjlab.results import Note, Reason, Result, Sentence
from cmjlab.stats.change.design import Contrast, contrasts_of
from cmjlab.stats.change.left_out import left_out_frame, left_out_notes
from cmjlab.stats.change.pairs import Pairs, make_pairs, prepare
from cmjlab.stats.common.best_of import best_notes
from cmjlab.stats.common.least_squares import Array, Estimate, full_rank, least_squares
from cmjlab.stats.common.noise import Noise, noise_of
from cmjlab.stats.common.rows import Place, Rows
from cmjlab.stats.common.verdicts import estimate_says

#: Reliability of the baseline within groups up to which dividing by it makes no sense.
_LEAST_RELIABILITY = 0.2


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

    Examples
    --------
    >>> import cmjlab as cj
    >>> table = cj.simulate_sessions(seed=1, metrics=["jump_height_m"]).sessions
    >>> noise = cj.reliability(table, "jump_height_m", use=["base1", "base2"])
    >>> found = cj.change_between_corrected(table, "jump_height_m", before="base2", after="post",
    ...                                     reliability=noise, control="usual")
    >>> sorted(set(found.rows("corrected_difference")["first"]))
    ['fast_braking', 'strength']
    """
    level = checks.level(level)
    prepared = prepare(table, metrics, before=before, after=after, group="group")
    if len(prepared.group_order) < 2:
        raise StatsError("two groups are needed for a comparison; see change_within for one.")
    if control is not None:
        checks.one_of("control", control, prepared.group_order)
    rows, sentences, every = Rows(level=level), [], []
    for metric in prepared.metrics:
        pairs = make_pairs(prepared, metric)
        every.append(pairs)
        noise = noise_of(reliability, metric)
        for pair in contrasts_of(prepared.group_order, control):
            place = rows.at(metric=metric, first=pair[0], second=pair[1], role="exploratory")
            _add_corrected(place, pairs, pair, noise)
            sentences.append(_sentence(rows, metric, pair))
    return Result(
        kind="change_between_corrected",
        table=rows.frame(),
        points={"left_out": left_out_frame(every)},
        settings={"before": prepared.before, "after": prepared.after, "level": level},
        notes=(
            *left_out_notes(every),
            *best_notes(prepared.table),
            Note("corrected_for_reliability"),
        ),
        sentences=tuple(sentences),
    )


def _add_corrected(place: Place, pairs: Pairs, pair: Contrast, noise: Noise) -> None:
    """Add one contrast at equal true baseline, or why it cannot be given."""
    both = pairs.take(np.isin(pairs.group, pair))
    first = both.group == pair[0]
    here = place.at(n=len(both.athletes))
    if min(int(first.sum()), int((~first).sum())) < 2 or len(both.athletes) < 5:
        here.none("corrected_difference", Reason("few_for_correction", {"each": 2, "all": 5}))
        return
    design = np.column_stack([first, ~first, both.before - both.before.mean()]).astype(float)
    if not full_rank(design):
        here.none("corrected_difference", Reason("baseline_without_spread"))
        return
    within = design[:, 2] - np.where(first, design[first, 2].mean(), design[~first, 2].mean())
    variance = float((within**2).sum() / (len(within) - 2))
    share = 1.0 - noise.typical_error**2 / variance
    if share <= _LEAST_RELIABILITY:
        here.none("corrected_difference", Reason("low_reliability", {"reliability": share}))
        return
    here.add_estimate(
        "corrected_difference",
        _corrected(both, first, design, share, noise.df),
        estimator="ancova_corrected",
        interval_kind="delta_method",
        words={"reliability": share},
    )


def _corrected(
    both: Pairs, first: NDArray[np.bool_], design: Array, share: float, noise_df: float
) -> Estimate:
    """Return the difference with the baseline slope divided by its reliability ``share``."""
    fit = least_squares(both.after, design)
    gap = float(both.before[first].mean() - both.before[~first].mean())
    after_gap = float(both.after[first].mean() - both.after[~first].mean())
    slope = float(fit.coefficients[2])
    means = float(fit.variance) * (1 / first.sum() + 1 / (~first).sum())
    slope_part = (gap / share) ** 2 * float(fit.variance * fit.inverse[2, 2])
    spread_share = (1 - share) ** 2 * (2 / noise_df + 2 / (len(first) - 2))
    share_part = (slope * gap / share**2) ** 2 * spread_share
    se = float(np.sqrt(means + slope_part + share_part))
    return Estimate(after_gap - slope / share * gap, se, float(fit.df))


def _sentence(rows: Rows, metric: str, pair: Contrast) -> Sentence:
    first, second = pair
    row = rows.first("corrected_difference", metric=metric, first=first, second=second)
    assert row is not None
    values = {"first": first, "second": second, "difference": estimate_says(row)}
    return Sentence("change.corrected", metric, values=values)
