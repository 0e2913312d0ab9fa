"""Does the noise grow with the level: the detectable change of a low and of a high jumper.

The variance of athlete i is taken to follow exp(a + 2 b ln(level)): b = 0 is the same noise at every
level, b = 1 noise in proportion to the level (what a CV and logarithms take for granted). Own
variances follow a gamma distribution about it (chi-square over its degrees of freedom), fitted by
iterated weighted least squares (McCullagh & Nelder 1989, chapter 8). The dispersion is the larger
of what the chi-square says and what is seen (Pearson), because athletes have noise of their own
beside it; t with n - 2 degrees of freedom. With two sessions b is known to within ± 2 in a squad of
20: mostly the answer is that these data cannot tell.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from cmjlab.results import Reason
from cmjlab.stats.common.intervals import t_quantile
from cmjlab.stats.common.mean_squares import Array, ratio
from cmjlab.stats.common.rows import Place
from cmjlab.stats.reliability.missing import IntraBlock
from cmjlab.stats.reliability.reasons import Why, first_of, reasons_where
from cmjlab.stats.reliability.robust import Shares
from cmjlab.words.phrases import Case

#: Fewest athletes with two values; steps of the fit, and the longest step on the log scale.
FEWEST, _STEPS, _LONGEST = 6, 80, 1.0
#: Where in the squad a low and a high level stand.
_LOW, _HIGH = 0.1, 0.9


@dataclass(frozen=True)
class ByLevel:
    """The fitted relation of noise and level, per metric.

    Attributes
    ----------
    power, se : arrays, shape (n_metrics,)
        b, and its standard error.
    levels : array, shape (n_metrics, 2)
        A low and a high level of the squad.
    errors : array, shape (n_metrics, 2)
        Typical error there.
    """

    power: Array
    se: Array
    levels: Array
    errors: Array


def by_level(levels: Array, part: Shares, block: IntraBlock) -> ByLevel:
    """Fit the relation for all metrics at once.

    Parameters
    ----------
    levels : array, shape (n_metrics, n_athletes)
        Mean of each athlete's values; all positive where the fit is wanted, else nan.
    part : Shares
    block : IntraBlock
    """
    use = (part.df > 0) & np.isfinite(levels)
    weight = np.where(use, part.df, 0.0)
    kept = (1 - 1 / np.maximum(block.n, 2))[:, None]
    variance = np.where(use, ratio(part.squares, kept * part.df), 0.0)
    x = np.log(np.where(use, levels, 1.0))
    centre = ratio((weight * x).sum(axis=1), weight.sum(axis=1))[:, None]
    x = np.where(use, x - centre, 0.0)
    spread = (weight * x**2).sum(axis=1)
    start = np.log(np.maximum(ratio((weight * variance).sum(axis=1), weight.sum(axis=1)), 1e-300))
    height, slope, done = _fit(variance, weight, x, start)
    rest = ratio(variance, np.exp(height[:, None] + slope[:, None] * x)) - 1
    n = use.sum(axis=1)
    seen = ratio((weight * np.where(use, rest, 0.0) ** 2).sum(axis=1), n - 2.0)
    se = np.sqrt(ratio(np.maximum(seen, 2.0), spread)) / 2
    fine = done & (n >= FEWEST) & (spread > 1e-12) & (block.mse > 0)
    ends = np.full((len(levels), 2), np.nan)
    for i in np.flatnonzero(fine):
        ends[i] = np.quantile(levels[i][use[i]], [_LOW, _HIGH])
    errors = np.exp(0.5 * (height[:, None] + slope[:, None] * (np.log(ends) - centre)))
    power = np.where(fine, slope / 2, np.nan)
    return ByLevel(power, np.where(fine, se, np.nan), ends, errors)


def _fit(y: Array, weight: Array, x: Array, start: Array) -> tuple[Array, Array, NDArray[np.bool_]]:
    """Return height and slope of ln(variance), and where the steps came to rest."""
    height, slope = start.copy(), np.zeros_like(start)
    total, spread = weight.sum(axis=1), (weight * x**2).sum(axis=1)
    widest = np.abs(x).max(axis=1, initial=0.0)
    moved = np.full(start.shape, np.inf)
    for _ in range(_STEPS):
        fitted = np.exp(np.clip(height[:, None] + slope[:, None] * x, -690.0, 690.0))
        rest = weight * (y / fitted - 1)
        up, turn = ratio(rest.sum(axis=1), total), ratio((rest * x).sum(axis=1), spread)
        up, turn = np.nan_to_num(up), np.nan_to_num(turn)
        moved = np.maximum(np.abs(up), np.abs(turn) * widest)
        if np.all(moved < 1e-9):
            break
        share = np.minimum(1.0, _LONGEST / np.maximum(moved, 1e-300))
        height, slope = height + share * up, slope + share * turn
    return height, slope, moved < 1e-6


def level_rows(place: Place, found: ByLevel, block: IntraBlock, void: Why) -> None:
    """Add how the noise goes with the level, and the detectable change at a low and a high level.

    Parameters
    ----------
    place : Place
        One place per metric.
    found : ByLevel
    block : IntraBlock
    void : Why
        Per metric why there is no noise, or no level in proportion to which it could be.
    """
    few = Reason("few_for_level", {"needed": FEWEST})
    why = first_of(void, reasons_where(block.n >= FEWEST, Reason("no_relation_found"), few))
    t = t_quantile(0.5 + place.level / 2, np.maximum(block.n - 2.0, 1.0))
    low, high = found.power - t * found.se, found.power + t * found.se
    sides = [_says(a, b) for a, b in zip(low, high, strict=True)]
    place = place.at(n=block.n, estimator="gamma_of_own_variances")
    place.add(
        "noise_with_level",
        found.power,
        limits=(low, high),
        df=block.n - 2.0,
        interval_kind="t",
        void=void,
        reason=why,
        remark=[Reason(f"noise_{side}") for side in sides],
    )
    factor = np.sqrt(2) * t_quantile(0.5 + place.level / 2, np.maximum(block.df, 1.0))
    for i, end in enumerate(("low", "high")):
        levels = found.levels[:, i].tolist()
        cases = [Case("at_level", {"at": x}) if np.isfinite(x) else None for x in levels]
        place.at(case=cases).add(
            f"detectable_change_{end}", factor * found.errors[:, i], void=void, reason=why
        )


def _says(low: float, high: float) -> str:
    """Return which of "the same" (0) and "in proportion" (1) an interval includes."""
    same, growing = low <= 0 <= high, low <= 1 <= high
    if same and growing:
        return "unclear"
    if same:
        return "same"
    return "in_proportion" if growing else "otherwise"
