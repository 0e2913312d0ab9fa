"""Contrasts per athlete, each tested against its own error.

The change of an athlete between two sessions is one number, so that athletes are the only
units and no model of the covariance between sessions is needed. The one-sample t of a
group's changes is exact under any covariance of normal values; the pooled two-sample t of
two groups is exact when their changes have equal variances, whatever the covariance between
sessions. Beside it stands the standard error that does not need equal variances: HC2 with
the degrees of freedom of Bell & McCaffrey (2002), Survey Methodology 28:169 (from memory).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray
from scipy import special

#: Spread below this part of the largest value is rounding, not variation.
ROUNDING = 1e-10


@dataclass(frozen=True)
class Estimate:
    """One estimate with its t interval; nan fields come with a reason in ``text``."""

    estimate: float
    se: float
    df: float
    n: int
    text: str = ""

    @property
    def test_value(self) -> float:
        """Estimate / standard error."""
        return self.estimate / self.se if self.se > 0 else np.nan

    @property
    def p(self) -> float:
        """Two-sided p value of the t distribution with ``df`` degrees of freedom."""
        return two_sided_p(self.test_value, self.df)

    def limits(self, level: float) -> tuple[float, float]:
        """Return the two-sided t interval."""
        if not (self.se > 0 and self.df > 0):
            return np.nan, np.nan
        half = float(special.stdtrit(self.df, 0.5 + level / 2)) * self.se
        return self.estimate - half, self.estimate + half

    def row(self, level: float) -> dict[str, Any]:
        """Return the number columns of the statistics table."""
        low, high = self.limits(level)
        return {
            "estimate": self.estimate,
            "ci_low": low,
            "ci_high": high,
            "level": level,
            "n": self.n,
            "df": self.df,
            "se": self.se,
            "test_value": self.test_value,
            "p": self.p,
            "text": self.text,
        }


def two_sided_p(t: float, df: float) -> float:
    """Return the two-sided p value of a t statistic, nan when it is not defined."""
    if not (np.isfinite(t) and df > 0):
        return np.nan
    return float(2.0 * special.stdtr(df, -abs(t)))


def is_constant(values: NDArray[np.float64], scale: float) -> bool:
    """Return whether values differ by rounding only, given the size of what was measured."""
    return bool(np.ptp(values) <= ROUNDING * scale) if values.size else True


def mean_of_changes(change: NDArray[np.float64], scale: float) -> Estimate:
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
        return Estimate(np.nan, np.nan, np.nan, 0, "not estimable: no athlete has both sessions")
    mean = float(d.mean())
    if d.size == 1:
        why = "interval not estimable: one athlete only"
        return Estimate(mean, np.nan, np.nan, 1, why)
    if is_constant(d, scale):
        why = "interval not estimable: every athlete changed by the same amount (no variance)"
        return Estimate(mean, np.nan, float(d.size - 1), d.size, why)
    return Estimate(mean, float(d.std(ddof=1) / np.sqrt(d.size)), float(d.size - 1), d.size)


def difference_of_changes(
    other: NDArray[np.float64], reference: NDArray[np.float64], scale: float
) -> tuple[Estimate, Estimate]:
    """Return mean change of one group minus another: pooled t, and HC2 with Bell–McCaffrey df.

    Parameters
    ----------
    other, reference : array, shape (n_1,), (n_0,)
        Changes per athlete of the group and of its reference; nan is left out.
    scale : float
        Largest absolute value measured; decides what is rounding.

    Notes
    -----
    With two groups and no covariate HC2 is s₁²/n₁ + s₀²/n₀. The degrees of freedom take equal
    variances as working model: (1/n₁ + 1/n₀)² / (1/(n₁²(n₁−1)) + 1/(n₀²(n₀−1))); they depend on
    the sizes alone.
    """
    a, b = other[np.isfinite(other)], reference[np.isfinite(reference)]
    n = a.size + b.size
    if a.size == 0 or b.size == 0:
        none = Estimate(
            np.nan, np.nan, np.nan, n, "not estimable: a group has no athlete with both sessions"
        )
        return none, none
    value = float(a.mean() - b.mean())
    if n < 3:
        none = Estimate(value, np.nan, np.nan, n, "interval not estimable: one athlete per group")
        return none, none
    if is_constant(a, scale) and is_constant(b, scale):
        why = "interval not estimable: within each group every athlete changed by the same amount (no variance)"
        none = Estimate(value, np.nan, np.nan, n, why)
        return none, none
    ss = float(((a - a.mean()) ** 2).sum() + ((b - b.mean()) ** 2).sum())
    pooled = Estimate(
        value, float(np.sqrt(ss / (n - 2) * (1 / a.size + 1 / b.size))), float(n - 2), n
    )
    return pooled, _separate(value, a, b)


def _separate(value: float, a: NDArray[np.float64], b: NDArray[np.float64]) -> Estimate:
    """Return the difference with separate variances and Bell–McCaffrey df."""
    n1, n0 = a.size, b.size
    if min(n1, n0) < 2:
        why = "interval not estimable: separate variances need two athletes in each group"
        return Estimate(value, np.nan, np.nan, n1 + n0, why)
    se = float(np.sqrt(a.var(ddof=1) / n1 + b.var(ddof=1) / n0))
    df = (1 / n1 + 1 / n0) ** 2 / (1 / (n1**2 * (n1 - 1)) + 1 / (n0**2 * (n0 - 1)))
    return Estimate(value, se, float(df), n1 + n0)


def holm(p: Sequence[float]) -> NDArray[np.float64]:
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


def leave_one_out(
    other: NDArray[np.float64], reference: NDArray[np.float64] | None
) -> tuple[float, float] | None:
    """Return lowest and highest estimate when one athlete is left out, None below 3 athletes.

    ``reference=None`` means the mean change of one group.
    """
    parts = [other[np.isfinite(other)]]
    if reference is not None:
        parts.append(reference[np.isfinite(reference)])
    if any(x.size < 2 for x in parts) or sum(x.size for x in parts) < 3:
        return None
    sign = (1.0, -1.0)
    means = [float(x.mean()) for x in parts]
    total = sum(s * m for s, m in zip(sign, means, strict=False))
    values = np.concatenate(
        [
            total + s * ((x.sum() - x) / (x.size - 1) - m)
            for s, x, m in zip(sign, parts, means, strict=False)
        ]
    )
    return float(values.min()), float(values.max())
