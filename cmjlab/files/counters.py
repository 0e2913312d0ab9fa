"""Columns that count: samples, or frames with sub-frames. They are a clock at best, never force."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from cmjlab.files.columns import Columns, FloatArray

#: Of the steps of a column that numbers samples, at least this share rises.
_MOST_RISE = 0.9


@dataclass(frozen=True)
class Counter:
    """The column that numbers the samples, or the frames with their sub-frames in ``part``."""

    column: int
    part: int | None = None


def rises(values: FloatArray | None) -> bool:
    """Return whether a column goes up throughout, repeats allowed."""
    if values is None:
        return False
    steps = np.diff(values[np.isfinite(values)])
    return steps.size > 0 and float(np.mean(steps >= 0)) > 0.99 and bool(values[-1] != values[0])


def find_counter(columns: Columns, candidates: list[int]) -> Counter | None:
    """Return the column that numbers the samples, None when none does.

    A frame that stands on several rows numbers no samples; together with its sub-frame it does.
    """
    rising = [i for i in candidates if rises(columns.values[i])]
    for i in rising:
        if _numbers_rows(columns.values[i]):
            return Counter(i)
    for frame in rising:
        for part in candidates:
            found = Counter(frame, part)
            if part != frame and _numbers_rows(sample_numbers(columns, found)):
                return found
    return None


def sample_numbers(columns: Columns, counter: Counter) -> FloatArray | None:
    """Return a counter's values; frames and sub-frames become one count of samples."""
    frames = columns.values[counter.column]
    parts = None if counter.part is None else columns.values[counter.part]
    if parts is None or frames is None:
        return frames
    if not np.isfinite(parts).any():
        return None
    low, high = float(np.nanmin(parts)), float(np.nanmax(parts))
    return frames * (high - low + 1.0) + (parts - low)


def counts(values: FloatArray) -> bool:
    """Return whether values are those of a counter: even whole steps, repeats or cycles of them."""
    steps = np.diff(values)
    if not np.all(steps == np.rint(steps)):
        return False
    kinds, often = np.unique(steps, return_counts=True)
    if kinds.size == 1:
        return bool(kinds[0] != 0.0)
    if kinds.size != 2 or kinds[1] <= 0.0 or often.min() < 2:
        return False
    turns = np.flatnonzero(steps == kinds[np.argmin(often)])
    return np.unique(np.diff(turns)).size == 1


def _numbers_rows(values: FloatArray | None) -> bool:
    if values is None:
        return False
    steps = np.diff(values[np.isfinite(values)])
    return steps.size > 0 and float(np.mean(steps > 0)) > _MOST_RISE
