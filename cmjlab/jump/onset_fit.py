"""Onset by a curve: where a power law through the first part of the drop reaches body weight.

A threshold is crossed late by an amount that depends on how the athlete starts, and a fixed
shift undoes it for one way of starting only. Here F = BW − c (t − t₀)ᵖ is fitted to the first
part of the drop for several powers p (from a sudden to a creeping start) and many onsets t₀;
the onset is the mean of t₀ weighted by how well each curve fits. Our own; no paper
prescribes it. What it gains and loses against 5 SD − 30 ms is measured in
``tests/calibration/onset_rules.csv``.
"""

from __future__ import annotations

import numpy as np

from cmjlab.jump.signal import FloatArray, Signal
from cmjlab.jump.weighing import Weighing

#: Powers of time, from a sudden over a ramp to a creeping start, and how likely each is before
#: the force is seen: under sway a creeping start always fits, so that it must fit clearly better.
POWERS = (0.5, 1.0, 1.5, 2.0, 3.0)
PRIOR = (1.0, 1.0, 1.0, 1.0, 0.3)
#: The curve is fitted up to this share of the whole drop.
SHARE = 0.35
#: Looked at before the drop passes 5 % of body weight, s.
BEFORE_S = 0.30
#: Means over this time enter the fit, s.
BLOCK_S = 0.004
#: Neighbouring means are not independent (sway): this many count as one.
CORRELATED = 5.0


def fitted_onset(signal: Signal, weighing: Weighing, minimum: int) -> float:
    """Return the onset in samples; the 5 % crossing when there is too little to fit.

    Parameters
    ----------
    signal : Signal
        Force.
    weighing : Weighing
        Body weight and SD of standing.
    minimum : int
        Sample of the lowest force of unweighting.
    """
    weight = weighing.weight
    begin = max(weighing.start, minimum - signal.samples(1.5))
    drop = weight - signal.force[begin : minimum + 1]
    if drop.size < 8 or drop[-1] <= 0.0:
        return float(minimum)
    deep = np.flatnonzero(drop < SHARE * drop[-1])
    stop = int(deep[-1]) + 2 if deep.size else drop.size
    shallow = np.flatnonzero(drop[:stop] < 0.05 * weight)
    crossing = int(shallow[-1]) + 1 if shallow.size else 0
    first = max(0, crossing - signal.samples(BEFORE_S))
    block = max(1, round(BLOCK_S * signal.rate))
    count = (stop - first) // block
    if count < 6:
        return float(begin + crossing)
    first = stop - count * block
    means: FloatArray = drop[first:stop].reshape(count, block).mean(axis=1)
    time: FloatArray = first + (np.arange(count, dtype=np.float64) + 0.5) * block
    last = max(crossing, first + 1) + 1
    starts: FloatArray = np.arange(first, last, max(1.0, block / 2), dtype=np.float64)
    errors = np.stack([_error(means, time, starts, p) for p in POWERS])
    noise = max(weighing.sd**2, (0.002 * weight) ** 2)
    weights = np.exp(-(errors - errors.min()) / (2.0 * noise * CORRELATED))
    weights *= np.array(PRIOR)[:, None]
    return float(begin + (weights * starts).sum() / weights.sum())


def _error(drop: FloatArray, time: FloatArray, starts: FloatArray, power: float) -> FloatArray:
    """Return the squared error of the best curve for every onset; shape (n_starts,)."""
    since = np.maximum(time[None, :] - starts[:, None], 0.0)
    curve = since**power if power != 1.0 else since
    cross = curve @ drop
    square = np.einsum("ij,ij->i", curve, curve)
    return np.asarray(drop @ drop - np.maximum(cross, 0.0) ** 2 / np.maximum(square, 1e-12))
