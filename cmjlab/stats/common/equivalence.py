"""Against the change that matters: equivalence, minimum effect, and the share beyond it.

Equivalence (two one-sided tests, TOST): the 90 % interval lies inside ±δ. Minimum effect: the
one-sided test that the true value is beyond δ. The "probability" of a meaningful gain is one
minus the one-sided p against δ (the posterior under a flat prior, or, for one athlete, of the
shrunken estimate). The interval always comes first, and no word grades the number: grading
such probabilities in words has been objected to with reason (Sainani 2018, from memory).

Sources: Schuirmann 1987 (J Pharmacokinet Biopharm 15:657), from memory.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy import special

Array = NDArray[np.float64]

#: Level of the interval that belongs to TOST at 5 %.
TOST_LEVEL = 0.90


@dataclass(frozen=True)
class Tost:
    """Two one-sided tests against ±margin.

    Attributes
    ----------
    t_lower, p_lower : array
        Test of value > -margin.
    t_upper, p_upper : array
        Test of value < +margin.
    ci_low, ci_high : array
        90 % interval.
    """

    t_lower: Array
    p_lower: Array
    t_upper: Array
    p_upper: Array
    ci_low: Array
    ci_high: Array

    @property
    def p(self) -> Array:
        """The larger of the two one-sided p values."""
        return np.maximum(self.p_lower, self.p_upper)


def tost(estimate: ArrayLike, se: ArrayLike, df: ArrayLike, margin: float) -> Tost:
    """Return the two one-sided tests of |value| < margin."""
    value, spread = np.asarray(estimate, float), np.asarray(se, float)
    t_lower, t_upper = (value + margin) / spread, (value - margin) / spread
    half = special.stdtrit(df, 0.5 + TOST_LEVEL / 2) * spread
    return Tost(
        t_lower,
        np.asarray(special.stdtr(df, -t_lower)),
        t_upper,
        np.asarray(special.stdtr(df, t_upper)),
        value - half,
        value + half,
    )


def share_above(estimate: ArrayLike, se: ArrayLike, df: ArrayLike, bound: float) -> Array:
    """Return one minus the one-sided p of the test that the value is above ``bound``."""
    return np.asarray(
        special.stdtr(df, (np.asarray(estimate, float) - bound) / np.asarray(se, float))
    )


def share_below(estimate: ArrayLike, se: ArrayLike, df: ArrayLike, bound: float) -> Array:
    """Return one minus the one-sided p of the test that the value is below ``bound``."""
    return np.asarray(
        special.stdtr(df, (bound - np.asarray(estimate, float)) / np.asarray(se, float))
    )
