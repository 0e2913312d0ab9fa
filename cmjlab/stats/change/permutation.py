"""Re-randomisation test of a group difference: only where groups were formed at random.

Labels are dealt again over the athletes, each with its own baseline and outcome; the
statistic is the ANCOVA t with the HC2 standard error. Under random assignment and no effect
for anybody this is exact at any size. (Permuting residuals of a reduced model, as Freedman &
Lane 1983 do, is needed when labels were *not* dealt at random; then the test has no such
basis and is not offered.)
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import combinations
from math import comb

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]

#: All deals up to this number are used, beyond it as many drawn at random.
MAXIMUM = 10_000
_SEED = 61_803


@dataclass(frozen=True)
class Permuted:
    """Result: p, the smallest p that could come out, and how many deals were used."""

    p: float
    floor: float
    deals: int
    complete: bool


def permutation_test(
    outcome: Array, covariates: Array, first: NDArray[np.bool_]
) -> Permuted | None:
    """Test the difference between two groups.

    Parameters
    ----------
    outcome : array, shape (n,)
    covariates : array, shape (n, q)
        Centred.
    first : array of bool, shape (n,)
        Membership in the first group.

    Returns
    -------
    Permuted, or None when no degree of freedom remains.
    """
    n, size = len(first), int(first.sum())
    if n - 2 - covariates.shape[1] < 1:
        return None
    total = comb(n, size)
    complete = total <= MAXIMUM
    labels = _all_deals(n, size) if complete else _drawn_deals(n, size)
    if not complete:
        labels[0] = first
    statistic = _statistics(outcome, covariates, labels)
    observed = _statistics(outcome, covariates, first[None])[0]
    if not np.isfinite(observed):
        return None
    as_large = np.abs(np.nan_to_num(statistic, nan=-np.inf)) >= abs(observed) * (1 - 1e-10)
    floor = (2 if 2 * size == n else 1) / total
    return Permuted(float(as_large.mean()), max(floor, 1 / len(labels)), len(labels), complete)


def _all_deals(n: int, size: int) -> NDArray[np.bool_]:
    chosen = np.array(list(combinations(range(n), size)))
    labels = np.zeros((len(chosen), n), dtype=bool)
    labels[np.arange(len(chosen))[:, None], chosen] = True
    return labels


def _drawn_deals(n: int, size: int) -> NDArray[np.bool_]:
    rng = np.random.default_rng(_SEED)
    order = np.argsort(rng.random((MAXIMUM, n)), axis=1)
    return np.asarray(order < size)


def _statistics(outcome: Array, covariates: Array, labels: NDArray[np.bool_]) -> Array:
    deals = len(labels)
    design = np.empty((deals, len(outcome), 2 + covariates.shape[1]))
    design[..., 0] = labels
    design[..., 1] = ~labels
    design[..., 2:] = covariates
    # normal equations are safe here: covariates are centred and scaled, and QR is ten times slower
    across = np.swapaxes(design, -1, -2)
    with np.errstate(invalid="ignore", divide="ignore"):
        try:
            inverse = np.linalg.inv(across @ design)
        except np.linalg.LinAlgError:
            return np.full(deals, np.nan)
        pull = design @ inverse
        coefficients = np.swapaxes(pull, -1, -2) @ outcome
        residuals = outcome - (design @ coefficients[..., None])[..., 0]
        leverage = (pull * design).sum(axis=-1)
        influence = pull[..., 0] - pull[..., 1]
        variance = (influence**2 * residuals**2 / (1.0 - leverage)).sum(axis=-1)
        t = (coefficients[:, 0] - coefficients[:, 1]) / np.sqrt(variance)
    return np.where((leverage > 1 - 1e-9).any(axis=-1), np.nan, t)
