"""Change within one group of athletes: one metric, two sessions, all its rows."""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray

from cmjlab.results import Reason
from cmjlab.stats.change.pairs import Pairs
from cmjlab.stats.common.effect_sizes import average_sd, hedges_j, noncentrality_interval, paired_d
from cmjlab.stats.common.least_squares import Estimate
from cmjlab.stats.common.rows import Place
from cmjlab.stats.common.tables import is_ratio_scale

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


def add_paired_rows(pairs: Pairs, place: Place) -> None:
    """Add all rows of change within one group of athletes.

    Parameters
    ----------
    pairs : Pairs
    place : Place
        Metric, sessions and group.
    """
    n = len(pairs.athletes)
    if n < 2:
        reason = Reason("few_pairs", {"n": n, "athletes": list(pairs.athletes), "needed": 2})
        for statistic in ("mean_change", "percent_change", "cohen_dz"):
            place.none(statistic, reason)
        return
    flat = no_spread(pairs.change, pairs.before)
    place.add_estimate(
        "mean_change",
        _without_interval(mean_estimate(pairs.change)) if flat else mean_estimate(pairs.change),
        reason=Reason("same_change") if flat else None,
        estimator="paired_mean",
        interval_kind="t",
    )
    _add_percent(pairs, place)
    if flat:
        for statistic in ("next_athlete_change", "cohen_dz", "cohen_dav", "hedges_g_within"):
            place.none(statistic, Reason("same_change"))
        return
    _add_next_athlete(pairs, place)
    _add_effect_sizes(pairs, place)
    _add_range_leaving_out(pairs, place)


def _without_interval(estimate: Estimate) -> Estimate:
    """Return the estimate with a standard error of zero, which stands for no interval."""
    return Estimate(estimate.estimate, 0.0, estimate.df)


def _add_percent(pairs: Pairs, place: Place) -> None:
    both = np.concatenate([pairs.before, pairs.after])
    if not is_ratio_scale(pairs.metric, both):
        place.none("percent_change", Reason("needs_true_zero"))
        return
    logs = np.log(pairs.after / pairs.before)
    found = mean_estimate(logs)
    flat = no_spread(logs, np.ones(1))
    sure = Estimate(np.nan, np.nan, np.nan) if flat else found
    low, high = (100 * np.expm1(x) for x in sure.interval(place.level))
    place.add(
        "percent_change",
        100 * np.expm1(found.estimate),
        limits=(low, high),
        reason=Reason("same_percent") if flat else None,
        df=sure.df,
        test_value=sure.estimate / sure.se,
        p=sure.p_value(),
        estimator="paired_mean_of_logs",
        interval_kind="t",
    )


def _add_next_athlete(pairs: Pairs, place: Place) -> None:
    """Add the interval of one more athlete's observed change: its noise is part of it."""
    mean = mean_estimate(pairs.change)
    one = Estimate(
        mean.estimate, pairs.change.std(ddof=1) * np.sqrt(1 + 1 / (mean.df + 1)), mean.df
    )
    place.add(
        "next_athlete_change",
        one.estimate,
        limits=one.interval(place.level),
        df=one.df,
        estimator="paired_mean",
        interval_kind="one_more",
    )


def _add_effect_sizes(pairs: Pairs, place: Place) -> None:
    """Add d_z, d_av and Hedges' g with noncentral-t limits (unit: none)."""
    d_z, t, df = paired_d(pairs.change)
    root_n = np.sqrt(len(pairs.change))
    low, high = (float(x) / root_n for x in noncentrality_interval(t, float(df), place.level))
    place.add(
        "cohen_dz",
        d_z,
        limits=(low, high),
        df=df,
        estimator="mean_by_sd_of_changes",
        interval_kind="noncentral_t",
    )
    average = average_sd(pairs.before, pairs.after)
    if average > 1e-10 * float(np.abs(pairs.before).max()):
        ratio = float(pairs.change.std(ddof=1)) / average
        place.add(
            "cohen_dav",
            d_z * ratio,
            limits=(low * ratio, high * ratio),
            df=df,
            estimator="mean_by_average_sd",
            interval_kind="noncentral_t_rescaled",
        )
    place.add(
        "hedges_g_within",
        d_z * float(hedges_j(df)),
        limits=(low, high),
        df=df,
        estimator="d_z_times_j",
        interval_kind="noncentral_t_without_j",
    )


def _means_without_each(pairs: Pairs) -> Array:
    """Return the mean change without each athlete in turn."""
    return np.asarray((pairs.change.sum() - pairs.change) / (len(pairs.change) - 1))


def _add_range_leaving_out(pairs: Pairs, place: Place) -> None:
    without = _means_without_each(pairs)
    mean = float(pairs.change.mean())
    far = int(np.abs(without - mean).argmax())
    place.add(
        "leave_one_out_range",
        mean,
        limits=(without.min(), without.max()),
        level=np.nan,
        remark=Reason("moved_most", {"athlete": pairs.athletes[far]}),
        estimator="mean_change_leaving_out",
        interval_kind="range",
    )


def leave_one_out_points(pairs: Pairs) -> list[dict[str, Any]]:
    """Return the mean change without each athlete, one row per athlete."""
    if len(pairs.athletes) < 3:
        return []
    return [
        {"metric": pairs.metric, "statistic": "mean_change", "athlete": a, "estimate": float(w)}
        for a, w in zip(pairs.athletes, _means_without_each(pairs), strict=True)
    ]
