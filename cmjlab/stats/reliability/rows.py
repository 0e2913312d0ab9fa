"""Rows of intraclass correlations, session changes, limits of agreement and spread."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

import numpy as np
from numpy.typing import NDArray

from cmjlab.results import Reason
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
from cmjlab.stats.common.rows import Place
from cmjlab.stats.reliability import icc as icc
from cmjlab.stats.reliability.agreement import difference_moments, limits_of_agreement
from cmjlab.stats.reliability.data import Cube
from cmjlab.stats.reliability.missing import consistency_missing
from cmjlab.stats.reliability.pivotal import agreement_limits
from cmjlab.stats.reliability.reasons import (
    NOISE_ZERO,
    NOT_SEPARABLE,
    Why,
    few_complete,
    first_of,
    reasons_where,
)

#: Kinds of interval of an ICC: as published, from all values where some are missing, and of
#: ICC(A,1) for sessions as a sample or for just these sessions.
PUBLISHED, ALL_VALUES = "mcgraw_wong", "exact_f_all_values"
RANDOM, FIXED = "pivotal_sessions_sample", "fiducial_these_sessions"


Bools = NDArray[np.bool_]


def published_rows(
    place: Place, ms: MeanSquares, void: Why, *, leads: Mapping[str, Bools] | None = None
) -> Why:
    """Add the six forms with published intervals; return why none can be had, per metric.

    Parameters
    ----------
    place : Place
        All metrics side by side.
    ms : MeanSquares
    void : list of Reason or None
        Why nothing can be had, per metric.
    leads : mapping of statistic to array of bool, optional
        Forms whose published interval does not lead for every metric.
    """
    few = first_of(void, few_complete(ms.n))
    single = {
        "icc_1": icc.one_way(ms, place.level),
        "icc_a1": icc.agreement(ms, place.level),
        "icc_c1": icc.consistency(ms, place.level),
    }
    forms = single | {_of_mean(key): value.of_mean(ms.k) for key, value in single.items()}
    for key, value in forms.items():
        finite = np.isfinite(value.f)
        _icc(
            place,
            key,
            value.estimate,
            (value.low, value.high),
            void=few,
            n=ms.n,
            df=value.df1,
            df2=value.df2,
            test_value=np.where(finite, value.f, np.nan),
            p=np.where(finite, value.p, np.nan),
            estimator="mean_squares",
            interval_kind=PUBLISHED,
            leads=(leads or {}).get(key, True),
        )
    return few


def _of_mean(form: str) -> str:
    """Return the form of the mean of k sessions: icc_a1 -> icc_ak, icc_1 -> icc_1k."""
    return "icc_1k" if form == "icc_1" else f"{form[:-1]}k"


def icc_rows(place: Place, data: Cube, ms: MeanSquares, void: Why, *, gaps: bool) -> None:
    """Add every ICC: published intervals first, then ours under another kind of interval.

    Of the intervals of ICC(A,1) the one for these sessions leads where it exists: the published
    one is too narrow when sessions differ. With ``gaps`` the ICC from all values stands beside.
    """
    point = icc.agreement_point(ms)
    limits = {
        kind: agreement_limits(ms, place.level, fixed=kind == FIXED) for kind in (RANDOM, FIXED)
    }
    answers: dict[str, dict[str, tuple[Array, tuple[Array, Array]]]] = {"icc_a1": {}, "icc_ak": {}}
    for kind, (low, high) in limits.items():
        of_mean = [spearman_brown(x, ms.k) for x in (point, low, high)]
        answers["icc_a1"][kind] = (point, (low, high))
        answers["icc_ak"][kind] = (of_mean[0], (of_mean[1], of_mean[2]))
    ours = {key: _has_interval(*found[FIXED]) for key, found in answers.items()}
    few = published_rows(place, ms, void, leads={key: ~mine for key, mine in ours.items()})
    for kind in limits:
        for key, found in answers.items():
            leads = ours[key] & (kind == FIXED)
            _icc(place, key, *found[kind], void=few, n=ms.n, estimator="mean_squares",
                 interval_kind=kind, leads=leads)  # fmt: skip
    if gaps:
        _gaps(place, data, ms, void)


def _gaps(place: Place, data: Cube, ms: MeanSquares, void: Why) -> None:
    """Add ICC(C,1) and its mean form from all values, athletes with gaps included."""
    estimate, low, high = consistency_missing(data.values, place.level)
    n = np.isfinite(data.values).any(axis=-1).sum(axis=-1)
    exact = (ms.mse == 0) & np.isnan(estimate)
    estimate = np.where(exact, 1.0, estimate)
    mean = [spearman_brown(x, data.k) for x in (estimate, low, high)]
    for key, (value, *limits) in {"icc_c1": (estimate, low, high), "icc_ck": tuple(mean)}.items():
        _icc(place, key, value, (limits[0], limits[1]), void=void, n=n, estimator="all_values",
             interval_kind=ALL_VALUES, leads=False)  # fmt: skip


def _within(estimate: Array) -> Bools:
    """Return where an ICC lies within [-1, 1]; beyond it an estimate has no meaning."""
    return (estimate >= -1 - 1e-12) & (estimate <= 1 + 1e-12)


def _has_interval(estimate: Array, limits: tuple[Array, Array]) -> Bools:
    low, high = limits
    fine = np.isfinite(low) & np.isfinite(high) & ~((low == 1) & (high == 1))
    return np.asarray(_within(estimate) & fine)


def _icc(
    place: Place, key: str, estimate: Array, limits: tuple[Array, Array], **columns: Any
) -> None:
    """Add one ICC within [-1, 1]; a limit beyond is cut, and said to be.

    Pivotal limits of few athletes can miss the estimate from mean squares; the interval is then
    widened to hold it.
    """
    below = limits[1] <= -1
    low, high = (f(x, estimate) for f, x in zip((np.minimum, np.maximum), limits, strict=True))
    within = _within(estimate)
    cut = within & (low < -1)
    remarks: Why = [
        Reason("not_separable_and_cut" if c else "not_separable") if e else
        Reason("limit_cut") if c else None
        for e, c in zip(estimate <= 0, cut, strict=True)
    ]  # fmt: skip
    # No noise at all: the number stands, an interval without width would claim too much.
    sure = within & (low == 1) & (high == 1)
    low, high = (np.where(sure | below, np.nan, np.clip(x, -1, 1)) for x in (low, high))
    why = reasons_where(within, NOISE_ZERO, NOT_SEPARABLE)
    place.add(
        key,
        np.where(within, np.clip(estimate, -1, 1), np.nan),
        limits=(low, high),
        reason=first_of(reasons_where(within & below, Reason("icc_interval_below"), None), why),
        remark=remarks,
        **columns,
    )


def session_rows(place: Place, data: Cube, logs: Array, void: Why, percent: Why) -> None:
    """Add the change from session to session, and from first to last, in units and percent."""
    for later, earlier in session_pairs(data.k):
        pair = place.at(first=data.sessions[later], second=data.sessions[earlier])
        _change(pair, "session_change", _between(data.values, later, earlier), void)
        _change(pair, "session_change_percent", _between(logs, later, earlier), percent)


def _between(values: Array, later: int, earlier: int) -> Array:
    return values[:, :, later] - values[:, :, earlier]


def session_pairs(k: int) -> list[tuple[int, int]]:
    """Return (later, earlier) of consecutive sessions, and of last and first if k > 2."""
    pairs = [(j + 1, j) for j in range(k - 1)]
    return [*pairs, (k - 1, 0)] if k > 2 else pairs


def _few_pairs(n: Array) -> Why:
    """Return why a pair of sessions gives no number, or a number without interval."""
    return reasons_where(n > 1, NOISE_ZERO, Reason("few_repeats", {"needed": 2}))


def _change(pair: Place, key: str, difference: Array, void: Why) -> None:
    n, mean, sd = difference_moments(difference)
    se = sd / np.sqrt(np.maximum(n, 1))
    mean = np.where(n > 1, mean, np.nan)
    low, high = mean_limits(mean, np.where(se > 0, se, np.nan), n - 1, pair.level)
    t = np.where(se > 0, ratio(mean, se), np.nan)
    p = t_tail(t, n - 1)
    logs = key.endswith("percent")
    if logs:
        mean, low, high = (100 * np.expm1(x) for x in (mean, low, high))
    pair.add(
        key,
        mean,
        limits=(low, high),
        n=n,
        df=np.where(n > 1, n - 1, np.nan),
        se=np.nan if logs else se,
        test_value=t,
        p=p,
        estimator="paired_differences_of_logs" if logs else "paired_differences",
        interval_kind="t",
        void=void,
        reason=_few_pairs(n),
    )


def session_f_row(place: Place, ms: MeanSquares, void: Why) -> None:
    """Add the F of sessions: do the session means differ more than the noise explains."""
    f = ratio(ms.msc, ms.mse)
    f = np.where(np.isfinite(f), f, np.nan)
    place.add(
        "session_f",
        f,
        df=ms.df_c,
        df2=ms.df_e,
        n=ms.n,
        test_value=f,
        p=f_tail(f, ms.df_c, ms.df_e),
        estimator="f_of_sessions",
        void=first_of(void, few_complete(ms.n)),
        reason=Reason("no_noise_to_test"),
        remark=Reason("sphericity_assumed") if ms.k > 2 else None,
    )


def agreement_rows(place: Place, data: Cube, logs: Array, void: Why, percent: Why) -> None:
    """Add limits of agreement of consecutive sessions, in units and as percent from logs."""
    for later in range(1, data.k):
        pair = place.at(first=data.sessions[later], second=data.sessions[later - 1])
        difference = _between(data.values, later, later - 1)
        _limits(pair, difference, void, suffix="")
        _limits(pair, _between(logs, later, later - 1), percent, suffix="_percent")
        if data.k > 2:
            _pair_noise(pair, difference, void)


def _limits(pair: Place, difference: Array, void: Why, *, suffix: str) -> None:
    for together in (False, True):
        part = limits_of_agreement(difference, level=pair.level, pair=together)
        sure = part.sd == 0
        for name in ("lower", "upper"):
            numbers = [
                np.where(sure, np.nan, getattr(part, f"{name}_{end}")) for end in ("low", "high")
            ]
            estimate = getattr(part, name)
            if suffix:
                estimate, *numbers = (100 * np.expm1(x) for x in (estimate, *numbers))
            pair.add(
                f"limit_{name}{suffix}",
                estimate,
                limits=(numbers[0], numbers[1]),
                n=part.n,
                df=np.where(part.n > 1, part.n - 1, np.nan),
                estimator="mean_and_sd",
                interval_kind="tolerance_pair" if together else "tolerance",
                void=void,
                reason=reasons_where(sure, NOISE_ZERO, Reason("few_repeats", {"needed": 2})),
                leads=not together,
            )


def _pair_noise(pair: Place, difference: Array, void: Why) -> None:
    n, _, sd = difference_moments(difference)
    te = sd / np.sqrt(2)
    pair.add(
        "typical_error_pair",
        te,
        limits=sd_limits(np.where(te > 0, te, np.nan), n - 1, pair.level),
        n=n,
        df=np.where(n > 1, n - 1, np.nan),
        estimator="sd_of_differences",
        interval_kind="chi_square",
        void=void,
        reason=_few_pairs(n),
        remark=Reason("noisier_first_pair"),
    )


def between_rows(
    place: Place,
    ms: MeanSquares,
    void: Why,
    matters: Sequence[float],
    pooled: tuple[str, Array, Array, Array] | None,
) -> None:
    """Add the true spread between athletes, and what a change is held against.

    Parameters
    ----------
    place : Place
    ms : MeanSquares
    void : list of Reason or None
    matters : sequence of float
        Declared change that matters per metric, nan when none was.
    pooled : (column, SD, low, high), optional
        True spread within the strata of a column.
    """
    few = first_of(void, few_complete(ms.n))
    variance = (ms.msr - ms.mse) / ms.k
    low, high = mls_limits([1 / ms.k, -1 / ms.k], [ms.msr, ms.mse], [ms.df_r, ms.df_e], place.level)
    below = high <= 0
    sd, low, high = (np.sqrt(np.maximum(x, 0.0)) for x in (variance, low, high))
    place = place.at(n=ms.n, df=ms.df_r, df2=ms.df_e)
    bounds = (np.where(below, np.nan, low), np.where(below, np.nan, high))
    place.add("sd_between_athletes", sd, limits=bounds, void=few,
              reason=reasons_where(below, Reason("interval_below_zero"), NOISE_ZERO),
              remark=reasons_where(variance > 0, None, Reason("no_spread_between")),
              estimator="mean_squares", interval_kind="mls")  # fmt: skip
    if pooled is not None:
        _, sd, low, high = pooled
        no = first_of(few, reasons_where(sd > 0, None, NOT_SEPARABLE))
    else:
        no = first_of(few, reasons_where(variance > 0, None, NOT_SEPARABLE))
    declared = np.isfinite(np.asarray(matters, float))
    place.add("smallest_worthwhile_change", 0.2 * sd, limits=(0.2 * low, 0.2 * high), void=no,
              reason=NOISE_ZERO, remark=Reason("arbitrary_change"), leads=~declared,
              estimator="fifth_of_spread_within" if pooled else "fifth_of_spread",
              words={"column": pooled[0]} if pooled else {}, interval_kind="mls")  # fmt: skip
    _noise_ratio(place, ms, no)
    place.at(n=None, df=None, df2=None).add(
        "change_that_matters", np.asarray(matters, float), estimator="declared",
        reason=Reason("none_declared"), leads=declared)  # fmt: skip


def _noise_ratio(place: Place, ms: MeanSquares, void: Why) -> None:
    """Typical error / 0.2 SD depends on F = MSR / MSE alone, so its interval is exact."""
    f = ratio(ms.msr, ms.mse)
    upper = 0.5 + place.level / 2
    large = f * f_quantile(upper, ms.df_e, ms.df_r)
    small = ratio(f, f_quantile(upper, ms.df_r, ms.df_e))

    def noise(x: Array) -> Array:
        return np.where(x > 1, 5 * np.sqrt(ratio(ms.k, np.maximum(x - 1, 1e-300))), np.nan)

    value = np.where(np.isposinf(f), 0.0, noise(np.where(np.isposinf(f), 2.0, f)))
    place.add(
        "typical_error_to_worthwhile",
        value,
        limits=(noise(np.where(np.isfinite(large), large, np.nan)), noise(small)),
        estimator="from_icc_c1",
        interval_kind="exact_f",
        void=void,
        reason=Reason("icc_limit_below_zero"),
    )
