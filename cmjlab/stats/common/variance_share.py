"""The share of variance of an F test: partial eta squared with its interval, and omega squared.

All follow from F and its degrees of freedom, so that a reader can make them again from a paper:
η²p = F · df / (F · df + df2), and ω²p = (F - 1) · df / (F · df + df2 + 1), which takes off most of
its bias. The interval of η²p comes from the noncentral F distribution: λ / (λ + df + df2 + 1), λ
being the noncentralities that the observed F leaves possible. Since F looks at one side only, the
interval that goes with a test at 5 % has the level 90 %.

Source: Steiger 2004, Psychol Methods 9:164; Olejnik & Algina 2003, Psychol Methods 8:434 (both
from memory). Checked against R (``pf`` with ``ncp``), see ``tests/reference/effect_sizes.R``.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from scipy import special


class VarianceShare(NamedTuple):
    """η²p with limits, and ω²p (never below zero)."""

    eta: float
    eta_low: float
    eta_high: float
    omega: float


def variance_share(f: float, df: float, df2: float, level: float = 0.9) -> VarianceShare:
    """Return the share of variance that an effect explains, from its F test.

    Parameters
    ----------
    f, df, df2 : float
        F with its degrees of freedom.
    level : float
        Of the interval of η²p.

    Examples
    --------
    >>> share = variance_share(5.756, 2, 25)
    >>> f"{share.eta:.3f} ({share.eta_low:.3f} to {share.eta_high:.3f}), {share.omega:.3f}"
    '0.315 (0.055 to 0.479), 0.254'
    """
    tail = (1 - level) / 2
    ends = [_noncentrality(f, df, df2, p) for p in (1 - tail, tail)]
    low, high = (e / (e + df + df2 + 1) for e in ends)
    omega = (f - 1) * df / (f * df + df2 + 1)
    return VarianceShare(f * df / (f * df + df2), low, high, max(0.0, omega))


def _noncentrality(f: float, df: float, df2: float, probability: float) -> float:
    """Return λ with P(F <= f; λ) = probability; 0 where even λ = 0 has less."""
    if special.fdtr(df, df2, f) <= probability:
        return 0.0
    low, high = 0.0, 2.0 * df * f + 20.0
    while special.ncfdtr(df, df2, high, f) > probability:
        high *= 2
    for _ in range(100):
        middle = (low + high) / 2
        value = special.ncfdtr(df, df2, middle, f)
        above = bool(value > probability) and not np.isnan(value)
        low, high = (middle, high) if above else (low, middle)
    return (low + high) / 2
