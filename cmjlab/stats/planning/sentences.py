"""What a plan says: athletes needed, and how precisely a squad's changes will be known."""

from __future__ import annotations

from cmjlab.results import Note, Sentence
from cmjlab.stats.common.noise import Noise
from cmjlab.stats.planning.power import LARGEST
from cmjlab.stats.planning.rows import Point, why_no_number
from cmjlab.stats.planning.scenario import Scenario
from cmjlab.stats.planning.spread import ONE_GROUP, Spread
from cmjlab.stats.planning.uncertain import ASSURANCE, UncertainError


def needed_sentence(
    metric: str, points: list[Point], spread: Spread, matters: float, power: float
) -> Sentence:
    """Return the athletes needed in each design."""
    values = {
        "matters": matters,
        "power": power,
        "designs": [_needed(p, spread) for p in points],
        "assumed": _assumed(spread),
    }
    return Sentence("planning.needed", metric, values=values)


def _needed(point: Point, spread: Spread) -> Sentence:
    design = design_phrase(point["design"])
    if point["n"] is None:
        values = {"design": design, "why": why_no_number(point["design"], spread)}
        return Sentence("planning.needed_not_known", values=values)
    key = "alone" if point["design"] == ONE_GROUP else "each"
    return Sentence(f"planning.needed_{key}", values={"n": point["n"], "design": design})


def range_sentences(
    metric: str,
    points: list[Point],
    spread: Spread,
    known: UncertainError,
    wanted: tuple[float, float],
) -> list[Sentence]:
    """Return how far the sizes can be trusted, the typical error being estimated.

    ``wanted`` are power and level. A typical error without df has no range; its note says so.
    """
    sizes = [p for p in points if p["n"] is not None]
    if not known.is_estimated or not sizes:
        return []
    power, level = wanted
    low, high = known.limits(level)
    values = {
        "error": known.typical_error,
        "low": low,
        "high": high,
        "level": level,
        "power": power,
        "designs": [_range(p) for p in sizes],
        "assumed": _assumed(spread),
    }
    return [Sentence("planning.needed_range", metric, values=values)]


def _range(point: Point) -> Sentence:
    sizes = {k: _size(point[k]) for k in ("n_low", "n_high", "n", "n_assured")}
    sure = {"assurance": point["assurance"], "share": ASSURANCE}
    return Sentence(
        "planning.range", values={**sizes, **sure, "design": design_phrase(point["design"])}
    )


def _size(n: int | None) -> Sentence:
    if n is None:
        return Sentence("planning.size_too_large", values={"largest": LARGEST})
    return Sentence("planning.size", values={"n": n})


def precision_sentence(
    metric: str, points: list[Point], spread: Spread, sizes: tuple[int, ...]
) -> Sentence:
    """Return how precisely changes will be known with groups of these sizes."""
    widths = [
        Sentence(
            "planning.known_to",
            metric,
            values={"half": p["half_width"], "design": design_phrase(p["design"])},
        )
        for p in points
    ]
    values = {"sizes": list(sizes), "widths": widths, "assumed": _assumed(spread)}
    return Sentence("planning.squad_shows", metric, values=values)


def design_phrase(design: str) -> Sentence:
    """Return the name of a design, or of "one_athlete"."""
    return Sentence(f"planning.design_{design}")


def _assumed(spread: Spread) -> Sentence:
    key = "planning.assumed_with_drift" if spread.drift else "planning.assumed"
    values = {"response": spread.response, "drift": spread.drift, "n": spread.baselines}
    return Sentence(key, values=values)


def plan_notes(metric: str, noise: Noise, between: float, scenario: Scenario) -> list[Note]:
    """Return what the numbers rest on."""
    cited = noise.df == float("inf")
    notes = [
        Note("assumed_spread", {"spreads": [float(r) for r in scenario.response_sd]}),
        Note("typical_error_cited", {"metric": metric, "error": noise.typical_error})
        if cited
        else Note("typical_error_uncertain", {"metric": metric, "df": float(noise.df)}),
    ]
    if between <= 0:
        notes.append(Note("no_between_sd", {"metric": metric}))
    return notes
