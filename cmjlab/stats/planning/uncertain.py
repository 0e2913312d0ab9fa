"""A plan whose typical error is only estimated: the number needed as a range, and assurance.

A typical error s with df degrees of freedom leaves the true one open: df · s² / σ² follows a
chi-square distribution. Power falls as σ rises, so every statement about the power of a size is
one about σ, and has an exact answer:

* the range of the number needed lies between those for the two limits of the typical error;
* a size has the wanted power with probability P(σ ≤ σ*), σ* being the largest typical error
  with which it still has it (the *assurance*);
* the number needed for an assurance of 80 % is the number needed for the typical error that the
  true one does not exceed with 80 % probability. Whoever plans so has enough athletes in 80 % of
  studies, however large the true error is;
* the power that can be expected is the mean of power over σ (quadrature, no simulation).

The spread between athletes is taken as known; responses and drift are assumed in typical errors
and grow with it. Source: O'Hagan, Stevens & Campbell 2005, Pharm Stat 4:187 (assurance); Browne
1995, Stat Med 14:1933 (upper limit of the SD); both from memory.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray
from scipy import special

from cmjlab import checks
from cmjlab.errors import StatsError
from cmjlab.results import Reason, Result
from cmjlab.stats.common.intervals import chi2_quantile, sd_limits
from cmjlab.stats.common.noise import Noise, noise_of
from cmjlab.stats.planning import power as exact
from cmjlab.stats.planning.spread import Spread

Array = NDArray[np.float64]

#: Wanted probability of having the wanted power.
ASSURANCE = 0.8
#: Points of the quadrature; its error is below 1e-9.
_POINTS = 241


@dataclass(frozen=True)
class UncertainError:
    """A typical error with its degrees of freedom; infinite when none are known.

    Attributes
    ----------
    typical_error, df : float
    """

    typical_error: float
    df: float

    @property
    def is_estimated(self) -> bool:
        """Whether it is known how uncertain the typical error is."""
        return bool(np.isfinite(self.df))

    def limits(self, level: float) -> tuple[float, float]:
        """Return the limits of the typical error, nan when its df are not known."""
        if not self.is_estimated:
            return float("nan"), float("nan")
        low, high = sd_limits(self.typical_error, self.df, level)
        return float(low), float(high)

    def not_exceeded(self, probability: float) -> float:
        """Return the typical error that the true one does not exceed with a probability."""
        quantile = float(chi2_quantile(1 - probability, self.df))
        return self.typical_error * float(np.sqrt(self.df / quantile))

    def probability_at_most(self, error: float) -> float:
        """Return the probability that the true typical error is at most ``error``."""
        if error <= 0:
            return 0.0
        return float(special.chdtrc(self.df, self.df * (self.typical_error / error) ** 2))

    def points(self) -> tuple[Array, Array]:
        """Return typical errors and their weights for a mean over the true one.

        The logarithm of the chi-square over df has a smooth density on the whole line, for which
        equal steps are exact to rounding.
        """
        half = self.df / 2
        low, high = (_where_gone(half, side) for side in (-1.0, 1.0))
        x = np.linspace(low, high, _POINTS)
        log_density = half * (x - np.exp(x) + 1)
        weights = np.exp(log_density)
        return self.typical_error * np.exp(-x / 2), weights / weights.sum()


def _where_gone(half_df: float, side: float) -> float:
    """Return where the density of log(chi-square / df) has fallen to exp(-36) of its peak."""
    near, far = 0.0, side
    while half_df * (np.exp(far) - far - 1) < 36:
        far *= 2
    for _ in range(60):
        middle = (near + far) / 2
        gone = half_df * (np.exp(middle) - middle - 1) >= 36
        near, far = (near, middle) if gone else (middle, far)
    return far


def planned_noise(reliability: Any, metric: str) -> Noise:
    """Return the noise of a plan; a cited typical error may come without degrees of freedom.

    Parameters
    ----------
    reliability : Result, or mapping of metric to (typical error, df)
        ``None`` for df, or a number alone, is a cited value: its df are then infinite.
    metric : str

    Raises
    ------
    StatsError
        As :func:`cmjlab.stats.common.noise.noise_of`.
    """
    checks.one_name("metric", metric)
    if isinstance(reliability, Result) or not hasattr(reliability, "get"):
        return noise_of(reliability, metric)
    given = reliability.get(metric)
    if given is None:
        return noise_of(reliability, metric)
    pair = given if isinstance(given, (tuple, list)) else (given, None)
    if len(pair) != 2 or pair[1] is not None:
        return noise_of(reliability, metric)
    if isinstance(pair[0], str):
        raise StatsError(
            f"reliability: {metric} needs a number as typical error, found {pair[0]!r}."
        )
    return noise_of({metric: (pair[0], np.inf)}, metric)


def size_for(
    spread: Spread, design: str, aim: tuple[float, float, float], error: float
) -> int | None:
    """Return the athletes needed (per group) were ``error`` the true typical error.

    ``aim`` is the change that matters, the wanted power and the level.
    """
    matters, power, level = aim
    there = replace(spread, typical_error=error)
    return exact.smallest(lambda n: bool(there.power(design, matters, n, level) >= power))


def assurance(
    known: UncertainError, spread: Spread, design: str, aim: tuple[float, float, float], n: int
) -> float:
    """Return the probability that ``n`` athletes have the wanted power.

    Parameters
    ----------
    known : UncertainError
    spread : Spread
    design : str
    aim : (change that matters, power, level)
    n : int
    """
    matters, power, level = aim

    def enough(error: float) -> bool:
        there = replace(spread, typical_error=error)
        return bool(there.power(design, matters, n, level) >= power)

    low, high = known.typical_error * 1e-3, known.typical_error * 1e3
    if not enough(low):
        return 0.0
    for _ in range(80):
        middle = float(np.sqrt(low * high))
        low, high = (middle, high) if enough(middle) else (low, middle)
    return known.probability_at_most(low)


def expected_power(
    known: UncertainError, spread: Spread, design: str, aim: tuple[float, float, float], n: int
) -> float:
    """Return the mean power of ``n`` athletes over the true typical error."""
    matters, _, level = aim
    errors, weights = known.points()
    powers = [float(replace(spread, typical_error=e).power(design, matters, n, level)) for e in errors]  # fmt: skip
    return float(weights @ np.array(powers))


def uncertain_point(
    known: UncertainError, spread: Spread, design: str, aim: tuple[float, float, float], n: int
) -> dict[str, Any]:
    """Return what a size of a plan rests on, as columns of a tidy table.

    ``n_low`` and ``n_high`` are the range over the typical error's interval, ``n_assured`` is
    needed for an assurance of 80 %; None where more athletes than can be tried would be needed,
    or where the df of the typical error are not known.
    """
    if not known.is_estimated:
        nothing = dict.fromkeys(("n_low", "n_high", "n_assured"))
        return {**nothing, "assurance": np.nan, "expected_power": np.nan}
    low, high = known.limits(aim[2])
    return {
        "n_low": size_for(spread, design, aim, low),
        "n_high": size_for(spread, design, aim, high),
        "n_assured": size_for(spread, design, aim, known.not_exceeded(ASSURANCE)),
        "assurance": assurance(known, spread, design, aim, n),
        "expected_power": expected_power(known, spread, design, aim, n),
    }


def assured_half_width(
    known: UncertainError, spread: Spread, design: str, sizes: tuple[int, int], level: float
) -> float:
    """Return the half width not exceeded with 80 % probability, the noise being estimated, too.

    Two things vary: the true typical error, and the spread that the study itself will find.
    """
    errors, weights = known.points()
    found = [replace(spread, typical_error=e).error(design, *sizes) for e in errors]
    se, df = (np.array([float(f[i]) for f in found]) for i in (0, 1))
    t = special.stdtrit(df, 0.5 + level / 2)

    def reached(width: float) -> float:
        return float(weights @ special.chdtr(df, df * (width / (t * se)) ** 2))

    low, high = 0.0, float((t * se)[weights > 0].max())
    while reached(high) < ASSURANCE:
        high *= 2
    for _ in range(70):
        middle = (low + high) / 2
        low, high = (low, middle) if reached(middle) >= ASSURANCE else (middle, high)
    return high


def why_no_range(known: UncertainError) -> Reason:
    """Return why there is no range, or no end of it."""
    if not known.is_estimated:
        return Reason("error_without_df")
    return Reason("range_too_wide", {"largest": exact.LARGEST})
