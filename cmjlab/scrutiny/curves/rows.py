"""What was found along the curves as rows of the statistics table."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from cmjlab.results import Case, Reason
from cmjlab.scrutiny.curves.effects import Athlete, Effect
from cmjlab.scrutiny.curves.question import Question
from cmjlab.stats.common.multiplicity import adjust_p
from cmjlab.stats.common.rows import Place, Rows
from cmjlab.stats.curves.max_t import Band
from cmjlab.stats.curves.noise import CurveNoise
from cmjlab.stats.curves.stretches import Stretch

Array = NDArray[np.float64]


def stretch_case(question: Question, stretch: Stretch) -> Case:
    """Return where a stretch lies, as the case of its row."""
    values = {"phase": question.phases[stretch.phase], "start": stretch.start, "end": stretch.end}
    return Case("curve_point" if stretch.first == stretch.last else "curve_stretch", values)


def over(stretch: Stretch, estimate: Array, half: Array) -> tuple[float, float, float]:
    """Return the mean change over a stretch, and the means of the band's limits.

    The band holds at all points together, so the means of its limits hold the mean of the truth,
    whichever stretch was looked at.
    """
    middle, wide = float(estimate[stretch.points].mean()), float(half[stretch.points].mean())
    return middle, middle - wide, middle + wide


def add_effects(
    rows: Rows, question: Question, within: Sequence[Effect], between: Sequence[Effect]
) -> None:
    """Add the rows of groups and of their differences."""
    shared = {"metric": question.quantity, "unit": question.unit}
    for effect in within:
        where = {"first": question.after, "second": question.before}
        place = rows.at(**shared, group=effect.first or None, **where, n=effect.sizes[0])
        _add_effect(place, question, effect, "signs_dealt", float("nan"))
    known = [e.band.p_any if isinstance(e.band, Band) else np.nan for e in between]
    adjusted = adjust_p(known) if len(between) > 1 else np.full(len(between), np.nan)
    for effect, p_adjusted in zip(between, adjusted, strict=True):
        where = {"first": effect.first, "second": effect.second,
                 "session": question.after, "since": question.before}  # fmt: skip
        place = rows.at(**shared, **where, n=sum(effect.sizes))
        _add_effect(place, question, effect, "labels_dealt", float(p_adjusted))


def _add_effect(
    place: Place, question: Question, effect: Effect, estimator: str, p_adjusted: float
) -> None:
    """Add the largest |t| of one band, and a row for each stretch."""
    band = effect.band
    if isinstance(band, Reason):
        place.at(unit=None).none("curve_largest_t", band)
        return
    remark = Reason("comparison_only") if question.biased and effect.second else None
    words = {"deals": band.deals}
    place.at(unit=None).add(
        "curve_largest_t", band.largest, test_value=band.largest, p=band.p_any, p_adjusted=p_adjusted,
        reason=Reason("curve_without_spread"), remark=remark, estimator=estimator, words=words,
    )  # fmt: skip
    for stretch in effect.found:
        estimate, low, high = over(stretch, band.estimate, band.critical * band.se)
        place.at(case=stretch_case(question, stretch)).add(
            "curve_stretch", estimate, limits=(low, high), remark=remark, words=words,
            p=float(band.p[stretch.points].min()), estimator="mean_over_stretch",
            interval_kind="band_of_curve",
        )  # fmt: skip


def add_athletes(
    rows: Rows, question: Question, noise: CurveNoise | Reason, athletes: Sequence[Athlete]
) -> None:
    """Add the noise of each phase, and each athlete beside it."""
    shared = rows.at(metric=question.quantity, unit=question.unit)
    if isinstance(noise, Reason):
        shared.none("curve_typical_error", noise)
        return
    squares = (noise.typical_error**2).reshape(len(question.phases), -1)
    for phase, square in zip(question.phases, squares, strict=True):
        place = shared.at(case=Case("curve_phase", {"phase": phase}))
        place.add("curve_typical_error", float(np.sqrt(square.mean())), df=noise.df,
                  estimator="over_phase")  # fmt: skip
    for one in athletes:
        place = shared.at(athlete=one.athlete, group=one.group or None, first=question.after,
                          second=question.before, n=1)  # fmt: skip
        remark = Reason("curve_beyond_noise" if one.found else "curve_within_noise")
        place.at(unit=None).add(
            "curve_athlete_largest", one.largest, remark=remark, df=noise.df,
            estimator="largest_beside_noise", words={"critical": noise.critical},
        )  # fmt: skip
        for stretch in one.found:
            estimate, low, high = over(stretch, one.change, noise.half_width)
            place.at(case=stretch_case(question, stretch)).add(
                "curve_athlete_stretch", estimate, limits=(low, high), df=noise.df,
                estimator="mean_over_stretch", interval_kind="noise_of_curve",
            )  # fmt: skip
