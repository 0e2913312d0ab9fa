"""What an interval says: one choice of words for every family.

No verdict grades, none says "significant", and none stands without its interval beside it.
"""

from __future__ import annotations

import math

from cmjlab.results import Sentence


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


def side_of_zero(low: float, high: float) -> str:
    """Return where an interval lies: "up", "down", "open" (it includes zero) or "unknown"."""
    if not (math.isfinite(low) and math.isfinite(high)):
        return "unknown"
    return "up" if low > 0 else "down" if high < 0 else "open"


def _key(kind: str, low: float, high: float) -> str:
    side = side_of_zero(low, high)
    return side if side == "unknown" else f"{kind}_{side}"
