"""Intervals that hold together for estimates of different measures from the same athletes.

Each estimate is a weighted sum over athletes. What one athlete adds to its error (the weight
times the residual, scaled as HC2 does) is the athlete's *score*; the scores' sum of squares is
the squared standard error, and their products over athletes that two estimates share are the
covariance of the two, whatever models they come from (stacked estimating equations: Pipper,
Ritz & Bisgaard 2012, J R Stat Soc C 61:315; for one model this is the HC2 covariance of its
contrasts). From memory.

The estimates have their own degrees of freedom, and errors of different measures are estimated
apart. So a common *level of each interval* is found from the correlations (max |z|), and each
estimate takes the t quantile of its own degrees of freedom at that level: exact for one estimate
and for estimates that are the same, Šidák's level when they are independent, and one group of
three athletes does not widen everybody's interval.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence

import numpy as np
from numpy.typing import NDArray
from scipy import special

from cmjlab.plan import Selection
from cmjlab.stats.change.design import Contrast, ancova_design, fit, selection_covariates
from cmjlab.stats.change.pairs import Pairs, Prepared
from cmjlab.stats.common.least_squares import LeastSquares, influence_of, least_squares
from cmjlab.stats.common.multiplicity import Simultaneous

Array = NDArray[np.float64]
#: What each athlete adds to the error of an estimate.
Scores = Mapping[str, float]


def level_of_each(scores: Sequence[Scores], level: float) -> float:
    """Return the level of each interval so that all of them hold together at ``level``.

    Parameters
    ----------
    scores : sequence of mapping of athlete to float
        One per estimate.
    level : float
    """
    if len(scores) < 2:
        return level
    who = list(dict.fromkeys(a for s in scores for a in s))
    table = np.array([[s.get(a, 0.0) for a in who] for s in scores])
    multiplier = Simultaneous(table @ table.T, math.inf).multiplier(level)
    return float(1.0 - 2.0 * special.ndtr(-multiplier))


def mean_scores(pairs: Pairs, group: str) -> Scores:
    """Return the scores of a group's mean change."""
    mine = pairs.take(pairs.group == group)
    return _scores(mine.athletes, least_squares(mine.change, np.ones((len(mine.change), 1))), [1.0])


def difference_scores(pairs: Pairs, contrast: Contrast) -> Scores:
    """Return the scores of a difference of mean changes, ``first - second``."""
    both = pairs.take(np.isin(pairs.group, contrast))
    columns = np.column_stack([both.group == name for name in contrast]).astype(np.float64)
    return _scores(both.athletes, least_squares(both.change, columns), [1.0, -1.0])


def adjusted_scores(
    pairs: Pairs, contrast: Contrast, prepared: Prepared, assignment: str | Selection
) -> Scores:
    """Return the scores of a difference at equal baseline; none when there is no such fit.

    ``pairs`` hold the values that decided the group, as the analysis of covariance needs them.
    """
    covariates = selection_covariates(pairs.metric, prepared.before, assignment)
    sizes = {g: int((pairs.group == g).sum()) for g in prepared.group_order}
    enough = pairs.take(np.isin(pairs.group, [g for g, n in sizes.items() if n >= 2]))
    design = ancova_design(enough, prepared, covariates)
    model = fit(enough.after, design.columns)
    return {} if model is None else _scores(enough.athletes, model, design.weights(contrast))


def _scores(
    athletes: Sequence[str], model: LeastSquares, weights: Sequence[float] | Array
) -> Scores:
    remaining = np.maximum(1.0 - model.leverage, 1e-12)  # one athlete alone has no residual
    values = influence_of(model, np.asarray(weights)) * model.residuals / np.sqrt(remaining)
    return dict(zip(athletes, map(float, values), strict=True))
