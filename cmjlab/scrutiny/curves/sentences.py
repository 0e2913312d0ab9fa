"""What the curves show in plain words: where, which way, how much."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from cmjlab.results import Reason, Sentence
from cmjlab.scrutiny.curves.effects import Athlete, Effect
from cmjlab.scrutiny.curves.question import Question
from cmjlab.scrutiny.curves.rows import over
from cmjlab.stats.curves.noise import CurveNoise
from cmjlab.stats.curves.stretches import Stretch

#: Stretches of one athlete that a sentence names.
_MOST = 2


def effect_sentences(question: Question, effects: Sequence[Effect]) -> list[Sentence]:
    """Return one sentence for each group or comparison."""
    return [_effect(question, e) for e in effects]


def _effect(question: Question, effect: Effect) -> Sentence:
    kind = "between" if effect.second else "within"
    values: dict[str, Any] = {
        "before": question.before,
        "after": question.after,
        "unit": question.unit,
    }
    if effect.second:
        values |= {"first": effect.first, "second": effect.second,
                   "n_first": effect.sizes[0], "n_second": effect.sizes[1]}  # fmt: skip
    else:
        values |= {"athletes": effect.sizes[0]}
    group = "" if effect.second else effect.first

    def said(how: str, **more: Any) -> Sentence:
        return Sentence(f"curves.{kind}_{how}", question.quantity, group, {**values, **more})

    band = effect.band
    if isinstance(band, Reason):
        return said("none", why=band)
    if band.largest != band.largest:
        return said("none", why=Reason("curve_without_spread"))
    if band.floor > 1 - band.level + 1e-12:
        least = {"floor": band.floor, "level": band.level}
        return said("none", why=Reason("curve_too_few_deals", least))
    if not effect.found:
        return said("open", p=band.p_any)
    found = []
    for stretch in effect.found:
        estimate, low, high = over(stretch, band.estimate, band.critical * band.se)
        size = {"estimate": estimate, "low": low, "high": high, "level": band.level,
                "unit": question.unit, "p": float(band.p[stretch.points].min())}  # fmt: skip
        found.append(Sentence("curves.effect", values={**_where(question, stretch), **size}))
    return said("found", effects=found)


def _where(question: Question, stretch: Stretch) -> dict[str, Sentence]:
    """Return what there is more or less of, and where, as phrases."""
    return {"what": way(question, stretch), "where": place(question, stretch)}


def way(question: Question, stretch: Stretch) -> Sentence:
    """Return which way the curve moved: more force, or faster downward movement."""
    family = question.quantity.removesuffix("_per_kg")
    upward = question.phases[stretch.phase] == "propulsion"
    heading = ("_up" if upward else "_down") if family in ("velocity", "power") else ""
    sign = "plus" if stretch.sign > 0 else "minus"
    return Sentence(f"curve_way.{family}{heading}_{sign}")


def place(question: Question, stretch: Stretch) -> Sentence:
    """Return where a stretch lies: in the last 40 % of braking."""
    values = {"phase": question.phases[stretch.phase], "start": stretch.start, "end": stretch.end}
    if stretch.first == stretch.last:
        return Sentence("curve_place.point", values=values)
    if stretch.start <= 0.0 and stretch.end >= 100.0:
        return Sentence("curve_place.all", values=values)
    if stretch.end >= 100.0:
        return Sentence("curve_place.last", values={**values, "share": 100.0 - stretch.start})
    if stretch.start <= 0.0:
        return Sentence("curve_place.first", values={**values, "share": stretch.end})
    return Sentence("curve_place.between", values=values)


def athlete_sentences(
    question: Question, noise: CurveNoise | Reason, athletes: Sequence[Athlete]
) -> list[Sentence]:
    """Return who left the noise of the own curve, and where."""
    if isinstance(noise, Reason):
        return [Sentence("curves.no_noise", question.quantity, values={"why": noise})]
    beyond = [a for a in athletes if a.found]
    values: dict[str, Any] = {"of": len(athletes), "level": noise.level, "before": question.before,
                              "after": question.after}  # fmt: skip
    if not beyond:
        return [Sentence("curves.athletes_none", question.quantity, values=values)]
    each = [_athlete(question, a) for a in beyond]
    values |= {"n": len(beyond), "each": each}
    return [Sentence("curves.athletes_beyond", question.quantity, values=values)]


def _athlete(question: Question, one: Athlete) -> Sentence:
    """Return an athlete with the longest stretches."""
    longest = sorted(one.found, key=lambda s: s.first - s.last)[:_MOST]
    places = [Sentence("curves.athlete_effect", values=_where(question, s)) for s in sorted(longest, key=lambda s: s.first)]  # fmt: skip
    return Sentence("curves.athlete", values={"athlete": one.athlete, "effects": places})
