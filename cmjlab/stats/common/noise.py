"""The noise of one athlete's change: from typical errors, or from components when jumps differ.

A change between two sessions has the error of both: √2 · TE, √1.5 · TE when two baselines
are averaged. TE belongs to a mean of as many jumps as the reliability sessions had. When
the number of jumps differs, the components count:
SE = √(σ²_days (1/k₁ + 1/k₂) + σ²_jumps (1/m₁ + 1/m₂)), df by Satterthwaite; TE/√m is wrong.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from functools import lru_cache
from typing import Any

import numpy as np
from numpy.typing import NDArray
from scipy import special

from cmjlab.checks import shown
from cmjlab.errors import StatsError
from cmjlab.results import Reason, Result, stored_reason
from cmjlab.stats.common.intervals import gauss_legendre

Array = NDArray[np.float64]


@dataclass(frozen=True)
class Noise:
    """Typical error of a session value and its df; components when they are known."""

    typical_error: float
    df: float
    between_days: float = float("nan")
    days_df: float = float("nan")
    between_jumps: float = float("nan")
    jumps_df: float = float("nan")
    source: str = "given"

    @property
    def has_components(self) -> bool:
        """Whether day and jump components are known with their df."""
        parts = (self.between_days, self.days_df, self.between_jumps, self.jumps_df)
        return all(np.isfinite(p) for p in parts) and self.days_df > 0 and self.jumps_df > 0

    def change_se(self, sessions_before: int, sessions_after: int) -> tuple[float, float]:
        """Return the standard error of a change between two means of sessions, and its df."""
        factor = np.sqrt(1.0 / sessions_before + 1.0 / sessions_after)
        return float(self.typical_error * factor), self.df

    def change_se_from_jumps(self, jumps_before: Array, jumps_after: Array) -> tuple[float, float]:
        """Return the standard error from components, for jumps per session, and its df.

        Parameters
        ----------
        jumps_before, jumps_after : arrays of int
            Number of jumps in each session that is averaged.
        """
        sessions = 1.0 / len(jumps_before) + 1.0 / len(jumps_after)
        jumps = (1.0 / jumps_before).sum() / len(jumps_before) ** 2
        jumps += (1.0 / jumps_after).sum() / len(jumps_after) ** 2
        variance = sessions * self.between_days**2 + jumps * self.between_jumps**2
        return float(np.sqrt(variance)), float(self._components_df(variance, sessions, jumps))

    def _components_df(self, variance: float, sessions: float, jumps: float) -> float:
        """Return Satterthwaite df of sessions · σ²_days + jumps · σ²_jumps.

        The day component is a difference of mean squares and no chi-square itself. TE² =
        σ²_days + σ²_jumps / m (m jumps in the reliability sessions) is one, so the variance is
        written as sessions · TE² + (jumps - sessions / m) · σ²_jumps.
        """
        shared = self.typical_error**2 - self.between_days**2
        if shared <= 0:
            days_part = sessions * self.between_days**2
            jumps_part = jumps * self.between_jumps**2
            bottom = days_part**2 / self.days_df + jumps_part**2 / self.jumps_df
            return variance**2 / bottom
        one_over_m = shared / self.between_jumps**2
        whole = sessions * self.typical_error**2
        more = (jumps - sessions * one_over_m) * self.between_jumps**2
        return variance**2 / (whole**2 / self.df + more**2 / self.jumps_df)


def noise_of(reliability: Any, metric: str) -> Noise:
    """Return the noise of one metric from a reliability Result or a plain mapping.

    Parameters
    ----------
    reliability : Result, or mapping of metric to (typical error, df)
    metric : str

    Raises
    ------
    StatsError
        When the metric is missing, or its typical error is not a positive number.
    """
    found = noise_or_reason(reliability, metric)
    if isinstance(found, Reason):
        raise StatsError(no_noise_text(metric, found))
    return found


def noise_or_reason(reliability: Any, metric: str) -> Noise | Reason:
    """Return the noise of one metric as :func:`noise_of` does, or why there is none.

    Raises
    ------
    StatsError
        When ``reliability`` is neither a Result nor a mapping of pairs.
    """
    if isinstance(reliability, Result):
        return _from_result(reliability, metric)
    if not isinstance(reliability, Mapping):
        raise StatsError(
            "reliability: a Result of cmjlab.reliability, or a mapping metric -> (typical error, df)"
            f" is needed, found {shown(reliability)}."
        )
    if metric not in reliability:
        return Reason("noise_not_given", {"metric": metric, "given": list(map(str, reliability))})
    try:
        error, df = (float(v) for v in reliability[metric])
    except (TypeError, ValueError):
        raise StatsError(
            f"reliability: {metric} needs (typical error, degrees of freedom), found"
            f" {shown(reliability[metric])}."
        ) from None
    return _usable(Noise(error, df), metric)


def no_noise_text(metric: str, why: Reason) -> str:
    """Return the message of an error that no noise of a metric is known."""
    return f"reliability: no typical error for {metric}: {why}."


def _from_result(result: Result, metric: str) -> Noise | Reason:
    rows = result.rows("typical_error", metric=metric)
    known = rows[rows["estimate"].notna() & rows["df"].notna()]
    whole = known[known["group"].isna()] if known["group"].isna().any() else known
    if len(whole) == 0:
        found = (stored_reason(row) for row in rows.to_dict("records"))
        return next(filter(None, found), Reason("noise_not_measured", {"metric": metric}))
    if len(whole) > 1 and whole["group"].notna().any():
        return Reason("noise_in_strata", {"metric": metric, "strata": list(whole["group"])})
    row = whole.iloc[0]
    days, jumps = (
        _component(result, name, metric) for name in ("sd_between_days", "sd_between_jumps")
    )
    return _usable(
        Noise(float(row["estimate"]), float(row["df"]), *days, *jumps, "reliability"), metric
    )


def _component(result: Result, statistic: str, metric: str) -> tuple[float, float]:
    rows = result.rows(statistic, metric=metric)
    rows = rows[rows["estimate"].notna() & rows["df"].notna()]
    if len(rows) != 1:
        return float("nan"), float("nan")
    return float(rows["estimate"].iloc[0]), float(rows["df"].iloc[0])


def _usable(noise: Noise, metric: str) -> Noise | Reason:
    if np.isfinite(noise.typical_error) and noise.typical_error > 0 and noise.df >= 1:
        return noise
    given = {"metric": metric, "error": noise.typical_error, "df": noise.df}
    return Reason("noise_not_usable", given)


@lru_cache(maxsize=1024)
def maximum_modulus(level: float, count: int, df: float) -> float:
    """Return the multiplier so that ``count`` independent intervals with one error all hold.

    Quantile of the studentised maximum modulus, by quadrature and bisection. With count 1 it
    is the t quantile.
    """
    nodes, weights = gauss_legendre(96)
    spread = 14.0 / np.sqrt(2.0 * df)
    low_s, high_s = max(1e-9, 1.0 - spread), 1.0 + spread
    s = low_s + (high_s - low_s) * (nodes + 1) / 2
    log_density = 0.5 * df * np.log(df) - special.gammaln(df / 2) - (df / 2 - 1) * np.log(2.0)
    log_density = log_density + (df - 1) * np.log(s) - df * s**2 / 2
    density = np.exp(log_density) * weights * (high_s - low_s) / 2
    low, high = 0.0, float(special.stdtrit(df, 1 - (1 - level) / (2 * count))) + 1.0
    for _ in range(60):
        middle = (low + high) / 2
        covered = float(density @ (2 * special.ndtr(middle * s) - 1) ** count)
        low, high = (middle, high) if covered < level else (low, middle)
    return (low + high) / 2
