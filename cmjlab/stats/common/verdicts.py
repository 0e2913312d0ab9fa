"""What an interval says: one choice of words for every family.

No verdict grades, none says "significant", and none stands without its interval beside it.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from typing import Any

from cmjlab.results import Reason, Sentence


def change_says(low: float, high: float) -> Sentence:
    """Return whether an interval of a change includes increases, decreases or both."""
    return Sentence(f"interval_says.{_key('change', low, high)}")


def difference_says(low: float, high: float, first: str, second: str) -> Sentence:
    """Return in which of two groups (or sessions) an interval of ``first - second`` is higher."""
    names = {"first": first, "second": second}
    return Sentence(f"interval_says.{_key('difference', low, high)}", values=names)


def relation_says(low: float, high: float) -> Sentence:
    """Return which signs an interval of a correlation or slope includes."""
    return Sentence(f"interval_says.{_key('relation', low, high)}")


def margin_says(low: float, high: float, margin: float) -> Reason:
    """Return where an interval lies against plus and minus the change that matters.

    It is a Reason, so that a row of a table can hold it as a remark.
    """
    if low > margin or high < -margin:
        return Reason("margin_beyond_up" if low > margin else "margin_beyond_down")
    reaches_up, reaches_down = high >= margin, low <= -margin
    if reaches_up and reaches_down:
        return Reason("margin_open")
    if reaches_up or reaches_down:
        return Reason("margin_open_up" if reaches_up else "margin_open_down")
    return Reason("margin_inside")


def estimate_says(row: Mapping[str, Any]) -> Sentence:
    """Return a signed number with its interval, or why one is missing, for use within a sentence.

    Parameters
    ----------
    row : mapping
        As :meth:`cmjlab.stats.common.rows.Rows.records` gives it.
    """
    known, interval = (math.isfinite(row[c]) for c in ("estimate", "ci_low"))
    key = "with_interval" if interval else "alone" if known else "none"
    numbers = {c: float(row[c]) for c in ("estimate", "ci_low", "ci_high", "level")}
    values = {**numbers, "unit": row["unit"], "why": row["reason"]}
    return Sentence(f"number.{key}", str(row["metric"]), values=values)


def side_of_zero(low: float, high: float) -> str:
    """Return where an interval lies: "up", "down", "open" (it includes zero) or "unknown"."""
    if not (math.isfinite(low) and math.isfinite(high)):
        return "unknown"
    return "up" if low > 0 else "down" if high < 0 else "open"


def _key(kind: str, low: float, high: float) -> str:
    side = side_of_zero(low, high)
    return side if side == "unknown" else f"{kind}_{side}"
