"""Quality rules: every rule reports, passed or not, with the number and its limit."""

from __future__ import annotations

from cmjlab.catalog import CHECKS
from cmjlab.jump.analysis import Analysis
from cmjlab.jump.quality_landing import landing_checks
from cmjlab.jump.quality_movement import movement_checks
from cmjlab.jump.quality_plate import plate_checks
from cmjlab.jump.verdicts import Findings, not_assessed
from cmjlab.jump_types import Check
from cmjlab.method import Method

_CODES = tuple(code for code, rule in CHECKS.items() if rule.level == "jump")


def all_checks(
    found: Analysis, numbers: dict[str, float], moved_s: float | None, method: Method
) -> tuple[Check, ...]:
    """Return every rule of one recording, in the order of the catalog.

    Parameters
    ----------
    found : Analysis
        Intermediate results.
    numbers : dict of str to float
        Metrics; empty when no jump was found.
    moved_s : float or None
        Largest shift of an event that a person fixed; None when none was.
    method : Method
        Limits.
    """
    checks: Findings = {}
    checks.update(movement_checks(found, numbers, moved_s, method.limits))
    checks.update(plate_checks(found, numbers, method))
    checks.update(landing_checks(found, numbers, checks, method.limits))
    return tuple(checks.get(code) or not_assessed(code, "no jump was found") for code in _CODES)
