"""Contrasts per athlete, each tested against its own error.

The change of an athlete between two sessions is one number, so that athletes are the only
units and no model of the covariance between sessions is needed. The one-sample t of a
group's changes is exact under any covariance of normal values; the pooled two-sample t of
two groups is exact when their changes have equal variances, whatever the covariance between
sessions. Beside it stands the standard error that does not need equal variances: HC2 with
the degrees of freedom of Bell & McCaffrey (2002), Survey Methodology 28:169 (from memory).
"""

from __future__ import annotations

from collections.abc import Hashable, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy import special

from cmjlab.results import Reason
from cmjlab.stats.common.least_squares import Estimate

#: Spread below this part of the largest value is rounding, not variation.
ROUNDING = 1e-10


@dataclass(frozen=True)
class MeanChange:
    """A mean change, or a difference of two, with the athletes behind it.

    Attributes
    ----------
    estimate, se, df : float
        nan where it cannot be had.
    n : int
        Athletes used.
    reason : Reason or None
        Why a number is missing.
    """

    estimate: float
    se: float
    df: float
    n: int
    reason: Reason | None = None


def side_by_side(changes: Sequence[MeanChange]) -> Estimate:
    """Return many changes as one estimate of arrays."""
    return Estimate(*(np.array([getattr(c, f) for c in changes]) for f in ("estimate", "se", "df")))


def two_sided_p(t: float, df: float) -> float:
    """Return the two-sided p value of a t statistic, nan when it is not defined."""
    if not (np.isfinite(t) and df > 0):
        return np.nan
    return float(2.0 * special.stdtr(df, -abs(t)))


def is_constant(values: NDArray[np.float64], scale: float) -> bool:
    """Return whether values differ by rounding only, given the size of what was measured."""
    return bool(np.ptp(values) <= ROUNDING * scale) if values.size else True


def mean_of_changes(change: NDArray[np.float64], scale: float) -> MeanChange:
    """Return the mean change of one group with the exact one-sample t.

    Parameters
    ----------
    change : array, shape (n,)
        Change per athlete; nan is left out.
    scale : float
        Largest absolute value measured; decides what is rounding.
    """
    d = change[np.isfinite(change)]
    if d.size == 0:
        return MeanChange(np.nan, np.nan, np.nan, 0, Reason("nobody_in_both_sessions"))
    mean = float(d.mean())
    if d.size == 1:
        return MeanChange(mean, np.nan, np.nan, 1, Reason("one_athlete"))
    if is_constant(d, scale):
        return MeanChange(mean, np.nan, float(d.size - 1), d.size, Reason("same_change"))
    return MeanChange(mean, float(d.std(ddof=1) / np.sqrt(d.size)), float(d.size - 1), d.size)


@dataclass(frozen=True)
class TwoGroups:
    """Difference of two groups' means for many studies; arrays of shape (s,), nan if undefined."""

    value: NDArray[np.float64]
    pooled_se: NDArray[np.float64]
    pooled_df: NDArray[np.float64]
    separate_se: NDArray[np.float64]
    separate_df: NDArray[np.float64]


def two_groups(other: NDArray[np.float64], reference: NDArray[np.float64]) -> TwoGroups:
    """Return mean of one group minus mean of another with pooled and with separate variances.

    Parameters
    ----------
    other, reference : array, shape (s, n_1), (s, n_0)
        Studies × athletes; nan is left out.

    Notes
    -----
    With two groups and no covariate HC2 is s₁²/n₁ + s₀²/n₀. The degrees of freedom take equal
    variances as working model: (1/n₁ + 1/n₀)² / (1/(n₁²(n₁−1)) + 1/(n₀²(n₀−1))); they depend on
    the sizes alone.
    """
    (n1, m1, ss1), (n0, m0, ss0) = _moments(other), _moments(reference)
    free = n1 + n0 - 2.0
    both = (n1 > 0) & (n0 > 0)
    value = np.where(both, m1 - m0, np.nan)
    c1, c0 = 1.0 / np.maximum(n1, 1.0), 1.0 / np.maximum(n0, 1.0)
    pooled = (ss1 + ss0) / np.maximum(free, 1.0) * (c1 + c0)
    usable = both & (free > 0)
    two = (n1 > 1) & (n0 > 1)
    f1, f0 = np.maximum(n1 - 1.0, 1.0), np.maximum(n0 - 1.0, 1.0)
    separate = ss1 / f1 * c1 + ss0 / f0 * c0
    df = (c1 + c0) ** 2 / (c1**2 / f1 + c0**2 / f0)
    return TwoGroups(
        value,
        np.where(usable, np.sqrt(pooled), np.nan),
        np.where(usable, free, np.nan),
        np.where(two, np.sqrt(separate), np.nan),
        np.where(two, df, np.nan),
    )


def _moments(
    values: NDArray[np.float64],
) -> tuple[NDArray[np.float64], NDArray[np.float64], NDArray[np.float64]]:
    """Return count, mean and sum of squares about the mean along the last axis, nan left out."""
    seen = np.isfinite(values)
    count = seen.sum(axis=-1).astype(float)
    mean = np.where(seen, values, 0.0).sum(axis=-1) / np.maximum(count, 1.0)
    deviation = np.where(seen, values - mean[..., None], 0.0)
    return count, mean, (deviation**2).sum(axis=-1)


def difference_of_changes(
    other: NDArray[np.float64], reference: NDArray[np.float64], scale: float
) -> tuple[MeanChange, MeanChange]:
    """Return mean change of one group minus another: pooled t, and HC2 with Bell–McCaffrey df.

    Parameters
    ----------
    other, reference : array, shape (n_1,), (n_0,)
        Changes per athlete of the group and of its reference; nan is left out.
    scale : float
        Largest absolute value measured; decides what is rounding.
    """
    a, b = other[np.isfinite(other)], reference[np.isfinite(reference)]
    n = a.size + b.size
    found = two_groups(a[None], b[None])
    value, why = float(found.value[0]), None
    if min(a.size, b.size) == 0:
        why = Reason("group_without_both_sessions")
    elif n < 3:
        why = Reason("one_athlete_per_group")
    elif is_constant(a, scale) and is_constant(b, scale):
        why = Reason("same_change_in_groups")
    if why:
        none = MeanChange(value, np.nan, np.nan, n, why)
        return none, none
    pooled = MeanChange(value, float(found.pooled_se[0]), float(found.pooled_df[0]), n)
    few = Reason("two_in_each_group") if min(a.size, b.size) < 2 else None
    separate = float(found.separate_se[0]), float(found.separate_df[0])
    return pooled, MeanChange(value, *separate, n, few)


def holm(p: Sequence[float] | NDArray[np.float64]) -> NDArray[np.float64]:
    """Return p values adjusted by Holm (1979); nan stays nan and is not counted."""
    values = np.asarray(p, dtype=float)
    out = np.full(values.size, np.nan)
    known = np.flatnonzero(np.isfinite(values))
    order = known[np.argsort(values[known], kind="stable")]
    running = 0.0
    for rank, index in enumerate(order):
        running = max(running, min(1.0, (order.size - rank) * values[index]))
        out[index] = running
    return out


def holm_in_families(p: Sequence[float], families: Sequence[Hashable]) -> NDArray[np.float64]:
    """Return p values adjusted by Holm, each within the family that is named for it."""
    values, out = np.asarray(p, dtype=float), np.full(len(families), np.nan)
    for family in dict.fromkeys(families):
        members = [i for i, other in enumerate(families) if other == family]
        out[members] = holm(values[members])
    return out


def leave_one_out(
    other: NDArray[np.float64], reference: NDArray[np.float64] | None
) -> list[NDArray[np.float64]]:
    """Return the estimate without each athlete in turn; nan where it is not defined.

    Parameters
    ----------
    other : array, shape (n_1,)
        Changes of the group; nan where an athlete has none (leaving that one out gives nan).
    reference : array, shape (n_0,), optional
        Changes of the reference group; None for the mean change of one group.

    Returns
    -------
    list of array
        One array per group, in the order of the arguments.
    """
    parts = [other] if reference is None else [other, reference]
    moments = [_moments(x) for x in parts]
    signs = (1.0, -1.0)
    if any(float(count) < 2 for count, _, _ in moments):
        return [np.full(x.shape, np.nan) for x in parts]
    total = sum(s * float(mean) for s, (_, mean, _) in zip(signs, moments, strict=False))
    return [
        np.asarray(total + s * (float(mean) - x) / (float(count) - 1.0))
        for s, x, (count, mean, _) in zip(signs, parts, moments, strict=False)
    ]
