"""Typical error, coefficients of variation and detectable change: rows for all metrics at once."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np

from cmjlab.results import Reason
from cmjlab.stats.common.intervals import chi2_quantile, sd_limits, t_quantile
from cmjlab.stats.common.mean_squares import Array, ratio
from cmjlab.stats.common.rows import Place
from cmjlab.stats.reliability.missing import IntraBlock
from cmjlab.stats.reliability.reasons import NOISE_ZERO, Why


@dataclass(frozen=True)
class Spread:
    """Within-athlete spread relative to the athlete's mean, session change included.

    Attributes
    ----------
    rms, mean : arrays, shape (n_metrics,)
        Root-mean-square and mean CV as fractions.
    df, n : arrays, shape (n_metrics,)
        Degrees of freedom within athletes, and athletes.
    c4 : array, shape (n_metrics,)
        Mean of (sample SD / SD) over these athletes: what the mean CV is too small by.
    df_mean : array, shape (n_metrics,)
        Degrees of freedom of a chi that is as variable as the mean CV (Patnaik 1950).
    """

    rms: Array
    mean: Array
    df: Array
    n: Array
    c4: Array
    df_mean: Array


def c4(df: Array) -> Array:
    """Return E(sample SD) / SD for ``df`` degrees of freedom of normal values."""
    from scipy.special import gammaln

    safe = np.maximum(df, 1.0)
    value = np.sqrt(2 / safe) * np.exp(gammaln((safe + 1) / 2) - gammaln(safe / 2))
    return np.asarray(np.where(df > 0, value, np.nan), dtype=np.float64)


def spread(values: Array, usable: Array) -> Spread:
    """Return the within-athlete CVs of athletes with two or more values.

    Parameters
    ----------
    values : array, shape (n_metrics, n_athletes, n_sessions)
    usable : array of bool, shape (n_metrics,)
        Metrics for which percent has a meaning; the others come out nan.
    """
    there = np.isfinite(values)
    count = there.sum(axis=-1).astype(np.float64)
    use = (count >= 2) & usable[:, None]
    x = np.where(there, values, 0.0)
    own = x.sum(axis=-1) / np.maximum(count, 1)
    squares = np.sum(np.where(there, values - own[..., None], 0.0) ** 2, axis=-1)
    variance = squares / np.maximum(count - 1, 1)
    cv2 = np.where(use, variance / np.where(use, own, 1.0) ** 2, 0.0)
    n = use.sum(axis=-1).astype(np.float64)
    df_each = np.where(use, count - 1, 0.0)
    df = df_each.sum(axis=-1)
    rms = np.sqrt(ratio(np.sum(df_each * cv2, axis=-1), df))
    mean = ratio(np.sqrt(cv2).sum(axis=-1), n)
    each = np.where(use, c4(np.maximum(df_each, 1)), 0.0)
    mean_c4 = ratio(each.sum(axis=-1), n)
    variance_of_mean = ratio(np.sum(np.where(use, 1 - each**2, 0.0), axis=-1), n**2)
    # Patnaik: a chi with df such that Var/Mean² agrees; 1/(2 cv²) + 1/4 is exact to O(1/df).
    df_mean = ratio(mean_c4**2, 2 * variance_of_mean) + 0.25
    return Spread(rms, mean, df, n, mean_c4, df_mean)


def typical_error_rows(place: Place, block: IntraBlock, void: Why) -> None:
    """Add the typical error and what follows from it: detectable changes of one and of all."""
    te, df = np.sqrt(block.mse), np.where(block.mse > 0, block.df, np.nan)
    low, high = sd_limits(te, df, place.level)
    place = place.at(df=df, n=block.n, interval_kind="chi_square")

    def add(key: str, factor: Array | float, estimator: str, **columns: Any) -> None:
        limits = (factor * low, factor * high)
        place.add(
            key,
            factor * te,
            limits=limits,
            estimator=estimator,
            void=void,
            reason=NOISE_ZERO,
            **columns,
        )

    add("typical_error", 1.0, "residual", leads=True)
    one = np.sqrt(2) * t_quantile(0.5 + place.level / 2, block.df)
    add(
        "smallest_detectable_change",
        one,
        "t_times_error",
        remark=Reason("one_against_one"),
        leads=True,
    )
    add(
        "smallest_detectable_change_z",
        np.sqrt(2) * 1.96,
        "z_times_error",
        remark=Reason("covers_too_little"),
        leads=False,
    )
    add(
        "smallest_detectable_change_mean",
        one / np.sqrt(np.maximum(block.n, 1)),
        "t_times_error_of_mean",
        remark=Reason("mean_of_these"),
    )


def cv_rows(place: Place, log_block: IntraBlock, cv: Spread, void: Why) -> None:
    """Add the three coefficients of variation, each under its own name."""
    te, df = np.sqrt(log_block.mse), np.where(log_block.mse > 0, log_block.df, np.nan)
    low, high = sd_limits(te, df, place.level)
    place.add(
        "typical_error_percent",
        100 * np.expm1(te),
        limits=(100 * np.expm1(low), 100 * np.expm1(high)),
        df=df,
        n=log_block.n,
        void=void,
        reason=NOISE_ZERO,
        estimator="residual_of_logs",
        interval_kind="chi_square",
        remark=Reason("free_of_session_change"),
    )
    rms = sd_limits(cv.rms, np.where(cv.rms > 0, cv.df, np.nan), place.level)
    place.add(
        "cv_rms_percent",
        100 * cv.rms,
        limits=(100 * rms[0], 100 * rms[1]),
        df=cv.df,
        n=cv.n,
        void=void,
        reason=NOISE_ZERO,
        estimator="root_mean_square",
        interval_kind="chi_square",
        remark=Reason("cv_with_session_change"),
    )
    _mean_cv_rows(place, cv, void)


def _mean_cv_rows(place: Place, cv: Spread, void: Why) -> None:
    """Add the mean of the athletes' CVs as it is published, and freed of its small-sample bias."""
    upper = 0.5 + place.level / 2
    with np.errstate(invalid="ignore"):
        d = np.where(np.isfinite(cv.df_mean) & (cv.mean > 0), cv.df_mean, np.nan)
    unbiased = cv.mean / cv.c4
    low, high = (unbiased * c4(d) * np.sqrt(d / chi2_quantile(q, d)) for q in (upper, 1 - upper))
    for published in (True, False):
        bias = cv.c4 if published else np.ones_like(cv.c4)
        place.add(
            "cv_mean_percent",
            100 * (cv.mean if published else unbiased),
            limits=(100 * low * bias, 100 * high * bias),
            df=d,
            n=cv.n,
            void=void,
            reason=NOISE_ZERO,
            estimator="mean_of_cvs" if published else "mean_of_cvs_by_c4",
            interval_kind="chi",
            remark=Reason("mean_cv_too_small" if published else "mean_cv_comparable"),
            leads=published,
        )
