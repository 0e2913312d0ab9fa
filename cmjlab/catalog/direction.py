"""Better or worse: what the interval of a change says, by the catalog or by a declared target."""

from __future__ import annotations

import math

from cmjlab.catalog.metrics import METRICS

#: What a target may want of a metric, and the catalog's word for it.
WANTED = {"more": "higher", "less": "lower"}


def reading(metric: str, low: float, high: float, *, wanted: str = "") -> str:
    """Return what the interval of a change, or of a difference, says.

    Parameters
    ----------
    metric : str
        Key of the catalog, or a user's own column.
    low, high : float
        Limits in any unit.
    wanted : str
        "more" or "less" when a target of the study says so; "" asks the catalog.

    Returns
    -------
    str
        "better" or "worse" when the whole interval lies on one side of zero and one direction
        is wanted; "higher" or "lower" when none is; "open" when the interval includes zero or
        is not known.

    Examples
    --------
    >>> reading("time_to_takeoff_s", -0.08, -0.02)
    'better'
    >>> reading("countermovement_depth_m", 0.01, 0.03)
    'higher'
    """
    if not (math.isfinite(low) and math.isfinite(high)) or low <= 0 <= high:
        return "open"
    found = "higher" if low > 0 else "lower"
    direction = WANTED.get(wanted) or (METRICS[metric].direction if metric in METRICS else "")
    if direction not in ("higher", "lower"):
        return found
    return "better" if found == direction else "worse"
