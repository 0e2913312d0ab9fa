"""How many athletes, jumps and baselines are needed, and what a squad of this size can show."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import pandas as pd

from cmjlab import checks
from cmjlab.errors import StatsError
from cmjlab.keys import key_of
from cmjlab.results import Result
from cmjlab.stats.common.noise import Noise
from cmjlab.stats.common.rows import Rows
from cmjlab.stats.common.tables import unit_of
from cmjlab.stats.planning.rows import (
    jumps_points,
    needed_points,
    needed_rows,
    power_points,
    precision_points,
    simulated_rows,
    squad_points,
    squad_rows,
)
from cmjlab.stats.planning.scenario import Scenario
from cmjlab.stats.planning.sentences import (
    needed_sentence,
    plan_notes,
    precision_sentence,
    range_sentences,
)
from cmjlab.stats.planning.spread import Spread
from cmjlab.stats.planning.uncertain import UncertainError, planned_noise


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
        The lab's own. A Result with day and jump components adds the table over jumps. A cited
        value without degrees of freedom is given as (typical error, None): no range then.
    matters : float
        Change that matters, in the metric's unit.
    scenario : Scenario, optional
        Assumptions: spread of responses, drift, baselines, attrition.
    power : float
    level : float

    Returns
    -------
    Result
        ``n_needed`` per design ("one_group"; "two_groups_change", by change scores;
        "two_groups_ancova"), response spread and number of baselines, with ``power_simulated``
        beside it; each is a ``case`` of its own. Because the typical error is only estimated,
        ``n_needed`` has a range (the numbers for the limits of the typical error),
        ``n_needed_assured`` has the wanted power with 80 % probability, ``assurance`` is that
        probability for ``n_needed``, and ``expected_power`` its mean power (see
        :mod:`cmjlab.stats.planning.uncertain`). Points ``needed`` (the same as a tidy table),
        ``power_curve``, ``precision``, ``jumps``: the pictures of the trade-off.

    Notes
    -----
    SD of change = √(TE² (1/baselines + 1) + response² + drift²), not √2·TE: planned power of
    .80 becomes .64 when responses spread by one typical error. ANCOVA: spread of the outcome
    given the baseline (Borm et al. 2007; several baselines: Frison & Pocock 1992), with
    (N - 3)/(N - 4) for the estimated slope.

    Examples
    --------
    >>> import cmjlab as cj
    >>> plan = cj.plan_study("jump_height_m", reliability={"jump_height_m": (0.012, 25)}, matters=0.02)
    >>> int(plan.rows("n_needed")["estimate"].min())
    7
    """
    scenario = checks.given_or_default("scenario", scenario, Scenario)
    level = checks.level(level)
    power = checks.number("power", power, low=0.5, high=0.999)
    matters = checks.number("matters", matters)
    if matters <= 0:
        raise StatsError("matters: a change that matters above 0 is needed, in the metric's unit.")
    noise = planned_noise(reliability, metric)
    between = _between(reliability, metric, scenario)
    spreads = _spreads(noise, between, scenario)
    known = UncertainError(noise.typical_error, noise.df)
    rows, needed, sentences, ranges = Rows(level=level), [], [], []
    for spread in spreads:
        points = needed_points(spread, known, (matters, power, level))
        place = rows.at(metric=metric)
        needed_rows(place, points, spread, known, scenario)
        simulated_rows(place, points, spread, matters, scenario)
        sentences.append(needed_sentence(metric, points, spread, matters, power))
        ranges += range_sentences(metric, points, spread, known, (power, level))
        needed += points
    return Result(
        kind="plan_study",
        table=rows.frame(),
        points={
            "needed": pd.DataFrame(needed),
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
            "typical_error_df": noise.df if known.is_estimated else None,
            "sd_between_athletes": between if between > 0 else None,
            "scenario": scenario.to_dict(),
        },
        notes=tuple(plan_notes(metric, noise, between, scenario)),
        sentences=(*sentences, *ranges),
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
        the group's mean change, of the group difference, and of one athlete's change. The limits
        of the expected one are those of the typical error; a second assured one carries that the
        typical error is only estimated. Points ``half_widths``: the same as a tidy table.

    Examples
    --------
    >>> import cmjlab as cj
    >>> shown = cj.what_squad_shows("jump_height_m", reliability={"jump_height_m": (0.012, 25)},
    ...                             group_sizes=(10, 10))
    >>> round(100 * float(shown.rows("expected_half_width")["estimate"].iloc[0]), 1)  # cm
    1.2
    """
    scenario = checks.given_or_default("scenario", scenario, Scenario)
    level = checks.level(level)
    sizes = tuple(map(int, checks.numbers("group_sizes", group_sizes, low=2, high=1e6)))
    if len(sizes) not in (1, 2):
        raise StatsError("group_sizes: one or two numbers of athletes are needed, e.g. (10, 9).")
    noise = planned_noise(reliability, metric)
    between = _between(reliability, metric, scenario)
    rows, half_widths, sentences = Rows(level=level), [], []
    for spread in _spreads(noise, between, scenario):
        points = squad_points(spread, sizes, noise, level)
        squad_rows(rows.at(metric=metric), points, spread)
        sentences.append(precision_sentence(metric, points, spread, sizes))
        half_widths += points
    return Result(
        kind="what_squad_shows",
        table=rows.frame(),
        points={"half_widths": pd.DataFrame(half_widths)},
        settings={
            "metric": metric,
            "group_sizes": list(sizes),
            "level": level,
            "typical_error": noise.typical_error,
            "typical_error_df": noise.df if noise.df < float("inf") else None,
            "scenario": scenario.to_dict(),
        },
        notes=tuple(plan_notes(metric, noise, between, scenario)),
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


def _spreads(noise: Noise, between: float, scenario: Scenario) -> list[Spread]:
    """Return one spread of changes per number of baselines and assumed spread of responses."""
    return [
        Spread(noise.typical_error, between, float(r), scenario.drift_sd, int(b))
        for b in scenario.baselines
        for r in scenario.response_sd
    ]
