"""Kernels of regression to the mean; leading axes are separate studies.

``member`` is a mask (..., n) of the athletes in the chosen group; the squad is everybody who
could have been chosen, the chosen included.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from cmjlab.stats.common.least_squares import Estimate, contrast, least_squares
from cmjlab.stats.common.reml_intercept import fit_intercept
from cmjlab.stats.common.reml_tests import kenward_roger

Array = NDArray[np.float64]
Mask = NDArray[np.bool_]

#: With fewer athletes in the group its own spread of changes is too poor an error term.
FEW = 8


@dataclass(frozen=True)
class Drift:
    """What would have happened without training, and what is left.

    Attributes
    ----------
    expected : Estimate
        Drift of the group mean from the session of selection to a later session: the sum of
        the next two.
    towards : Estimate
        The part that comes from the choice (regression to the mean).
    shift : Estimate
        The part that the whole squad shares (learning, season).
    beyond : Estimate
        Mean change of the group minus that drift.
    fitted : array, shape (..., n)
        Each athlete's value to be expected at a later session without training.
    """

    expected: Estimate
    towards: Estimate
    shift: Estimate
    beyond: Estimate
    fitted: Array


def member_mean(values: Array, member: Mask) -> Array:
    """Return the mean over the athletes of the mask, along the last axis."""
    return np.asarray((values * member).sum(axis=-1) / member.sum(axis=-1))


def clean_change(second: Array, after: Array, member: Mask) -> Estimate:
    """Return the group's mean change from a baseline that did not decide the group.

    Parameters
    ----------
    second, after : array, shape (..., n)
        Values of athletes outside the group may be nan in ``after``.
    member : array of bool, shape (..., n)
    """
    change = np.where(member, after - second, 0.0)
    size = member.sum(axis=-1)
    mean = change.sum(axis=-1) / size
    spread = ((np.where(member, change - mean[..., None], 0.0) ** 2).sum(axis=-1)) / (size - 1)
    return Estimate(mean, np.sqrt(spread / size), (size - 1).astype(np.float64))


def clean_change_squad_error(first: Array, second: Array, after: Array, member: Mask) -> Estimate:
    """Return the same mean change with the squad's base-to-base spread as error, n - 1 df.

    It needs fewer athletes in the group, but leaves out that athletes may respond
    differently: use it below :data:`FEW` athletes.
    """
    mean = clean_change(second, after, member).estimate
    squad = second - first
    n = squad.shape[-1]
    se = np.sqrt(squad.var(axis=-1, ddof=1) / member.sum(axis=-1))
    return Estimate(mean, se, np.full(np.shape(mean), n - 1.0))


def regression_drift(
    selectors: Array, first: Array, second: Array, after: Array, member: Mask
) -> Drift:
    """Return drift and remainder from the regression of the second baseline on the selectors.

    Parameters
    ----------
    selectors : array, shape (..., n, q)
        Every value that decided the group, and the first baseline of the tested metric.
    first, second : array, shape (..., n)
        First and second baseline of the tested metric, whole squad.
    after : array, shape (..., n)
        Outcome; only the group's values are used.
    member : array of bool, shape (..., n)

    Notes
    -----
    corrected = mean of ``after`` in the group - fitted value at the group's selector mean,
    variance s² [1/m + (1 - 2c) h], h the leverage of that mean, c = the share of s² that the
    second baseline and the outcome have in common given the selectors,
    1 - (variance of error) / s²; t with n - 1 - q df.
    """
    centred = selectors - selectors.mean(axis=-2, keepdims=True)
    scale = centred.std(axis=-2, keepdims=True)
    centred = centred / np.where(scale > 0, scale, 1.0)
    ones = np.ones((*centred.shape[:-1], 1))
    fit = least_squares(second, np.concatenate([ones, centred], axis=-1))
    at = (centred * member[..., None]).sum(axis=-2) / member.sum(axis=-1)[..., None]
    point = np.concatenate([np.ones((*at.shape[:-1], 1)), at], axis=-1)
    expected = contrast(fit, point, "classical")
    # The intercept is the squad's mean, because the selectors are centred.
    whole = np.broadcast_to(np.eye(point.shape[-1])[0], point.shape)
    squad = contrast(fit, whole, "classical")
    choice = contrast(fit, point - whole, "classical")
    h = np.einsum("...i,...ij,...j->...", point, fit.inverse, point)
    error = (second - first).var(axis=-1, ddof=1) / 2
    # no residual at all (copied values): no error term, and the rows say so
    residual = np.where(fit.variance > 0, fit.variance, 1.0)
    common = np.clip(1.0 - error / residual, 0.0, 1.0)
    size = member.sum(axis=-1)
    variance = fit.variance * (1.0 / size + (1.0 - 2.0 * common) * h)
    start = member_mean(first, member)
    outcome = member_mean(np.where(member, after, 0.0), member)
    df = np.full(np.shape(start), float(fit.df))
    level = first.mean(axis=-1)
    return Drift(
        expected=Estimate(expected.estimate - start, expected.se, df),
        towards=Estimate(choice.estimate - (start - level), choice.se, df),
        shift=Estimate(squad.estimate - level, squad.se, df),
        beyond=Estimate(outcome - expected.estimate, np.sqrt(np.maximum(variance, 0.0)), df),
        fitted=second - fit.residuals,
    )


def constrained_model(
    values: Array, group: NDArray[np.int64], observed: Mask
) -> tuple[list[Estimate], NDArray[np.int64]]:
    """Return group differences after the block in the constrained longitudinal model.

    All groups share their baseline means; each group but the first (number 0) has its own
    mean in the last session. Athletes are random; Kenward-Roger standard errors and df.
    Whatever was selected on a session of ``values`` is ignorable, because that session is
    part of the likelihood (Liang & Zeger 2000).

    Parameters
    ----------
    values : array, shape (..., n, k)
        Sessions of one metric in order; the last is after the block.
    group : array of int, shape (..., n)
        0 for the comparison group.
    observed : array of bool, shape (..., n, k)

    Returns
    -------
    estimates : list of Estimate
        Group g minus group 0, for g = 1, 2, …
    status : array of int
        0 ok, 1 negative covariance (kept); larger: no test is given.
    """
    values = np.asarray(values)
    single = values.ndim == 2
    stack = values[None] if single else values
    members = np.broadcast_to(group, stack.shape[:-1])
    number = int(group.max())
    k = stack.shape[-1]
    design = np.zeros((*stack.shape, k + number))
    design[..., np.arange(k), np.arange(k)] = 1.0
    for g in range(1, number + 1):
        design[..., k - 1, k - 1 + g] = members == g
    seen = np.broadcast_to(observed, stack.shape)
    fit = fit_intercept(np.where(seen, stack, 0.0), design, seen)
    out = []
    for g in range(1, number + 1):
        weights = np.zeros(k + number)
        weights[k - 1 + g] = 1.0
        tested = kenward_roger(fit.pieces, weights)
        found = [np.asarray(v) for v in (tested.estimate, tested.se, tested.df)]
        out.append(Estimate(*(v[0] if single else v for v in found)))
    return out, fit.status
