"""Rows and sentences of a lab's truth: bias and spread of the instrument, and its share of the noise."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np

from cmjlab.results import Reason, Result, Sentence, stored_reason
from cmjlab.scrutiny.lab.errors import MetricErrors
from cmjlab.scrutiny.lab.noise_share import MeanSquare, share_of
from cmjlab.stats.common.intervals import mean_limits, mls_limits, sd_limits
from cmjlab.stats.common.rows import Place, Rows

#: Statistics that need exact truth.
_OF_ERRORS = ("instrument_bias", "instrument_sd", "instrument_share_of_jumps", "instrument_share",
              "biology_sd")  # fmt: skip


@dataclass(frozen=True)
class Noise:
    """What the athletes show of one metric.

    Attributes
    ----------
    between_sessions : MeanSquare or Reason
        Variance of a session's value from session to session (typical error²), or why there is none.
    between_jumps : MeanSquare or Reason
        Variance from jump to jump within a session.
    kept : float
        Which part of a single jump's variance is in a session's value.
    """

    between_sessions: MeanSquare | Reason
    between_jumps: MeanSquare | Reason
    kept: float


def noise_of(reliability: Result | None, metric: str, kept: float) -> Noise:
    """Return the noise of one metric from a result of reliability, None: there is none."""
    why = Reason("lab_no_second_session")
    if reliability is None:
        return Noise(why, Reason("lab_no_jumps"), kept)
    return Noise(
        _mean_square(reliability, "typical_error", metric, why),
        _mean_square(reliability, "sd_between_jumps", metric, Reason("lab_no_jumps")),
        kept,
    )


def _mean_square(result: Result, statistic: str, metric: str, why: Reason) -> MeanSquare | Reason:
    rows = result.rows(statistic, metric=metric)
    rows = rows[rows["group"].isna()]
    if rows.empty:
        return why
    row = rows.iloc[0].to_dict()
    if not (row["estimate"] > 0 and row["df"] > 0):
        return stored_reason(row) or why
    return MeanSquare(float(row["estimate"]) ** 2, float(row["df"]))


def add_rows(rows: Rows, metric: str, errors: MetricErrors | None, noise: Noise) -> None:
    """Add all rows of one metric."""
    place = rows.at(metric=metric)
    if errors is None:
        for statistic in _OF_ERRORS:
            place.none(statistic, Reason("lab_no_truth"))
        return
    place = place.at(n=errors.n - errors.n_missing)
    _bias_row(place, errors)
    spread, df = errors.scatter
    none = Reason("lab_one_recording")
    low, high = sd_limits(spread**0.5, df, place.level)
    place.add(
        "instrument_sd", spread**0.5, limits=(low, high), df=df, se=_se_of_sd(errors.scatter),
        estimator="simulated_recordings", interval_kind="chi_square", reason=none,
    )  # fmt: skip
    _share_row(place, "instrument_share_of_jumps", errors.scatter, noise.between_jumps, 1.0)
    _share_row(place, "instrument_share", errors.scatter, noise.between_sessions, noise.kept)
    _biology_row(place, errors.scatter, noise)


def _bias_row(place: Place, errors: MetricErrors) -> None:
    df = errors.profiles - 1.0
    low, high = mean_limits(errors.bias, errors.bias_se, df, place.level)
    place.add(
        "instrument_bias", errors.bias, limits=(low, high), df=df, se=errors.bias_se,
        estimator="simulated_recordings", interval_kind="t_over_profiles",
        reason=Reason("lab_one_profile"),
    )  # fmt: skip


def _share_row(
    place: Place, statistic: str, part: MeanSquare, whole: MeanSquare | Reason, weight: float
) -> None:
    """Add a share with its F limits; none where it would be more than everything."""
    if isinstance(whole, Reason):
        place.none(statistic, whole)
        return
    share, low, high = (100 * x for x in share_of(part, whole, weight, place.level))
    if share > 100:
        place.none(statistic, Reason("lab_more_than_all", {"share": share, "low": low}))
        return
    remark = Reason("lab_limit_above_all") if high > 100 else None
    place.add(
        statistic, share, limits=(low, high), df=part.df, estimator="instrument_by_test",
        interval_kind="f_of_two", reason=Reason("lab_one_recording"), remark=remark,
    )  # fmt: skip


def _biology_row(place: Place, part: MeanSquare, noise: Noise) -> None:
    """Add what is left of the typical error when the instrument's part is taken off."""
    whole = noise.between_sessions
    if isinstance(whole, Reason):
        place.none("biology_sd", whole)
        return
    left = whole.variance - noise.kept * part.variance
    if left <= 0:
        share = 100 * noise.kept * part.variance / whole.variance
        place.none("biology_sd", Reason("lab_more_than_all", {"share": share}))
        return
    low, high = mls_limits(
        [1.0, -noise.kept], [whole.variance, part.variance], [whole.df, part.df], place.level
    )
    place.add(
        "biology_sd", left**0.5, limits=(np.sqrt(np.maximum(low, 0.0)), np.sqrt(np.maximum(high, 0.0))),
        df=whole.df, estimator="test_without_instrument", interval_kind="modified_large_sample",
        reason=Reason("lab_one_recording"),
    )  # fmt: skip


def _se_of_sd(square: MeanSquare) -> float:
    return float((square.variance / (2 * square.df)) ** 0.5)


def metric_sentences(rows: Rows, metric: str, errors: MetricErrors | None) -> list[Sentence]:
    """Return what is said about one metric."""
    bias, spread, share = (
        rows.first(s, metric=metric)
        for s in ("instrument_bias", "instrument_sd", "instrument_share")
    )
    out = []
    if errors is not None and bias is not None and spread is not None:
        values: dict[str, Any] = {
            "bias": bias["estimate"], "low": bias["ci_low"], "high": bias["ci_high"],
            "sd": spread["estimate"], "cause": f"cause_{errors.cause}",
            "r2": errors.cause_r2,
        }  # fmt: skip
        key = "lab_truth.errors_from" if errors.cause else "lab_truth.errors"
        out.append(Sentence(key, metric, values=values))
    if share is not None and np.isfinite(share["estimate"]):
        values = {
            k: share[c] for k, c in (("share", "estimate"), ("low", "ci_low"), ("high", "ci_high"))
        }
        out.append(Sentence("lab_truth.share", metric, values=values))
    elif share is not None:
        out.append(Sentence("lab_truth.no_share", metric, values={"why": share["reason"]}))
    return out
