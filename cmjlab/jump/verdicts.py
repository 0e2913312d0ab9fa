"""How a rule's number becomes a Check."""

from __future__ import annotations

import math

from cmjlab.catalog import CHECKS
from cmjlab.jump_types import Check

Findings = dict[str, Check]


def verdict(
    code: str, status: str, value: float, limit: float, reason: str, *, scope: str = ""
) -> Check:
    """Return a check with unit (and scope, unless given) from the catalog."""
    rule = CHECKS[code]
    return Check(code, status, value, limit, rule.unit, scope or rule.scope, reason)


def not_assessed(code: str, why: str) -> Check:
    """Return a check that could not be made, and why."""
    return verdict(code, "not_assessed", math.nan, math.nan, f"Not assessed: {why}.")


def graded(code: str, value: float, warn: float, fail: float, words: str) -> Check:
    """Return a check of a number that should be small against its two limits.

    ``words`` names the quantity; the sentence adds number, limit and unit.
    """
    if math.isnan(value):
        return not_assessed(code, f"{words} is not known")
    unit = CHECKS[code].unit
    words = words[0].upper() + words[1:]
    if value > warn:
        status, limit = ("fail", fail) if value > fail else ("warn", warn)
        reason = f"{words} is {value:.3g} {unit}, above the limit of {limit:g} {unit}."
    else:
        status, limit = "pass", warn
        reason = f"{words} is {value:.3g} {unit}."
    return verdict(code, status, value, limit, reason)
