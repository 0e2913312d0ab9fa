"""How many athletes, jumps and baselines are needed, and what a squad of this size can show."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import pandas as pd

from cmjlab import checks
from cmjlab.errors import StatsError
from cmjlab.keys import key_of
from cmjlab.results import Note, Result
from cmjlab.settings import Settings, setting
from cmjlab.stats.common.noise import Noise, noise_of
from cmjlab.stats.common.tables import statistics_frame, unit_of
from cmjlab.stats.planning.rows import (
    Spread,
    jumps_points,
    needed_rows,
    needed_sentence,
    power_points,
    precision_points,
    precision_rows,
    precision_sentence,
    simulated_rows,
)


@dataclass(frozen=True, eq=False)
class Scenario(Settings):
    """What is not known before the block and has to be assumed; every field is stated in the result."""

    response_sd: tuple[float, ...] = setting(
        (0.0, 0.5, 1.0, 1.5),
        "spread of true responses in the trained group, in typical errors; several are shown"
        " because nobody knows it in advance",
    )
    drift_sd: float = setting(
        0.0,
        "slow true change of athletes over the block without training, in typical errors",
        low=0.0,
        high=20.0,
    )
    sd_between_athletes: float = setting(
        0.0,
        "true spread between athletes in the metric's unit; 0: taken from the reliability result",
        low=0.0,
    )
    baselines: tuple[int, ...] = setting((1, 2), "baseline sessions that are averaged")
    attrition: float = setting(
        0.0, "share of athletes without a test after the block", low=0.0, high=0.9
    )
    largest: int = setting(60, "largest group in the pictures", low=4, high=1000)
    simulations: int = setting(2000, "simulated studies that confirm a size", low=0, high=1_000_000)
    seed: int = setting(1, "seed of the simulation", low=0)

    def _contradictions(self) -> list[str]:
        problems = []
        if not self.response_sd or any(not 0 <= float(r) <= 20 for r in self.response_sd):
            problems.append(
                "response_sd: one or more numbers from 0 to 20 typical errors are needed"
            )
        if not self.baselines or any(int(b) != b or not 1 <= b <= 20 for b in self.baselines):
            problems.append("baselines: one or more whole numbers from 1 to 20 are needed")
        return problems


def plan_study(
    metric: str,
    *,
    reliability: Any,
    matters: float,
    scenario: Scenario | None = None,
    power: float = 0.8,
    level: float = 0.95,
) -> Result:
    """Return the athletes needed to see the change that matters, and what each size can show.

    Parameters
    ----------
    metric : str
    reliability : Result, or mapping of metric to (typical error, df)
        The lab's own. A Result with day and jump components adds the table over jumps.
    matters : float
        Change that matters, in the metric's unit.
    scenario : Scenario, optional
        Assumptions: spread of responses, drift, baselines, attrition.
    power : float
    level : float

    Returns
    -------
    Result
        ``n_needed`` per design (one group; two groups by change scores; two groups by ANCOVA),
        response spread and number of baselines, with ``power_simulated`` beside it. Points
        ``power_curve``, ``precision``, ``jumps``: the pictures of the trade-off.

    Notes
    -----
    SD of change = √(TE² (1/baselines + 1) + response² + drift²), not √2·TE: planned power of
    .80 becomes .64 when responses spread by one typical error. ANCOVA: spread of the outcome
    given the baseline (Borm et al. 2007; several baselines: Frison & Pocock 1992), with
    (N - 3)/(N - 4) for the estimated slope.
    """
    scenario = scenario or Scenario()
    level = checks.level(level)
    power = checks.number("power", power, low=0.5, high=0.999)
    matters = checks.number("matters", matters)
    if matters <= 0:
        raise StatsError("matters: a change that matters above 0 is needed, in the metric's unit.")
    noise = noise_of(reliability, metric)
    between = _between(reliability, metric, scenario)
    spreads = [
        Spread(noise.typical_error, between, float(r), scenario.drift_sd, int(b))
        for b in scenario.baselines
        for r in scenario.response_sd
    ]
    rows, sentences = [], []
    for spread in spreads:
        found = needed_rows(spread, matters, power, level, scenario.attrition)
        found += simulated_rows(found, spread, matters, level, scenario)
        rows += [{"metric": metric, **row} for row in found]
        sentences.append(needed_sentence(metric, found, spread, matters, power))
    return Result(
        kind="plan_study",
        table=statistics_frame(rows),
        points={
            "power_curve": pd.DataFrame(power_points(spreads, matters, level, scenario.largest)),
            "precision": pd.DataFrame(precision_points(spreads, level, scenario.largest)),
            "jumps": pd.DataFrame(jumps_points(noise, level)),
        },
        settings={
            "metric": metric,
            "unit": unit_of(metric),
            "matters": matters,
            "power": power,
            "level": level,
            "typical_error": noise.typical_error,
            "typical_error_df": noise.df,
            "sd_between_athletes": between if between > 0 else None,
            "scenario": scenario.to_dict(),
        },
        notes=tuple(_notes(noise, between, scenario)),
        sentences=tuple(sentences),
    )


def what_squad_shows(
    metric: str,
    *,
    reliability: Any,
    group_sizes: tuple[int, ...],
    scenario: Scenario | None = None,
    level: float = 0.95,
) -> Result:
    """Return how precisely this squad's changes will be known, before anything is tested.

    Parameters
    ----------
    metric : str
    reliability : Result, or mapping of metric to (typical error, df)
    group_sizes : tuple of int
        Athletes in the trained group, or in the trained and the control group.
    scenario : Scenario, optional
    level : float

    Returns
    -------
    Result
        ``expected_half_width`` and ``assured_half_width`` (not exceeded in 80 % of studies) of
        the group's mean change, of the group difference, and of one athlete's change.
    """
    scenario = scenario or Scenario()
    level = checks.level(level)
    sizes = tuple(int(checks.number("group_sizes", n, low=2)) for n in group_sizes)
    if len(sizes) not in (1, 2):
        raise StatsError("group_sizes: one or two numbers of athletes are needed, e.g. (10, 9).")
    noise = noise_of(reliability, metric)
    between = _between(reliability, metric, scenario)
    rows: list[dict[str, Any]] = []
    sentences = []
    for baselines in scenario.baselines:
        for response in scenario.response_sd:
            spread = Spread(
                noise.typical_error, between, float(response), scenario.drift_sd, int(baselines)
            )
            found = precision_rows(spread, sizes, noise, level)
            rows += [{"metric": metric, **row} for row in found]
            sentences.append(precision_sentence(metric, found, spread, sizes))
    return Result(
        kind="what_squad_shows",
        table=statistics_frame(rows),
        settings={
            "metric": metric,
            "group_sizes": list(sizes),
            "level": level,
            "typical_error": noise.typical_error,
            "typical_error_df": noise.df,
            "scenario": scenario.to_dict(),
        },
        notes=tuple(_notes(noise, between, scenario)),
        sentences=tuple(sentences),
    )


def frozen(result: Result, declared: Mapping[str, Any]) -> dict[str, Any]:
    """Return an analysis plan as plain data with its key, to be written before the post tests.

    Parameters
    ----------
    result : Result
        Of :func:`plan_study`.
    declared : mapping
        Plain data that belong to the plan: primary metric, exclusions, Method, date, …

    Returns
    -------
    dict
        ``{"plan": …, "declared": …, "key": SHA-256 of both}``; JSON and TOML can hold it.
    """
    content = {"plan": _without_none(dict(result.settings)), "declared": dict(declared)}
    return {**content, "key": key_of(content)}


def _without_none(values: dict[str, Any]) -> dict[str, Any]:
    return {k: v for k, v in values.items() if v is not None}


def _between(reliability: Any, metric: str, scenario: Scenario) -> float:
    """Return the true spread between athletes, or 0 when it is not known."""
    if scenario.sd_between_athletes > 0:
        return scenario.sd_between_athletes
    if isinstance(reliability, Result):
        rows = reliability.rows("sd_between_athletes", metric=metric)
        values = [float(v) for v in rows["estimate"].dropna()]
        if values and values[0] > 0:
            return values[0]
    return 0.0


def _notes(noise: Noise, between: float, scenario: Scenario) -> list[Note]:
    notes = [
        Note(
            "assumed_spread",
            "Nobody knows before the block how differently athletes respond; the sizes are given for"
            f" spreads of {', '.join(f'{float(r):g}' for r in scenario.response_sd)} typical errors.",
        ),
        Note(
            "typical_error_uncertain",
            f"The typical error rests on {noise.df:g} degrees of freedom; from a re-test over days it is a"
            " lower bound for a block of weeks.",
        ),
    ]
    if between <= 0:
        notes.append(
            Note(
                "no_between_sd",
                "The spread between athletes is not known, so sizes for ANCOVA cannot be given; use a"
                " reliability result or Scenario(sd_between_athletes=…).",
            )
        )
    return notes
