"""Rows and points of a study plan for one metric."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from math import ceil
from typing import Any

import numpy as np
from scipy import special

from cmjlab.results import Case, Reason
from cmjlab.stats.common.noise import Noise
from cmjlab.stats.common.rows import Place
from cmjlab.stats.planning import power as exact
from cmjlab.stats.planning.scenario import Scenario
from cmjlab.stats.planning.simulation import simulated_power
from cmjlab.stats.planning.spread import ANCOVA, DESIGNS, ONE_GROUP, Spread
from cmjlab.stats.planning.uncertain import ASSURANCE as SURE_OF_POWER
from cmjlab.stats.planning.uncertain import (
    UncertainError,
    assured_half_width,
    uncertain_point,
    why_no_range,
)

#: One row of a tidy table behind a figure.
Point = dict[str, Any]

#: Share of studies in which an assured half width is not exceeded.
ASSURANCE = 0.8
#: Fewest simulated studies that say anything, and largest group that is simulated.
_FEWEST_STUDIES, _LARGEST_SIMULATED = 100, 500


def needed_points(
    spread: Spread, known: UncertainError, aim: tuple[float, float, float]
) -> list[Point]:
    """Return the athletes needed (per group) in each design; n is None where there is no number.

    ``aim`` is the change that matters, the wanted power and the level. ``power`` is what the
    number reaches; the columns of :func:`uncertain_point` say how far it can be trusted.
    """
    matters, power, level = aim
    points = []
    for design in DESIGNS:
        point: Point = {"design": design, **spread.assumptions(), "n": None, "power": np.nan}
        if design in spread.designs:
            n = exact.smallest(_reached(spread, design, matters, level, power))
            if n is not None:
                point |= {"n": n, "power": float(spread.power(design, matters, n, level))}
                point |= uncertain_point(known, spread, design, aim, n)
        points.append(point)
    return points


def _reached(
    spread: Spread, design: str, matters: float, level: float, power: float
) -> Callable[[int], bool]:
    return lambda n: bool(spread.power(design, matters, n, level) >= power)


def why_no_number(design: str, spread: Spread) -> Reason:
    """Return why a design has no number of athletes."""
    if design not in spread.designs:
        return Reason("no_spread_known")
    return Reason("too_many_needed", {"largest": exact.LARGEST})


def needed_rows(
    place: Place, points: list[Point], spread: Spread, known: UncertainError, scenario: Scenario
) -> None:
    """Add the athletes needed in each design, with their range, and the power reached.

    Parameters
    ----------
    place : Place
        Of the metric.
    points : list of dict
        As :func:`needed_points` returns them, for ``spread``.
    spread : Spread
    known : UncertainError
    scenario : Scenario
    """
    for point in points:
        here = place.at(case=spread.case(point["design"]), estimator="power_noncentral_t")
        n = point["n"]
        if n is None:
            here.none("n_needed", why_no_number(point["design"], spread), level=place.level)
            continue
        low, high = (np.nan if point[k] is None else point[k] for k in ("n_low", "n_high"))
        here.add(
            "n_needed",
            n,
            limits=(low, high),
            interval_kind="typical_error_limits",
            n=n,
            df=known.df if known.is_estimated else None,
            reason=why_no_range(known),
            remark=_to_test(n, scenario.attrition),
        )
        here.add("power", point["power"], n=n, level=place.level)
        _uncertain_rows(here, point, known)


def _uncertain_rows(here: Place, point: Point, known: UncertainError) -> None:
    """Add what a size is worth when the typical error is only estimated."""
    here = here.at(estimator="noise_chi_square")
    n, words = point["n_assured"], {"share": SURE_OF_POWER}
    enough = np.nan if n is None else n
    here.add("n_needed_assured", enough, n=n, reason=why_no_range(known), words=words)
    if known.is_estimated:
        for statistic in ("assurance", "expected_power"):
            here.add(statistic, point[statistic], n=point["n"], words=words)


def simulated_rows(
    place: Place, points: list[Point], spread: Spread, matters: float, scenario: Scenario
) -> None:
    """Add the power of simulated studies of the sizes needed, where any are wanted."""
    if scenario.simulations < _FEWEST_STUDIES:
        return
    for point in points:
        n = point["n"]
        if n is not None and n <= _LARGEST_SIMULATED:
            _simulated_row(place, point["design"], spread, matters, n, scenario)


def _to_test(n: int, attrition: float) -> Reason | None:
    """Return how many to test before the block when some will drop out."""
    if attrition <= 0:
        return None
    return Reason("test_more", {"tested": ceil(n / (1 - attrition)), "attrition": attrition})


def _simulated_row(
    place: Place, design: str, spread: Spread, matters: float, n: int, scenario: Scenario
) -> None:
    """Add simulated power with its Monte Carlo interval."""
    value = simulated_power(design, spread, matters, n, place.level, scenario)
    half = 1.96 * float(np.sqrt(value * (1 - value) / scenario.simulations))
    place.at(case=spread.case(design)).add(
        "power_simulated",
        value,
        limits=(value - half, value + half),
        n=n,
        estimator="simulated_studies",
        interval_kind="monte_carlo",
        words={"simulations": scenario.simulations},
    )


def power_points(spreads: list[Spread], matters: float, level: float, largest: int) -> list[Point]:
    """Return power over the number of athletes per group: the planning picture."""
    n = np.arange(3, largest + 1)
    return [
        {"design": design, **spread.assumptions(), "n": int(k), "power": float(p)}
        for spread in spreads
        for design in spread.designs
        for k, p in zip(n, spread.power(design, matters, n, level), strict=True)
    ]


def precision_points(spreads: list[Spread], level: float, largest: int) -> list[Point]:
    """Return expected and assured half widths over the number of athletes per group."""
    n = np.arange(3, largest + 1)
    points = []
    for spread in spreads:
        for design in spread.designs:
            se, df = spread.error(design, n, n)
            expected = exact.half_width(se, df, level)
            assured = exact.half_width(se, df, level, ASSURANCE)
            points += [
                {
                    "design": design,
                    **spread.assumptions(),
                    "n": int(k),
                    "half_width": float(e),
                    "assured_half_width": float(a),
                }
                for k, e, a in zip(n, expected, assured, strict=True)
            ]
    return points


def jumps_points(noise: Noise, level: float) -> list[Point]:
    """Return one athlete's typical error and half width over jumps and baselines, from components."""
    if not noise.has_components:
        return []
    points = []
    for jumps in range(1, 11):
        for baselines in range(1, 5):
            se, df = noise.change_se_from_jumps(np.full(baselines, jumps), np.array([jumps]))
            error = float(np.sqrt(noise.between_days**2 + noise.between_jumps**2 / jumps))
            half = float(special.stdtrit(df, 0.5 + level / 2)) * se
            points.append(
                {"jumps": jumps, "baselines": baselines, "typical_error": error, "half_width": half}
            )
    return points


def squad_points(spread: Spread, sizes: tuple[int, ...], noise: Noise, level: float) -> list[Point]:
    """Return half widths for given group sizes, and for one athlete (design "one_athlete")."""
    n2 = sizes[1] if len(sizes) == 2 else sizes[0]
    wanted = (ONE_GROUP,) if len(sizes) == 1 else spread.designs
    points = []
    for design in wanted:
        if design == ANCOVA and sum(sizes) < 5:
            continue
        se, df = (float(x) for x in spread.error(design, sizes[0], n2))
        points.append(
            {
                **_width_range(noise, spread, design, (sizes[0], n2), level),
                "design": design,
                **spread.assumptions(),
                "n": sizes[0] if design == ONE_GROUP else sum(sizes),
                "df": df,
                "se": se,
                "half_width": float(exact.half_width(se, df, level)),
                "assured_half_width": float(exact.half_width(se, df, level, ASSURANCE)),
            }
        )
    se, df = noise.change_se(spread.baselines, 1)
    half = float(special.stdtrit(df, 0.5 + level / 2)) * se
    one = {"design": "one_athlete", **spread.assumptions(), "n": 1, "df": df, "half_width": half}
    return [*points, one]


def _width_range(
    noise: Noise, spread: Spread, design: str, sizes: tuple[int, int], level: float
) -> Point:
    """Return the expected half width at the limits of the typical error, and the assured one."""
    known = UncertainError(noise.typical_error, noise.df)
    if not known.is_estimated:
        return {"half_width_low": np.nan, "half_width_high": np.nan, "assured_of_noise": np.nan}
    ends = []
    for error in known.limits(level):
        se, df = replace(spread, typical_error=error).error(design, *sizes)
        ends.append(float(exact.half_width(se, df, level)))
    assured = assured_half_width(known, spread, design, sizes, level)
    return {"half_width_low": ends[0], "half_width_high": ends[1], "assured_of_noise": assured}


def squad_rows(place: Place, points: list[Point], spread: Spread) -> None:
    """Add the half widths of :func:`squad_points`."""
    for point in points:
        shared = {"n": point["n"], "df": point["df"], "level": place.level}
        if point["design"] == "one_athlete":
            case = Case("one_athlete", {"baselines": spread.baselines})
            place.at(case=case).add(
                "expected_half_width",
                point["half_width"],
                estimator="half_width_of_noise",
                **shared,
            )
            continue
        here = place.at(case=spread.case(point["design"]), se=point["se"])
        here.add(
            "expected_half_width",
            point["half_width"],
            limits=(point["half_width_low"], point["half_width_high"]),
            interval_kind="typical_error_limits",
            estimator="half_width_expected",
            **shared,
        )
        here.add(
            "assured_half_width",
            point["assured_half_width"],
            estimator="half_width_assured",
            words={"share": ASSURANCE},
            **shared,
        )
        if np.isfinite(point["assured_of_noise"]):
            here.add(
                "assured_half_width",
                point["assured_of_noise"],
                estimator="half_width_assured_of_noise",
                words={"share": ASSURANCE},
                **shared,
            )
