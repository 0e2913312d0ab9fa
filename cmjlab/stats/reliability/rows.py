"""Rows of intraclass correlations, session changes, limits of agreement and spread."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from cmjlab.stats.common.intervals import (
    f_quantile,
    f_tail,
    mean_limits,
    mls_limits,
    sd_limits,
    spearman_brown,
    t_tail,
)
from cmjlab.stats.common.mean_squares import Array, MeanSquares, ratio
from cmjlab.stats.common.tables import Rows
from cmjlab.stats.reliability import icc as icc
from cmjlab.stats.reliability.agreement import difference_moments, limits_of_agreement
from cmjlab.stats.reliability.data import Cube
from cmjlab.stats.reliability.missing import consistency_missing
from cmjlab.stats.reliability.pivotal import agreement_limits

PUBLISHED = "McGraw & Wong 1996"
ALL_VALUES = "all values, exact F pivot"
RANDOM = "generalised pivotal, sessions a sample"
FIXED = "fiducial, these sessions"
EXACT = "the noise is exactly zero"
_NOT_SEPARABLE = "athletes differ no more than the noise (not separable)"


def published_rows(rows: Rows, ms: MeanSquares, void: list[str]) -> list[str]:
    """Add the six forms with published intervals; return why none can be had, per metric."""
    few = [
        v or ("" if n >= 2 else f"{int(n)} athlete(s) with every session; at least 2 are needed")
        for v, n in zip(void, ms.n, strict=True)
    ]
    single = {
        "icc_1": icc.one_way(ms, rows.level),
        "icc_a1": icc.agreement(ms, rows.level),
        "icc_c1": icc.consistency(ms, rows.level),
    }
    for key, value in single.items():
        _published(rows, key, value, ms, few)
    for key, value in single.items():
        name = "icc_1k" if key == "icc_1" else f"{key[:-1]}k"
        _published(rows, name, value.of_mean(ms.k), ms, few)
    return few


def icc_rows(rows: Rows, data: Cube, ms: MeanSquares, void: list[str]) -> None:
    """Add every ICC: published intervals first, then ours under another method."""
    few = published_rows(rows, ms, void)
    point = icc.agreement_point(ms)
    for fixed, method in ((False, RANDOM), (True, FIXED)):
        limits = agreement_limits(ms, rows.level, fixed=fixed)
        _icc(rows, "icc_a1", point, limits, few, n=ms.n, method=method)
        of_mean = [spearman_brown(x, ms.k) for x in (point, *limits)]
        _icc(rows, "icc_ak", of_mean[0], (of_mean[1], of_mean[2]), few, n=ms.n, method=method)
    if np.isnan(data.values).any() and data.k > 1:
        _gaps(rows, data, ms, void)


def _published(rows: Rows, key: str, value: icc.Icc, ms: MeanSquares, void: list[str]) -> None:
    finite = np.isfinite(value.f)
    _icc(
        rows,
        key,
        value.estimate,
        (value.low, value.high),
        void,
        n=ms.n,
        df=value.df1,
        df2=value.df2,
        test_value=np.where(finite, value.f, np.nan),
        p=np.where(finite, value.p, np.nan),
        method=PUBLISHED,
    )


def _gaps(rows: Rows, data: Cube, ms: MeanSquares, void: list[str]) -> None:
    estimate, low, high = consistency_missing(data.values, rows.level)
    n = np.isfinite(data.values).any(axis=-1).sum(axis=-1)
    exact = (ms.mse == 0) & np.isnan(estimate)
    estimate = np.where(exact, 1.0, estimate)
    _icc(rows, "icc_c1", estimate, (low, high), void, n=n, method=ALL_VALUES)
    mean = [spearman_brown(x, data.k) for x in (estimate, low, high)]
    _icc(rows, "icc_ck", mean[0], (mean[1], mean[2]), void, n=n, method=ALL_VALUES)


def _icc(
    rows: Rows,
    key: str,
    estimate: Array,
    limits: tuple[Array, Array],
    void: list[str],
    **columns: object,
) -> None:
    """Add one ICC within [-1, 1]: beyond it an estimate has no meaning and a limit is cut."""
    low, high = limits
    within = (estimate >= -1 - 1e-12) & (estimate <= 1 + 1e-12)
    text = np.where(estimate <= 0, _NOT_SEPARABLE, "").astype(object)
    cut = within & (low < -1)
    text = np.where(cut, [f"{t}; lower limit cut at -1".lstrip("; ") for t in text], text)
    # No noise at all: the number stands, an interval without width would claim too much.
    sure = within & (low == 1) & (high == 1)
    low, high = (np.where(sure, np.nan, np.clip(x, -1, 1)) for x in (low, high))
    rows.add(
        key,
        np.where(within, np.clip(estimate, -1, 1), np.nan),
        limits=(low, high),
        unit="",
        void=void,
        reason=np.where(within, EXACT, _NOT_SEPARABLE),
        text=np.where(within, text, ""),
        **columns,
    )


def session_rows(rows: Rows, data: Cube, logs: Array, void: list[str], percent: list[str]) -> None:
    """Add the change from session to session, and from first to last, in units and percent."""
    for later, earlier in session_pairs(data.k):
        contrast = f"{data.sessions[later]} - {data.sessions[earlier]}"
        plain = data.values[:, :, later] - data.values[:, :, earlier]
        _change(rows, "session_change", plain, contrast, void)
        _change(
            rows,
            "session_change_percent",
            logs[:, :, later] - logs[:, :, earlier],
            contrast,
            percent,
        )


def session_pairs(k: int) -> list[tuple[int, int]]:
    """Return (later, earlier) of consecutive sessions, and of last and first if k > 2."""
    pairs = [(j + 1, j) for j in range(k - 1)]
    return [*pairs, (k - 1, 0)] if k > 2 else pairs


def _change(rows: Rows, key: str, difference: Array, contrast: str, void: list[str]) -> None:
    n, mean, sd = difference_moments(difference)
    se = sd / np.sqrt(np.maximum(n, 1))
    mean = np.where(n > 1, mean, np.nan)
    low, high = mean_limits(mean, np.where(se > 0, se, np.nan), n - 1, rows.level)
    t = np.where(se > 0, ratio(mean, se), np.nan)
    p = t_tail(t, n - 1)
    logs = key.endswith("percent")
    if logs:
        mean, low, high = (100 * np.expm1(x) for x in (mean, low, high))
    rows.add(
        key,
        mean,
        limits=(low, high),
        contrast=contrast,
        n=n,
        df=np.where(n > 1, n - 1, np.nan),
        se=np.nan if logs else se,
        test_value=t,
        p=p,
        unit="%" if logs else "metric",
        method="paired differences of logs, t" if logs else "paired differences, t",
        void=void,
        reason=np.where(n > 1, EXACT, f"fewer than 2 athletes with both sessions of {contrast}"),
    )


def session_f_row(rows: Rows, ms: MeanSquares, void: list[str]) -> None:
    """Add the F of sessions: do the session means differ more than the noise explains."""
    f = ratio(ms.msc, ms.mse)
    text = "assumes equal noise of all differences (sphericity); the pairs stand beside it"
    rows.add(
        "session_f",
        np.where(np.isfinite(f), f, np.nan),
        interval=False,
        df=ms.df_c,
        df2=ms.df_e,
        n=ms.n,
        test_value=np.where(np.isfinite(f), f, np.nan),
        p=f_tail(np.where(np.isfinite(f), f, np.nan), ms.df_c, ms.df_e),
        unit="",
        method="F = MSC / MSE, athletes with every session",
        void=void,
        reason=np.where(
            ms.n < 2, "fewer than 2 athletes with every session", "no noise to test against"
        ),
        text=text if ms.k > 2 else "",
    )


def agreement_rows(
    rows: Rows, data: Cube, logs: Array, void: list[str], percent: list[str]
) -> None:
    """Add limits of agreement of consecutive sessions, in units and as percent from logs."""
    for later in range(1, data.k):
        contrast = f"{data.sessions[later]} - {data.sessions[later - 1]}"
        difference = data.values[:, :, later] - data.values[:, :, later - 1]
        _limits(rows, difference, contrast, void, suffix="")
        _limits(
            rows, logs[:, :, later] - logs[:, :, later - 1], contrast, percent, suffix="_percent"
        )
        if data.k > 2:
            _pair_noise(rows, difference, contrast, void)


def _limits(rows: Rows, difference: Array, contrast: str, void: list[str], *, suffix: str) -> None:
    for pair in (False, True):
        part = limits_of_agreement(difference, level=rows.level, pair=pair)
        sure = part.sd == 0
        for name in ("lower", "upper"):
            numbers = [
                np.where(sure, np.nan, getattr(part, f"{name}_{end}")) for end in ("low", "high")
            ]
            estimate = getattr(part, name)
            if suffix:
                estimate, *numbers = (100 * np.expm1(x) for x in (estimate, *numbers))
            rows.add(
                f"limit_{name}{suffix}",
                estimate,
                limits=(numbers[0], numbers[1]),
                contrast=contrast,
                n=part.n,
                df=np.where(part.n > 1, part.n - 1, np.nan),
                unit="%" if suffix else "metric",
                method="1.96 SD; exact interval of "
                + ("both limits together" if pair else "this limit alone"),
                void=void,
                reason=np.where(
                    sure, EXACT, f"fewer than 2 athletes with both sessions of {contrast}"
                ),
            )


def _pair_noise(rows: Rows, difference: Array, contrast: str, void: list[str]) -> None:
    n, _, sd = difference_moments(difference)
    te = sd / np.sqrt(2)
    low, high = sd_limits(np.where(te > 0, te, np.nan), n - 1, rows.level)
    rows.add(
        "typical_error_pair",
        te,
        limits=(low, high),
        contrast=contrast,
        n=n,
        df=np.where(n > 1, n - 1, np.nan),
        method="SD of differences / √2; chi-square interval",
        void=void,
        reason=np.where(n > 1, EXACT, f"fewer than 2 athletes with both sessions of {contrast}"),
        text="a noisier first pair speaks for learning",
    )


def between_rows(
    rows: Rows,
    ms: MeanSquares,
    void: list[str],
    matters: Sequence[float],
    pooled: tuple[Array, Array, Array, str] | None,
) -> None:
    """Add the true spread between athletes, and what a change is held against."""
    few = [
        v or ("" if n >= 2 else "fewer than 2 athletes with every session")
        for v, n in zip(void, ms.n, strict=True)
    ]
    variance = (ms.msr - ms.mse) / ms.k
    low, high = mls_limits([1 / ms.k, -1 / ms.k], [ms.msr, ms.mse], [ms.df_r, ms.df_e], rows.level)
    sd, low, high = (np.sqrt(np.maximum(x, 0.0)) for x in (variance, low, high))
    apart = (variance > 0) | (np.array(few, dtype=object) != "")
    text = np.where(apart, "", "estimated as 0: athletes differ no more than the noise")
    shared = {"n": ms.n, "df": ms.df_r, "df2": ms.df_e, "void": few, "reason": EXACT}
    rows.add("sd_between_athletes", sd, limits=(low, high), text=text,
             method="mean squares; interval Ting et al. 1990", **shared)  # fmt: skip
    no = [f or ("" if a else _NOT_SEPARABLE) for f, a in zip(few, apart, strict=True)]
    where = "of all athletes; strata such as sex inflate it"
    if pooled is not None:
        sd, low, high, where = pooled
        no = [f or ("" if s > 0 else _NOT_SEPARABLE) for f, s in zip(few, sd, strict=True)]
    rows.add("smallest_worthwhile_change", 0.2 * sd, limits=(0.2 * low, 0.2 * high),
             **{**shared, "void": no}, method=f"0.2 × true SD between athletes, {where}",
             text="arbitrary: state a change that matters in the metric's unit instead")  # fmt: skip
    _noise_ratio(rows, ms, no)
    rows.add("change_that_matters", np.asarray(matters, float), interval=False,
             method="declared", reason="none was declared")  # fmt: skip


def _noise_ratio(rows: Rows, ms: MeanSquares, void: list[str]) -> None:
    """Typical error / 0.2 SD depends on F = MSR / MSE alone, so its interval is exact."""
    f = ratio(ms.msr, ms.mse)
    upper = 0.5 + rows.level / 2
    large = f * f_quantile(upper, ms.df_e, ms.df_r)
    small = ratio(f, f_quantile(upper, ms.df_r, ms.df_e))

    def noise(x: Array) -> Array:
        return np.where(x > 1, 5 * np.sqrt(ratio(ms.k, np.maximum(x - 1, 1e-300))), np.nan)

    value = np.where(np.isposinf(f), 0.0, noise(np.where(np.isposinf(f), 2.0, f)))
    rows.add(
        "typical_error_to_worthwhile",
        value,
        limits=(noise(np.where(np.isfinite(large), large, np.nan)), noise(small)),
        n=ms.n,
        df=ms.df_r,
        df2=ms.df_e,
        unit="",
        method="5 √((1 - ICC) / ICC) of ICC(C,1), exact F",
        void=void,
        reason="the lower limit of ICC(C,1) is not above 0, so there is no upper limit",
    )
