"""The rule by which a metric may be pooled, and the verdict by it."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from cmjlab.results import Reason
from cmjlab.scrutiny.pool.conversion import Conversion, Left
from cmjlab.scrutiny.pool.structural_line import Line
from cmjlab.settings import Settings, setting
from cmjlab.stats.common.intervals import mean_limits, mls_limits

AS_IT_IS, AFTER, NOT = "as_it_is", "after_conversion", "do_not_pool"
#: A slope is looked at over so many SDs to either side of the squad's mean.
_REACH = 2.0


@dataclass(frozen=True, eq=False)
class PoolRule(Settings):
    """When values of two plates or methods may stand in one table.

    Examples
    --------
    >>> import cmjlab as cj
    >>> cj.PoolRule(allowed_percent=5.0)
    PoolRule(allowed_percent=5.0)
    >>> cj.PoolRule().allowed_percent
    10.0
    """

    allowed_percent: float = setting(
        10.0,
        "share of the typical error's variance that pooling may add; 10 % makes a typical error"
        " 5 % larger",
        unit="%",
        low=0.1,
        high=100.0,
        source="our own choice; no paper prescribes it",
    )
    error_ratio: float = setting(
        1.0,
        "variance of the errors of the first by that of the second: 1 for plates or methods of one"
        " kind; 0: the first is exact; 1000000: the second is (least squares)",
        low=0.0,
        high=1e6,
    )
    jumps: int = setting(
        0, "jumps of a session's value; 0: as the data have them (median)", low=0, high=50
    )


@dataclass(frozen=True)
class Yardstick:
    """What an error of conversion is held against.

    Attributes
    ----------
    variance : float
        Variance of a session's value without any change; nan: nobody knows it.
    source : str
        "typical_error", or "jumps": noise within a session by the jumps of a value.
    """

    variance: float
    source: str


@dataclass(frozen=True)
class Verdict:
    """Whether a metric can be pooled.

    Attributes
    ----------
    key : str
        "as_it_is", "after_conversion", "do_not_pool"; "" when there is nothing to judge it by.
    why : Reason or None
        Why not.
    as_it_is, as_it_is_low, as_it_is_high : float
        Error variance added without conversion in percent of the yardstick, with limits.
    converted, converted_low, converted_high : float
        The same with conversion.
    """

    key: str
    why: Reason | None
    as_it_is: float
    as_it_is_low: float
    as_it_is_high: float
    converted: float
    converted_low: float
    converted_high: float


def slope_needed(line: Line | None, rule: PoolRule, yardstick: Yardstick, level: float) -> bool:
    """Return whether an offset alone would not do.

    It would not when the interval of the slope excludes 1, and the error that the offset leaves at
    two SDs from the squad's mean would add more than is allowed.
    """
    if line is None:
        return False
    low, high = line.slope_limits(level)
    if low <= 1.0 <= high:
        return False
    if not np.isfinite(yardstick.variance):
        return True
    left = (line.slope - 1.0) ** 2 * _REACH**2 * line.spread
    return bool(left > rule.allowed_percent / 100 * yardstick.variance)


def verdict_of(
    difference: Left,
    conversion: Conversion,
    line: Line | None,
    yardstick: Yardstick,
    rule: PoolRule,
    *,
    jumps: float,
    level: float,
) -> Verdict:
    """Return the verdict on one metric.

    Parameters
    ----------
    difference : Left
        Of second − first.
    conversion : Conversion
    line : Line or None
        Of the first on the second.
    yardstick : Yardstick
    rule : PoolRule
    jumps : float
        Jumps of a session's value.
    level : float

    Notes
    -----
    Judged is the upper limit: what the data do not rule out counts. Without conversion the error
    is bias² + what stays with an athlete + what is each jump's own by the jumps of a value.
    """
    if not yardstick.variance > 0:
        nothing = (float("nan"),) * 6
        return Verdict("", Reason("pool_no_noise"), *nothing)
    plain = tuple(100 * v / yardstick.variance for v in _plain(difference, jumps, level))
    made = (conversion.variance(jumps), *conversion.variance_limits(jumps, level))
    converted = tuple(100 * v / yardstick.variance for v in made)
    numbers = (*plain, *converted)
    allowed = rule.allowed_percent
    if plain[2] <= allowed:
        return Verdict(AS_IT_IS, None, *numbers)
    if line is not None and line.slope_limits(level)[0] <= 0 <= line.slope_limits(level)[1]:
        return Verdict(NOT, Reason("pool_no_relation"), *numbers)
    if converted[2] <= allowed:
        return Verdict(AFTER, None, *numbers)
    code = "pool_too_much" if converted[0] > allowed else "pool_not_shown"
    values = {"converted": converted[0], "high": converted[2], "allowed": allowed}
    return Verdict(NOT, Reason(code, values), *numbers)


def _plain(difference: Left, jumps: float, level: float) -> tuple[float, float, float]:
    """Return the error variance without conversion, with limits: those of its parts put together."""
    weights, squares, dfs = difference.weights(jumps)
    own = max(sum(w * s for w, s in zip(weights, squares, strict=True)), 0.0)
    low, high = (max(float(v), 0.0) for v in mls_limits(weights, squares, dfs, level))
    ends = mean_limits(difference.mean, difference.mean_variance**0.5, difference.df_between, level)
    far = max(abs(float(e)) for e in ends)
    near = 0.0 if float(ends[0]) <= 0 <= float(ends[1]) else min(abs(float(e)) for e in ends)
    return difference.mean**2 + own, near**2 + low, far**2 + high
