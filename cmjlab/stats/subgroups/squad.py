"""Where every athlete of a squad stands, and how sure that is: values, percentiles, likely ranges."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from cmjlab import checks
from cmjlab.errors import StatsError
from cmjlab.results import Note, Reason, Result, Sentence
from cmjlab.stats.common.least_squares import is_constant
from cmjlab.stats.common.measures import STRENGTH, explanations, strata
from cmjlab.stats.common.rows import Rows
from cmjlab.stats.common.tables import check_table, metric_names, refuse_infinite
from cmjlab.stats.subgroups.certainty import FEWEST
from cmjlab.stats.subgroups.draws import DRAWS, SEED, Noise, squad_draws_in_slices
from cmjlab.stats.subgroups.noise import FoundNoise, check_session, find_noise
from cmjlab.stats.subgroups.standing import (
    InReference,
    checked_reference,
    percentiles,
    places_in_reference,
)
from cmjlab.stats.subgroups.tails import Tails

Array = NDArray[np.float64]
#: What a squad is looked at with when nothing else is asked for, where the table has it.
SQUAD_METRICS = ("jump_height_m", "countermovement_depth_m", "time_to_takeoff_s", STRENGTH)


@dataclass(frozen=True)
class _Part:
    """One metric in one stratum of the deciding session."""

    metric: str
    stratum: str
    session: str
    rows: pd.DataFrame

    @property
    def values(self) -> Array:
        return self.rows[self.metric].to_numpy(dtype=float, na_value=np.nan)


def squad_places(
    table: pd.DataFrame,
    metrics: str | Sequence[str] | None = None,
    *,
    session: str | None = None,
    reliability: Any = None,
    reference: pd.DataFrame | None = None,
    within: str | Sequence[str] | None = "sex",
    level: float = 0.95,
) -> Result:
    """Return every athlete's value, percentile in the squad with its likely range, and reference.

    Parameters
    ----------
    table : pandas.DataFrame
        Sessions table, with roster columns where strata or a reference need them.
    metrics : str or sequence of str, optional
        Default height, depth, time to take-off and relative strength, where the table has them.
    session : str, optional
        Default the first baseline.
    reliability : Result or mapping, optional
        Typical errors, as for :func:`subgroup_athletes`; else from repeated baselines.
    reference : pandas.DataFrame, optional
        The user's own, as for :func:`athlete_standing`; it must name its source.
    within : str, sequence of str or None
        Strata of the squad: a percentile is that among the athletes of the same stratum.
    level : float
        Level of the ranges.

    Returns
    -------
    Result
        Rows ``squad_percentile`` (of the measured value), ``percentile_likely`` (mean and limits
        of the percentile of the athlete's own true value among the true values of the squad) and
        ``reference_percentile``. ``points["squad"]``: athlete, stratum, group, metric, value, n,
        typical_error, percentile, percentile_low, percentile_high, reference_percentile, source.

    Raises
    ------
    StatsError
        Unknown columns or session, none of the metrics there, or an unusable reference.

    Notes
    -----
    The range comes from the draws behind placements (:mod:`cmjlab.stats.subgroups.draws`): whole
    squads of true values, given the measured ones and the noise of a test. A percentile says
    which share of these athletes has a smaller value; it does not say which end is better.

    Examples
    --------
    >>> import cmjlab as cj
    >>> table = cj.simulate_sessions(seed=1).sessions
    >>> places = cj.squad_places(table, "jump_height_m").points["squad"]
    >>> bool((places["percentile_low"] < places["percentile_high"]).all())
    True
    """
    level = checks.level(level)
    data = check_table(table)
    names = _metrics(data, metrics)
    refuse_infinite(data, names)
    chosen = check_session(data, session)
    known = None if reference is None else checked_reference(reference, names)
    masks = strata(data, within)
    noise = find_noise(data, names, reliability, masks)
    at = data["session"].astype(str) == chosen
    rows, points = Rows(level=level), list[pd.DataFrame]()
    for name, mask in masks.items():
        for metric in names:
            part = _Part(metric, name, chosen, data[mask & at])
            if len(part.rows):
                points.append(_add(rows, part, noise, known))
    if not points:
        raise StatsError(f"squad: nobody has a row in session {chosen!r}.")
    frame = pd.concat(points, ignore_index=True)
    sources = [] if known is None else list(dict.fromkeys(known["source"].astype(str)))
    notes = [Note("reference", {"sources": sources})] if sources else []
    notes += [Note("range_unknown", {"why": why}) for why in noise.missing.values()]
    return Result(
        "squad",
        rows.frame(),
        points={"squad": frame},
        settings={
            "session": chosen, "metrics": names, "within": within, "level": level,
            "sources": sources, "seed": SEED,
            "typical_errors": _errors(noise),
        },
        notes=(*notes, Note("percentile_is_no_grade"), *explanations(names)),
        sentences=tuple(_sentences(frame, names, chosen, level)),
    )  # fmt: skip


def _metrics(data: pd.DataFrame, metrics: str | Sequence[str] | None) -> list[str]:
    if metrics is not None:
        return metric_names(data, metrics)
    there = [m for m in SQUAD_METRICS if m in data and data[m].notna().any()]
    if not there:
        raise StatsError(
            f"squad: none of {', '.join(SQUAD_METRICS)} is in the table; name metrics that are."
        )
    return there


def _errors(noise: FoundNoise) -> dict[str, float]:
    if noise.noise is None:
        return {}
    return {m: float(e) for m, e in zip(noise.metrics, noise.noise.error, strict=True)}


def _add(
    rows: Rows, part: _Part, noise: FoundNoise, reference: pd.DataFrame | None
) -> pd.DataFrame:
    """Add the rows of one metric in one stratum; return the points."""
    values, athletes = part.values, list(part.rows["athlete"].astype(str))
    n = int(np.isfinite(values).sum())
    place = percentiles(values)
    here = rows.at(
        metric=part.metric, athlete=athletes, session=part.session, group=part.stratum, n=n
    )
    here.add("squad_percentile", place, reason=Reason("no_value_here"))
    likely, why = _likely(part, noise, rows.level)
    reasons = [Reason("no_value_here") if not np.isfinite(v) else why for v in values]
    here.add(
        "percentile_likely", likely[0], limits=(likely[1], likely[2]), reason=reasons,
        estimator="posterior_mean", interval_kind="quantiles_of_draws",
    )  # fmt: skip
    found = places_in_reference(reference, part.metric, part.rows)
    if reference is not None:
        here.add("reference_percentile", [f.percentile for f in found],
                 reason=[f.reason for f in found], remark=[f.remark for f in found])  # fmt: skip
    return _points(part, (place, likely), found, _errors(noise).get(part.metric, np.nan))


def _likely(part: _Part, noise: FoundNoise, level: float) -> tuple[Array, Reason | None]:
    """Return mean, low and high of the percentile of true values, (3, n_rows), or why not."""
    values = part.values
    out = np.full((3, len(values)), np.nan)
    there = np.isfinite(values)
    known, n = noise.part([part.metric]), int(there.sum())
    if known is None:
        return out, noise.missing[part.metric]
    if n < FEWEST:
        return out, Reason("few_with_every_value", {"n": n, "needed": FEWEST})
    if is_constant(values[there]):
        return out, Reason("values_all_equal")
    out[:, there] = _places_of_draws(values[there], known, level)
    return out, None


def _places_of_draws(values: Array, noise: Noise, level: float) -> Array:
    """Return mean, low and high of the percentile of each athlete's true value in the draws."""
    n, tail = len(values), 0.5 - level / 2
    slices = squad_draws_in_slices(values[:, None], noise, np.random.default_rng(SEED))
    tails, total = Tails(n, tail, DRAWS), np.zeros(n, dtype=np.int64)
    for true in slices:
        rank = _ranks(true[..., 0])
        if len(rank) == DRAWS:
            places = 100 * (rank + 0.5) / n
            return np.array([places.mean(axis=0), *np.quantile(places, [tail, 1 - tail], axis=0)])
        total += rank.sum(axis=0, dtype=np.int64)
        tails.add(rank)
    return np.asarray(100 * (np.array([total / DRAWS, *tails.quantiles()]) + 0.5) / n)


def _ranks(values: Array) -> NDArray[np.int32]:
    """Return the rank of every value in its row, from 0; draws have no ties."""
    rank = np.empty(values.shape, dtype=np.int32)
    at = np.arange(values.shape[1], dtype=np.int32)[None, :]
    np.put_along_axis(rank, values.argsort(axis=1), at, axis=1)
    return rank


def _points(
    part: _Part, places: tuple[Array, Array], found: Sequence[InReference], error: float
) -> pd.DataFrame:
    measured, likely = places
    group = part.rows["group"] if "group" in part.rows else pd.Series("", index=part.rows.index)
    return pd.DataFrame({
        "athlete": part.rows["athlete"].astype(str).to_numpy(), "stratum": part.stratum,
        "group": group.astype(object).where(group.notna(), "").astype(str).to_numpy(),
        "metric": part.metric, "value": part.values, "n": int(np.isfinite(part.values).sum()),
        "typical_error": error, "percentile": measured,
        "percentile_low": likely[1], "percentile_high": likely[2],
        "reference_percentile": [f.percentile for f in found],
        "source": [f.source for f in found],
    })  # fmt: skip


def _sentences(
    frame: pd.DataFrame, metrics: Sequence[str], session: str, level: float
) -> list[Sentence]:
    """Return for each metric how wide the likely range of a percentile is in the middle of the squad."""
    out = []
    for metric in metrics:
        part = frame[(frame["metric"] == metric) & frame["percentile_low"].notna()]
        if part.empty:
            continue
        wide = float((part["percentile_high"] - part["percentile_low"]).median())
        values = {"width": wide, "athletes": len(part), "session": session, "level": level}
        out.append(Sentence("squad.range", metric, values=values))
    return out
