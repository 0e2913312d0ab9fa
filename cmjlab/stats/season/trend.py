"""One athlete's weeks of one metric: differences from the own level, charts and their limits."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy import special

from cmjlab.stats.season.charts import FollowSettings
from cmjlab.stats.season.limits import (
    mean_factor,
    mean_sd,
    running_sums,
    sum_limit,
    weighted_means,
)
from cmjlab.stats.season.stable import Stable

Array = NDArray[np.float64]


@dataclass(frozen=True)
class Trend:
    """Weeks of one athlete and metric, all arrays of shape (n_weeks,).

    Attributes
    ----------
    athlete : str
    sessions : tuple of str
        Weeks with a value, in order.
    values : array
    level : float
        Mean of the stable weeks.
    stable : int
        How many they are.
    se : float
        Standard error of one week's difference from the level.
    alarm_half : float
        Half width of the weekly limits.
    means, mean_half : arrays
        Weighted mean of the differences, and half width of its limits.
    above, below : arrays
        Running sums in typical errors.
    sum_limit : float
    """

    athlete: str
    sessions: tuple[str, ...]
    values: Array
    level: float
    stable: int
    se: float
    alarm_half: float
    means: Array
    mean_half: Array
    above: Array
    below: Array
    sum_limit: float

    @property
    def differences(self) -> Array:
        """Each week's value less the level."""
        return np.asarray(self.values - self.level)

    @property
    def alarms(self) -> list[str]:
        """Each week: "above", "below" or ""."""
        return sides(self.differences, np.full(len(self.values), self.alarm_half))

    @property
    def conclusions(self) -> list[str]:
        """Each week: where the weighted mean lies beyond its limits, "above", "below" or ""."""
        return sides(self.means, self.mean_half)

    @property
    def since(self) -> list[str]:
        """Each week: the week since which the conclusion stands without a break, or ""."""
        out: list[str] = []
        found = self.conclusions
        for t, side in enumerate(found):
            same = side and t and found[t - 1] == side
            out.append(out[t - 1] if same else self.sessions[t] if side else "")
        return out

    @property
    def sum_sides(self) -> list[str]:
        """Each week: which running sum is beyond its limit, "above", "below" or ""."""
        limit = self.sum_limit
        return [
            "above" if a > limit and a >= b else "below" if b > limit else ""
            for a, b in zip(self.above, self.below, strict=True)
        ]


def sides(values: Array, half: Array) -> list[str]:
    """Return where each value lies against ± half: "above", "below" or ""."""
    return [
        "above" if v > h else "below" if v < -h else "" for v, h in zip(values, half, strict=True)
    ]


def trend_of(
    athlete: str, weeks: dict[str, float], stable: Stable, how: FollowSettings, looks: int
) -> Trend:
    """Return the charts of one athlete with limits for an estimated level and noise.

    Parameters
    ----------
    athlete : str
        Must have a level.
    weeks : dict of session to value
        Finite values, in order.
    stable : Stable
    how : FollowSettings
    looks : int
        Weeks for which the conclusion holds.
    """
    level, n = stable.levels[athlete]
    values = np.array(list(weeks.values()), dtype=float)
    se = stable.noise * math.sqrt(1.0 + 1.0 / n)
    t = float(special.stdtrit(stable.df, 1.0 - how.alarm / 2.0))
    units = (values - level) / stable.noise
    factor = mean_factor(how.season, how.weight, looks, float(n), stable.df)
    half = factor * stable.noise * mean_sd(how.weight, looks, n)[: len(values)]
    above, below = running_sums(units, how.slack)
    limit = sum_limit(how.season, how.slack, looks, float(n), stable.df)
    return Trend(
        athlete, tuple(weeks), values, level, n, se, t * se,
        weighted_means(values - level, how.weight), half, above, below, limit,
    )  # fmt: skip
