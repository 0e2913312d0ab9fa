"""Quality rules (first part)."""

from __future__ import annotations

import math

from cmjlab.jump.analysis import Analysis
from cmjlab.jump_types import Check
from cmjlab.method import Method


def graded(
    code: str, value: float, warn: float, fail: float, unit: str, *, scope: str = "jump",
    words: str = "",
) -> Check:  # fmt: skip
    """Return a check of a size against a warn and a fail limit."""
    if math.isnan(value):
        return Check(code, "not_assessed", value, warn, unit, scope, f"{words}: not known.")
    if value > fail:
        status, limit = "fail", fail
    elif value > warn:
        status, limit = "warn", warn
    else:
        status, limit = "pass", warn
    return Check(code, status, value, limit, unit, scope, f"{words} {value:.3g} {unit}.")


def all_checks(found: Analysis, numbers: dict[str, float], method: Method) -> list[Check]:
    """Return every check of one recording."""
    limits = method.limits
    if found.phases is None or found.weighing is None or found.edges is None:
        return [Check("no_flight", "fail", math.nan, math.nan, "s", "jump", "No jump was found.")]
    w = found.weighing
    checks = [
        Check(
            "no_flight",
            "pass",
            numbers.get("flight_time_s", math.nan),
            math.nan,
            "s",
            "jump",
            "A flight was found.",
        ),
        graded(
            "still_weighing",
            100 * w.sd / w.weight,
            limits.still_warn_percent,
            limits.still_fail_percent,
            "% BW",
            words="SD while weighing",
        ),
        graded(
            "unloaded_offset",
            abs(found.edges.unloaded),
            limits.offset_warn_n,
            limits.offset_fail_n,
            "N",
            words="mean force in flight",
        ),
        graded(
            "flight_noise",
            found.edges.noise,
            limits.noise_warn_n,
            limits.noise_fail_n,
            "N",
            words="SD of force in flight",
        ),
    ]
    rest = 100 * abs(found.rest.weight / w.weight - 1) if found.rest else math.nan
    checks.append(
        graded(
            "rest_to_rest",
            rest,
            limits.rest_warn_percent,
            limits.rest_fail_percent,
            "%",
            words="body weight rest to rest differs by",
        )
    )
    return checks
