"""What the interval of a change says, against the change that matters; the interval decides."""

from __future__ import annotations

from cmjlab.catalog.direction import reading
from cmjlab.report.blocks.format import Estimate
from cmjlab.results import Sentence


def verdict(change: Estimate, matters: float | None) -> Sentence:
    """Return what an interval says, as a sentence of a few words.

    Parameters
    ----------
    change : Estimate
        A change of a mean or of one athlete.
    matters : float or None
        The declared change that matters, in the metric's table unit.
    """
    values = {"matters": matters, "n": change.n}
    return Sentence(f"verdict.{_key(change, matters)}", change.metric, values=values)


def _key(change: Estimate, matters: float | None) -> str:
    if not change.has_interval:
        return "none"
    found = reading(change.metric, change.low, change.high)
    if matters is not None and -matters < change.low and change.high < matters:
        return "inside"
    if found == "open" or matters is None:
        return found
    beyond = change.low > matters or change.high < -matters
    return f"{found}_beyond" if beyond else f"{found}_some"
