"""Typical error, coefficients of variation and detectable change: rows for all metrics at once."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from cmjlab.stats.common.intervals import chi2_quantile, sd_limits, t_quantile
from cmjlab.stats.common.mean_squares import Array, ratio
from cmjlab.stats.common.tables import Rows
from cmjlab.stats.reliability.data import Cube
from cmjlab.stats.reliability.missing import IntraBlock

_ZERO = "the noise is exactly zero"
_RESIDUAL = "residual of athletes and sessions; chi-square interval"


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


def typical_error_rows(rows: Rows, block: IntraBlock, reason: list[str]) -> None:
    """Add the typical error and what follows from it: detectable changes of one and of all."""
    te, df = np.sqrt(block.mse), np.where(block.mse > 0, block.df, np.nan)
    limits = sd_limits(te, df, rows.level)
    shared = {"df": df, "n": block.n, "void": reason, "reason": _ZERO}
    rows.add("typical_error", te, limits=limits, method=_RESIDUAL, **shared)
    factor = np.sqrt(2) * t_quantile(0.5 + rows.level / 2, block.df)
    rows.add(
        "smallest_detectable_change",
        factor * te,
        limits=(factor * limits[0], factor * limits[1]),
        method="t · √2 · typical error",
        text="one athlete, one session against another",
        **shared,
    )
    z = np.sqrt(2) * 1.96
    rows.add(
        "smallest_detectable_change_z",
        z * te,
        limits=(z * limits[0], z * limits[1]),
        method="1.96 · √2 · typical error, as published",
        text="covers less than 95 % with few athletes",
        **shared,
    )
    of_mean = factor / np.sqrt(np.maximum(block.n, 1))
    rows.add(
        "smallest_detectable_change_mean",
        of_mean * te,
        limits=(of_mean * limits[0], of_mean * limits[1]),
        method="t · √2 · typical error / √n",
        text="mean of these athletes; the noise of the retest only, equal true changes",
        **shared,
    )


def cv_rows(rows: Rows, log_block: IntraBlock, cv: Spread, reason: list[str]) -> None:
    """Add the three coefficients of variation, each under its own name."""
    te, df = np.sqrt(log_block.mse), np.where(log_block.mse > 0, log_block.df, np.nan)
    low, high = sd_limits(te, df, rows.level)
    rows.add(
        "typical_error_percent",
        100 * np.expm1(te),
        limits=(100 * np.expm1(low), 100 * np.expm1(high)),
        unit="%",
        df=df,
        n=log_block.n,
        void=reason,
        reason=_ZERO,
        method="100 (exp(typical error of logs) - 1); chi-square interval",
        text="free of a common session change",
    )
    rms = sd_limits(cv.rms, np.where(cv.rms > 0, cv.df, np.nan), rows.level)
    rows.add(
        "cv_rms_percent",
        100 * cv.rms,
        limits=(100 * rms[0], 100 * rms[1]),
        unit="%",
        df=cv.df,
        n=cv.n,
        void=reason,
        reason=_ZERO,
        method="root mean square of the athletes' CVs; chi-square interval",
        text="contains the session change; interval right only without one",
    )
    upper = 0.5 + rows.level / 2
    with np.errstate(invalid="ignore"):
        d = np.where(np.isfinite(cv.df_mean) & (cv.mean > 0), cv.df_mean, np.nan)
    unbiased = cv.mean / cv.c4
    pair = [unbiased * c4(d) * np.sqrt(d / chi2_quantile(q, d)) for q in (upper, 1 - upper)]
    rows.add(
        "cv_mean_percent",
        100 * cv.mean,
        limits=(100 * pair[0] * cv.c4, 100 * pair[1] * cv.c4),
        unit="%",
        df=d,
        n=cv.n,
        void=reason,
        reason=_ZERO,
        method="mean of the athletes' CVs, as often published",
        text="too small by arithmetic alone (two sessions: 0.798 of the true CV); contains the session change",
    )
    rows.add(
        "cv_mean_percent",
        100 * unbiased,
        limits=(100 * pair[0], 100 * pair[1]),
        unit="%",
        df=d,
        n=cv.n,
        void=reason,
        reason=_ZERO,
        method="mean of the athletes' CVs divided by c4",
        text="comparable with the root mean square; contains the session change",
    )


def value_reasons(data: Cube) -> list[str]:
    """Return per metric why no comparison of sessions is possible at all, "" when one is."""
    out = []
    low, high = (
        data.values.min(axis=(1, 2), initial=np.inf),
        data.values.max(axis=(1, 2), initial=-np.inf),
    )
    for i, values in enumerate(data.values):
        if np.isnan(low[i]):
            there = values[np.isfinite(values)]
            low[i], high[i] = (there.min(), there.max()) if there.size else (np.nan, np.nan)
        if not np.isfinite(low[i]):
            out.append("no values")
        elif data.k < 2:
            out.append(f"only one session ({data.sessions[0]}); two or more are needed")
        elif low[i] == high[i]:
            out.append(f"all {int(np.isfinite(values).sum())} values are equal ({low[i]:g})")
        else:
            out.append("")
    return out


def data_reasons(data: Cube, block: IntraBlock) -> list[str]:
    """Return per metric why nothing can be said about noise, "" when it can."""
    few = [
        "" if df > 0 else f"{int(n)} athlete(s) with two sessions or more; at least 2 are needed"
        for n, df in zip(block.n, block.df, strict=True)
    ]
    return [v or f for v, f in zip(value_reasons(data), few, strict=True)]
