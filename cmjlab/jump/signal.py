"""The force as the analysis uses it: finite samples, one total, left and right where known."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from cmjlab.errors import JumpError
from cmjlab.method import Method
from cmjlab.recording import Recording

FloatArray = NDArray[np.float64]
BoolArray = NDArray[np.bool_]

#: Largest and smallest value of an array of one dimension; half as long on their way as ``ndarray.max`` and ``min``.
largest, smallest = np.maximum.reduce, np.minimum.reduce
#: Fewer samples than this are no recording of anything.
LEAST_SAMPLES = 8
#: A countermovement lasts half a second: fewer samples a second show no jump, Hz.
LEAST_RATE_HZ = 20.0

#: No plate gives more, whatever its unit, N: squares and sums of it are still exact.
HIGHEST_N = 1e9


@dataclass(frozen=True, slots=True)
class Signal:
    """Force of one recording in sample units.

    Attributes
    ----------
    force : ndarray, shape (n_samples,)
        Total vertical force, N; lost samples are bridged by a straight line.
    rate : float
        Sampling rate, Hz.
    left, right : ndarray, shape (n_samples,), or None
        Force under each foot, N, when both are known.
    lost : ndarray of bool, shape (n_samples,), or None
        Which samples were lost (nan or infinite); None when all are there.
    offset : float
        Level that was subtracted, N.
    """

    force: FloatArray
    rate: float
    left: FloatArray | None = None
    right: FloatArray | None = None
    lost: BoolArray | None = None
    offset: float = 0.0

    @property
    def n(self) -> int:
        """Number of samples."""
        return int(self.force.shape[0])

    def samples(self, seconds: float) -> int:
        """Return a duration in whole samples, at least one."""
        return max(1, round(seconds * self.rate))


def _refuse_impossible(recording: Recording, largest: float) -> None:
    if largest > HIGHEST_N:
        raise JumpError(
            f"{name_of(recording)}: {largest:.3g} N is found; no plate gives more than {HIGHEST_N:.0e} N."
            " Correct the unit, or set damaged samples to nan."
        )


def prepare(recording: Recording) -> Signal:
    """Return the force with lost samples bridged.

    Parameters
    ----------
    recording : Recording
        Force in newtons.

    Returns
    -------
    Signal
        Total and sides.

    Raises
    ------
    JumpError
        When this is no Recording, is too short or too slow, or holds hardly any number.
    """
    if not isinstance(recording, Recording):
        raise JumpError(
            f"recording: a cmjlab Recording is needed, found {type(recording).__name__}; read a file"
            " with cmjlab.read_recording or build Recording(force_n, rate_hz)."
        )
    total = recording.total_n
    n = total.shape[0]
    if n < LEAST_SAMPLES:
        raise JumpError(f"{name_of(recording)}: {n} samples, at least {LEAST_SAMPLES} are needed.")
    if recording.rate_hz < LEAST_RATE_HZ:
        raise JumpError(
            f"{name_of(recording)}: {recording.rate_hz:g} samples a second, at least {LEAST_RATE_HZ:g}"
            " are needed; is rate_hz the number of samples a second, not the time between them?"
        )
    left = right = None
    if "left" in recording.plates and "right" in recording.plates:
        left, right = recording.plate("left"), recording.plate("right")
    most, least = largest(total), smallest(total)
    if math.isfinite(most) and math.isfinite(least):
        _refuse_impossible(recording, max(most, -least))
        if left is not None and right is not None and "total" in recording.plates:
            left, right = _finite(left), _finite(right)
        return Signal(total, recording.rate_hz, left, right)
    good = np.isfinite(total)
    count = int(np.count_nonzero(good))
    if count < LEAST_SAMPLES:
        raise JumpError(
            f"{name_of(recording)}: {count} of {n} samples are numbers, at least {LEAST_SAMPLES}"
            " are needed; look at the force column of the file."
        )
    _refuse_impossible(recording, np.abs(total[good]).max())
    if left is not None and right is not None:
        left, right = _finite(left), _finite(right)
    return Signal(_bridged(total), recording.rate_hz, left, right, ~good if count < n else None)


def _finite(force: FloatArray) -> FloatArray:
    """Return the force itself when all samples are there, else with lost ones bridged."""
    return force if np.isfinite(force.sum()) else _bridged(force)


def _bridged(force: FloatArray) -> FloatArray:
    """Return the force with lost samples on a straight line between their neighbours."""
    good = np.isfinite(force)
    if not good.any():
        return np.zeros_like(force)
    out = np.array(force)
    index = np.arange(force.shape[0])
    out[~good] = np.interp(index[~good], index[good], force[good])
    return out


def mean_of(force: FloatArray) -> float:
    """Return the mean; several times as fast as ``ndarray.mean`` on short arrays."""
    return float(np.add.reduce(force)) / force.shape[0]


def without_offset(signal: Signal, start: int, stop: int, kind: str) -> Signal:
    """Return the signal with the unloaded level removed, each side with its own.

    Parameters
    ----------
    signal : Signal
        Force.
    start, stop : int
        Samples of the middle of the flight (used by kind "flight").
    kind : str
        "flight" or "minimum".
    """

    def level(force: FloatArray) -> float:
        part = force if kind == "minimum" else force[start:stop]
        return float(part.min() if kind == "minimum" else part.mean()) if part.size else 0.0

    offset = level(signal.force)
    left = right = None
    if signal.left is not None and signal.right is not None:
        left, right = signal.left - level(signal.left), signal.right - level(signal.right)
    return replace(signal, force=signal.force - offset, left=left, right=right, offset=offset)


def filtered(signal: Signal, method: Method) -> FloatArray:
    """Return the total force after a zero-lag low-pass filter (second-order sections).

    Raises
    ------
    JumpError
        When the cut-off is not below half the sampling rate or the recording is too short.
    """
    from scipy.signal import sosfiltfilt

    if method.filter_cutoff_hz >= signal.rate / 2:
        raise JumpError(
            f"filter_cutoff_hz: {method.filter_cutoff_hz:g} Hz is not below half the sampling rate"
            f" ({signal.rate / 2:g} Hz); lower it or set filter = 'none'."
        )
    sos = _sections(method.filter_order // 2, method.filter_cutoff_hz, signal.rate)
    if signal.n <= 3 * (2 * len(sos) + 1):
        raise JumpError(f"{signal.n} samples are too few to filter; set filter = 'none'.")
    return np.asarray(sosfiltfilt(sos, signal.force), dtype=np.float64)


@lru_cache(maxsize=8)
def _sections(order: int, cutoff_hz: float, rate: float) -> FloatArray:
    """Return the second-order sections of one pass of the filter."""
    from scipy.signal import butter

    return np.asarray(butter(order, cutoff_hz, fs=rate, output="sos"), dtype=np.float64)


def name_of(recording: Recording) -> str:
    """Return words that say which recording is meant, for messages."""
    parts = [recording.source.file] if recording.source else []
    parts += [
        f"{word} {value}"
        for word, value in (
            ("athlete", recording.athlete),
            ("session", recording.session),
            ("trial", recording.trial),
        )
        if value is not None
    ]
    return ", ".join(parts) or "recording"
