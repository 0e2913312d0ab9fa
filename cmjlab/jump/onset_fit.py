"""Onset by curves: when the movement began, and how well that can be known.

A threshold is crossed late by an amount that depends on how the athlete starts, and a fixed
shift undoes it for one way of starting only: deep slow starters come out too quick, fast short
ones too slow. Here curves BW − c (t − t₀)ᵖ are laid through the first part of the drop, for
several powers p (from a sudden to a creeping start) and many onsets t₀. Each curve is weighed by
how well it fits, given what else moves the force: white noise of the plate, sway of standing
(both measured while weighing), and a start that is no exact power of time. The onset is the
weighted mean of t₀, its standard error the weighted spread. Under sway early and late starts fit
alike, and the standard error says so.

Our own (Bayesian averaging over curves; generalised least squares); no paper prescribes it. What
it gains against 5 SD − 30 ms, and how often the standard error covers, is measured on shapes of
start that it was not made from in ``tests/calibration/onset_rules.csv``.
"""

from __future__ import annotations

import math
from functools import lru_cache
from typing import NamedTuple

import numpy as np
from scipy.linalg.lapack import dpotrf, dtrtri

from cmjlab.jump.signal import FloatArray, Signal
from cmjlab.jump.weighing import Weighing

#: Powers of time, from a sudden over a ramp to a creeping start, and how likely each is before
#: the force is seen: a creeping start always fits sway, so that it must fit clearly better.
POWERS = (0.5, 1.0, 1.5, 2.0, 3.0, 4.0)
PRIOR = (1.0, 1.0, 1.0, 1.0, 0.5, 0.2)
#: Curves are laid through the drop up to this share of it.
SHARE = 0.35
#: Length of the stretch that is looked at, up to that point, s.
LOOK_BACK_S = 0.55
#: Means over times from the first to the last length enter the fit, longer ones further back, s.
SHORTEST_S, LONGEST_S, GROWTH = 0.006, 0.060, 1.13
#: Onsets tried, as times before the end of the stretch: from this on, by this ratio, s.
FIRST_TRIED_S, RATIO = 0.005, 1.09
#: A real start differs from a power of time by this share of the drop, smoothly over this time.
DIFFERS, SMOOTH_S = 0.11, 0.030
#: The same from mean to mean; and what standing still leaves at least, as share of body weight.
ROUGH, LEAST_SWAY = 0.02, 0.001
#: The stillest window was chosen for being still: sway around it is larger by this factor.
SWAY_FACTOR = 1.3
#: Sway lies in this band (common practice, no source), its power falls with √frequency.
BAND_HZ = (0.2, 6.0)
#: What no curve shows: starts unlike all of these, and sampling (simulated; our own).
UNSEEN_S, UNSEEN_SAMPLES = 0.0015, 0.3


class FittedOnset(NamedTuple):
    """Onset and its standard error, in samples."""

    sample: float
    se: float


class _Curves(NamedTuple):
    """Curves over the bins of one sampling rate; the last bin ends at time 0.

    Attributes
    ----------
    widths, starts : ndarray of int, shape (n_bins,)
        Samples in each bin, and its first sample, counted from the end.
    reach : ndarray of int, shape (n_bins,)
        Samples in the last one, two, ... bins.
    before : ndarray, shape (n_starts,)
        Onsets tried, s before the end.
    values : ndarray, shape (n_powers, n_starts, n_bins)
        Mean of each curve over each bin; 1 at the end.
    likely : ndarray, shape (n_powers, n_starts)
        Logarithm of how likely a curve is before the force is seen.
    sway, smooth : ndarray, shape (n_bins, n_bins)
        Correlation of sway, and covariance of the difference from a power of time, as shares.
    """

    widths: np.ndarray
    starts: np.ndarray
    reach: np.ndarray
    before: FloatArray
    values: FloatArray
    likely: FloatArray
    sway: FloatArray
    smooth: FloatArray


def fitted_onset(signal: Signal, weighing: Weighing, minimum: int) -> FittedOnset:
    """Return the onset and its standard error.

    Parameters
    ----------
    signal : Signal
        Force.
    weighing : Weighing
        Body weight, noise and sway of standing.
    minimum : int
        Sample of the lowest force of unweighting.
    """
    curves = _curves(signal.rate)
    begin = max(weighing.start, minimum + 1 - signal.samples(LOOK_BACK_S + 1.0))
    drop = weighing.weight - signal.force[begin : minimum + 1]
    stop = _end_of_first_part(drop, signal)
    bins = int(curves.reach.searchsorted(stop, side="right"))
    if bins < 4:
        return FittedOnset(float(begin), LOOK_BACK_S * signal.rate)
    widths = curves.widths[-bins:]
    edges = curves.starts[-bins:] + stop
    first = int(edges[0])
    means = np.add.reduceat(drop[:stop], edges) / widths
    fits = int(curves.before.searchsorted((stop - first) / signal.rate, side="right"))
    weights = _weights(curves, means, _noise(curves, means, weighing), fits)
    before = curves.before[:fits]
    mean = float(weights @ before)
    spread = float(weights @ (before - mean) ** 2) ** 0.5
    se = math.hypot(spread * signal.rate, UNSEEN_S * signal.rate, UNSEEN_SAMPLES)
    return FittedOnset(begin + stop - 0.5 - mean * signal.rate, se)


def _end_of_first_part(drop: FloatArray, signal: Signal) -> int:
    """Return the sample after which the drop stays above :data:`SHARE` of its depth."""
    width = signal.samples(SHORTEST_S)
    if drop.shape[0] <= width:
        return int(drop.shape[0])
    total = drop.cumsum()
    sums = total[width - 1 :].copy()
    sums[1:] -= total[:-width]
    shallow = (sums < SHARE * sums[-1]).nonzero()[0]
    return int(shallow[-1]) + width if shallow.size else width


def _noise(curves: _Curves, means: FloatArray, weighing: Weighing) -> FloatArray:
    """Return the covariance of the means around a curve, N²; shape (n_bins, n_bins)."""
    bins = means.shape[0]
    widths = curves.widths[-bins:]
    least = LEAST_SWAY * weighing.weight
    sway = max(SWAY_FACTOR * weighing.sway, least)
    fallen = np.maximum(means, 0.0)
    out = sway * sway * curves.sway[-bins:, -bins:]
    out += curves.smooth[-bins:, -bins:] * fallen * fallen[:, None]
    out.flat[:: bins + 1] += weighing.white**2 / widths + 0.25 * least**2 + (ROUGH * fallen) ** 2
    return out


def _weights(curves: _Curves, means: FloatArray, noise: FloatArray, fits: int) -> FloatArray:
    """Return how well each of the first onsets fits, summed over powers; sum 1.

    The height of each curve is integrated out (flat), as generalised least squares does.
    """
    bins = means.shape[0]
    shapes = curves.values[:, :fits, -bins:].reshape(-1, bins)
    root, _ = dpotrf(noise, lower=1, clean=1)  # its diagonal keeps it positive definite
    inverse, _ = dtrtri(root, lower=1)
    white = shapes @ inverse.T
    square = np.einsum("ij,ij->i", white, white)
    cross = np.maximum(white @ (inverse @ means), 0.0)
    fit = 0.5 * (cross * cross / square - np.log(square)).reshape(len(POWERS), -1)
    fit += curves.likely[:, :fits]
    fit -= fit.max()
    weights = np.exp(fit, out=fit).sum(axis=0)
    return np.asarray(weights / weights.sum())


@lru_cache(maxsize=8)
def _curves(rate: float) -> _Curves:
    """Return bins and curves for a sampling rate."""
    widths: list[int] = []
    length = SHORTEST_S
    while sum(widths) < LOOK_BACK_S * rate:
        widths.append(max(1, round(min(length, LONGEST_S) * rate)))
        length *= GROWTH
    samples = np.array(widths[::-1])
    right = (np.cumsum(samples) - samples.sum()) / rate
    left = right - samples / rate
    longest = -float(left[0])
    count = int(np.log(longest / FIRST_TRIED_S) / np.log(RATIO))
    before: FloatArray = FIRST_TRIED_S * RATIO ** np.arange(count + 1, dtype=np.float64)
    values = np.stack([_over_bins(left, right, before, p) for p in POWERS])
    centre = 0.5 * (left + right)
    lag = centre[:, None] - centre[None, :]
    edges = np.linspace(*BAND_HZ, 31)
    frequency = 0.5 * (edges[1:] + edges[:-1])
    power = frequency**-0.5 / (frequency**-0.5).sum()
    sway = (np.cos(2 * np.pi * lag[..., None] * frequency) * power).sum(axis=-1)
    smooth: FloatArray = DIFFERS**2 * np.exp(-0.5 * (lag / SMOOTH_S) ** 2)
    likely = np.log(before) + np.log(PRIOR)[:, None]  # onsets are tried by ratio
    reach = samples[::-1].cumsum()
    return _Curves(samples, -reach[::-1], reach, before, values, likely, np.asarray(sway), smooth)


def _over_bins(left: FloatArray, right: FloatArray, before: FloatArray, power: float) -> FloatArray:
    """Return the mean of ((t + before) / before)ᵖ over each bin; shape (n_starts, n_bins)."""
    ends = [np.maximum(t[None, :] + before[:, None], 0.0) ** (power + 1) for t in (left, right)]
    area = (ends[1] - ends[0]) / (power + 1) / (right - left)
    return np.asarray(area / before[:, None] ** power)
