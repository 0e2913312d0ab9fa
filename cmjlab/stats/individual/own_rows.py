"""Rows of one athlete's change with the noise of that athlete; see ``own_noise``."""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray

from cmjlab.results import Reason, Result
from cmjlab.stats.change.pairs import Pairs
from cmjlab.stats.common.noise import Noise
from cmjlab.stats.common.rows import Place
from cmjlab.stats.individual.own_noise import FEWEST, OwnNoise, own_noise

Array = NDArray[np.float64]


def noise_of_each(reliability: Any, metric: str, athletes: tuple[str, ...]) -> OwnNoise | Reason:
    """Return the noise of each athlete from the sessions behind a reliability Result, or why not.

    Parameters
    ----------
    reliability : Result or mapping
        Only a Result holds the athletes' sessions.
    metric : str
    athletes : tuple of str
        Athletes to speak of, also those without sessions of their own.
    """
    if not isinstance(reliability, Result) or "values" not in reliability.points:
        return Reason("own_noise_unknown")
    values = reliability.points["values"]
    found = own_noise(values[values["metric"] == metric], athletes)
    return Reason("few_for_own_noise", {"needed": FEWEST}) if found is None else found


def add_own(
    athletes: Place, own: OwnNoise | Reason, noise: Noise, part: Pairs, se: Array
) -> dict[str, Array]:
    """Add each athlete's change, typical error and detectable change with own noise.

    Parameters
    ----------
    athletes : Place
        One place per athlete.
    own : OwnNoise or Reason
    noise : Noise
        Typical error of everybody.
    part : Pairs
    se : array, shape (n,)
        Standard errors of the changes by the typical error of everybody: over it, they say
        how many sessions and jumps stand behind each change.

    Returns
    -------
    dict of str to array
        Points: own_low, own_high, own_error. Empty where own noise is not known.
    """
    if isinstance(own, Reason):
        athletes.none("individual_change_own", own)
        return {}
    at = own.places(part.athletes)
    half = own.half_width(athletes.level)[at]
    size = half * se / noise.typical_error
    low, high = part.change - size, part.change + size
    same: dict[str, Any] = {"estimator": "own_noise", "interval_kind": "own_noise"}
    athletes.add("individual_change_own", part.change, limits=(low, high), **same)
    error, least, most = (x[at] for x in own.typical_error(athletes.level))
    athletes.add("typical_error_own", error, limits=(least, most), df=own.own_df[at], **same)
    athletes.add("detectable_change_own", np.sqrt(2.0) * half, **same)
    return {"own_low": low, "own_high": high, "own_error": error}
