"""A plate that was zeroed with the athlete on it: standing reads nearly 0, flight minus the weight."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from cmjlab.files.columns import FloatArray
from cmjlab.files.notes import note
from cmjlab.recording import ReadingNote

#: All limits are parts of the level in flight; our own choice, no source.
#: The athlete pushes off and lands with at least this much more than the weight ...
_LEAST_PUSH = 0.3
#: ... and with less than this many times the weight more.
_MOST_PUSH = 10.0
#: Samples this deep belong to the flight, and scatter so little; a landing peak, turned over,
#: scatters by a tenth.
_DEEP, _FLAT = 0.5, 0.05
#: Standing reads less than this.
_MOST_STANDING = 0.25
#: The athlete is off the plate for less than this part of the recording.
_MOST_FLIGHT = 0.5
#: A flight has at least this many samples (a quarter of a second at 40 Hz).
_FEWEST = 10


@dataclass(frozen=True)
class Zeroed:
    """Levels of a zeroed plate as they stand in the file; ``flight`` is far from zero."""

    flight: float
    standing: float

    @property
    def weight(self) -> float:
        """What the plate would read in standing, negative when pushing down is."""
        return self.standing - self.flight

    def times(self, factor: float) -> Zeroed:
        """Return the levels in another unit."""
        return Zeroed(factor * self.flight, factor * self.standing)


def zeroed_with_athlete(values: FloatArray) -> Zeroed | None:
    """Return the levels of a plate that was zeroed under load, None when it was not.

    Nothing pushes less than in flight, so a flat stretch is the lowest there is: at zero on a
    good plate, far below zero here. A file whose sign is reversed has its flight at zero too,
    and never rises far above it. Where both senses are possible, the longer flight is believed.
    """
    low, high = float(values.min()), float(values.max())
    if not (math.isfinite(low) and math.isfinite(high)):
        values = values[np.isfinite(values)]
        low, high = (float(values.min()), float(values.max())) if values.size else (0.0, 0.0)
    upright = _levels(values, low) if _may_be_flight(low, high) else None
    turned = _levels(-values, -high) if _may_be_flight(-high, -low) else None
    if turned is None or (upright is not None and upright[1] >= turned[1]):
        return None if upright is None else upright[0]
    return Zeroed(-turned[0].flight, -turned[0].standing)


def note_zeroed(which: str, standing: float, flight: float) -> ReadingNote:
    """Return the note on plates zeroed under load, levels in newtons, with what to do."""
    return note(
        "zeroed_with_athlete",
        f"The plates{which} seem to have been zeroed with the athlete on them: standing reads about"
        f" {_whole(standing)} N, flight about {_whole(flight)} N. Nothing was changed here; to"
        ' measure, state offset_removal = "flight" under [method] in study.toml, or'
        " `--set offset_removal=flight` on the command line.",
    )


def _whole(newtons: float) -> str:
    return f"{newtons:.0f}".replace("-0", "0").replace("-", "−")


def _may_be_flight(low: float, high: float) -> bool:
    return low < 0.0 and _LEAST_PUSH * -low < high < _MOST_PUSH * -low


def _levels(values: FloatArray, low: float) -> tuple[Zeroed, int] | None:
    """Return the levels and the length of the flight.

    The lowest stretch is one when it is flat and short, and the rest lies around zero.
    """
    deep = values < _DEEP * low
    edges = np.flatnonzero(np.diff(np.concatenate([[False], deep, [False]]).astype(np.int8)))
    starts, stops = edges[0::2], edges[1::2]
    longest = int(np.argmax(stops - starts))
    count = int(stops[longest] - starts[longest])
    if count < _FEWEST or float(deep.mean()) > _MOST_FLIGHT:
        return None
    trim = count // 10 + 1
    flight = values[starts[longest] + trim : stops[longest] - trim]
    level, standing = float(flight.mean()), float(np.median(values[~deep]))
    flat = float(flight.std()) <= _FLAT * abs(level)
    near_zero = abs(standing) < _MOST_STANDING * abs(level)
    return (Zeroed(level, standing), count) if flat and near_zero else None
