"""Reliability of metrics: can they be trusted, here, with these athletes.

One row per athlete and session goes in; out come the intraclass correlations, the typical
error, three named CVs, the session change, the smallest detectable change and the limits of
agreement, for all metrics at once, each with its interval, its n and its degrees of freedom,
and a verdict by purpose in plain words.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, fields, is_dataclass, replace
from typing import Any

import numpy as np
import pandas as pd

from cmjlab import checks
from cmjlab.errors import ArgumentError
from cmjlab.later import Later
from cmjlab.results import Note, Result
from cmjlab.stats.common.intervals import mls_limits
from cmjlab.stats.common.mean_squares import Array, MeanSquares, ratio, two_way
from cmjlab.stats.common.rows import Rows
from cmjlab.stats.common.tables import (
    check_table,
    left_out_notes,
    metric_names,
    sessions_to_use,
)
from cmjlab.stats.common.weeks import training_between
from cmjlab.stats.reliability import points as points
from cmjlab.stats.reliability import sentences as sentences
from cmjlab.stats.reliability.by_level import by_level, level_rows
from cmjlab.stats.reliability.data import Cube, blocks, cube, log_values
from cmjlab.stats.reliability.grras import grras_points
from cmjlab.stats.reliability.jump_components import within_session_rows
from cmjlab.stats.reliability.missing import IntraBlock, intra_block
from cmjlab.stats.reliability.noise_check import silence_notes
from cmjlab.stats.reliability.reasons import Why, data_reasons, first_of, percent_reasons
from cmjlab.stats.reliability.robust import robust_row
from cmjlab.stats.reliability.rows import (
    agreement_rows,
    between_rows,
    icc_rows,
    session_f_row,
    session_rows,
)
from cmjlab.stats.reliability.strata import Strata, strata_of
from cmjlab.stats.reliability.unequal_noise import cv_rows, spread, typical_error_rows


def reliability(
    table: pd.DataFrame,
    metrics: Any = None,
    *,
    use: Any = None,
    by: str | None = None,
    level: float = 0.95,
    change_that_matters: Any = None,
    jumps: pd.DataFrame | None = None,
) -> Result:
    """Return how well metrics repeat between sessions without training in between.

    Parameters
    ----------
    table : pandas.DataFrame
        One row per athlete and session; columns ``athlete``, ``session`` and metrics (each in
        its own unit). A column ``date`` gives the days between sessions.
    metrics : str or sequence of str, optional
        Metrics; by default all numeric columns.
    use : str or sequence of str, optional
        Sessions to compare, in protocol order; by default those with role
        baseline, else all but weeks of monitoring.
    by : str, optional
        Column of strata, e.g. "sex": everything again within each stratum (column ``group``;
        it stays empty in the rows of all athletes).
    level : float
        Level of the intervals.
    change_that_matters : float, mapping of metric to float, optional
        Smallest change worth acting on, in the metric's unit. A single number is for a single
        metric.
    jumps : pandas.DataFrame, optional
        Single jumps (``athlete``, ``session``, metrics; only accepted ones are used), for the
        noise within a session: needed when there is only one session.

    Returns
    -------
    Result
        kind "reliability". ``table``: statistics of the catalog's reliability part. ``points``:
        values, pairs (the same), agreement, influence (each athlete's part in the noise),
        components, verdict, icc_forms, icc_bands, grras. A number that cannot be had is nan with
        its ``reason_code``. Of several intervals of one ICC the one that a report shows ``leads``.

    Raises
    ------
    StatsError
        Columns missing, ids empty, a pair of athlete and session that stands twice, infinite
        values, an athlete in two strata.
    ArgumentError
        A level or a change that matters that is not usable.

    Notes
    -----
    ICC: McGraw & Wong (1996) with its correction, and beside its interval of ICC(A,1) a
    generalised pivotal (sessions a sample) and a fiducial one (these sessions). Typical error:
    Hopkins (2000); with missing values the residual of athletes and sessions fixed, with exact
    degrees of freedom. Limits of agreement: Bland & Altman (1986, 1999), Carkeet (2015).

    Examples
    --------
    >>> import pandas as pd
    >>> heights = pd.DataFrame({"athlete": list("AABBCCDD"), "session": ["s1", "s2"] * 4,
    ...     "height_cm": [30.0, 31.0, 33.0, 32.0, 36.0, 37.0, 39.0, 38.0]})
    >>> result = reliability(heights)
    >>> round(result.value("typical_error"), 3)
    0.816
    """
    level = checks.level(level)
    checked = check_table(table)
    names = metric_names(checked, metrics)
    sessions = sessions_to_use(checked, use)
    matters = _matters(change_that_matters, names)
    data = cube(checked, names, sessions)
    strata = strata_of(checked, by, data.athletes)
    rows, notes = _stratum(data, level, None, matters, strata)
    frames = [rows.frame()]
    if strata:
        for name in strata.names:
            inner, more = _stratum(_part(data, strata, name), level, name, matters, None)
            frames.append(inner.frame())
            notes += sentences.stratum_notes(name, more, notes)
    jump_frames, jump_notes = within_session_rows(jumps, names, sessions, level)
    frames += jump_frames
    frame = pd.concat(frames, ignore_index=True) if len(frames) > 1 else frames[0]
    # A table of their own, so that what is made later does not follow changes of the result's.
    kept = frame[frame["statistic"].isin(sentences.READ)]

    def verdict() -> pd.DataFrame:
        return sentences.verdict_points(kept, matters)

    used = checked[checked["session"].isin(sessions)]
    days, day_notes = points.retest_days(used, data.sessions)
    result = Result(
        "reliability",
        frame,
        points=points.all_points(data, kept, strata.of if strata else None)
        | {"verdict": Later(verdict), "grras": Later(lambda: grras_points(result))},
        settings={
            "metrics": names,
            "use": sessions,
            "by": by,
            "level": level,
            "change_that_matters": dict(matters),
            "retest_days": days,
            "n_athletes": len(data.athletes),
        },
        notes=(
            *left_out_notes(table, checked, names, sessions),
            *data.notes,
            *(strata.notes if strata else ()),
            *notes,
            *jump_notes,
            *training_between(checked, sessions),
            *day_notes,
            *points.jump_count_notes(used),
        ),
        sentences=Later(lambda: sentences.all_sentences(verdict(), kept, data)),
    )
    return result


def _matters(value: Any, names: list[str]) -> dict[str, float]:
    """Return the change that matters per metric, from a number or a mapping."""
    if value is None:
        return {}
    if isinstance(value, Mapping):
        return {
            name: checks.number(f"change_that_matters[{name!r}]", value[name], low=1e-300)
            for name in names
            if value.get(name) is not None
        }
    if len(names) != 1:
        raise ArgumentError(
            f"change_that_matters: one number for {len(names)} metrics; write a mapping such as"
            f" {{{names[0]!r}: {value!r}}}."
        )
    return {names[0]: checks.number("change_that_matters", value, low=1e-300)}


def _part(data: Cube, strata: Strata, name: str) -> Cube:
    inside = np.array([strata.of[a] == name for a in data.athletes])
    athletes = tuple(a for a, i in zip(data.athletes, inside, strict=True) if i)
    return replace(data, athletes=athletes, values=data.values[:, inside], notes=())


def _stratum(
    data: Cube, level: float, group: str | None, matters: Mapping[str, float], strata: Strata | None
) -> tuple[Rows, list[Note]]:
    """Return all rows of one set of athletes, and the notes on it."""
    rows = Rows(level=level)
    gaps = data.k > 1 and bool(np.isnan(data.values).any())
    parts = []
    for part in blocks(data):
        own = Rows(level=level)
        parts.append(_of_metrics(own, part, group, matters, strata, gaps))
        rows.extend(own)
    found = _joined(parts)
    notes = sentences.data_notes(data, found.block, found.ms, found.void)
    noticed = found.odd + sentences.uneven_notes(data, found.block, found.robust, found.plain)
    notes += noticed + silence_notes(int(found.block.n.max(initial=0)), data.k, noticed)
    notes += sentences.percent_notes(data, found.why, found.sizes)
    return rows, notes


@dataclass(frozen=True)
class _Found:
    """What the notes on some metrics are made from; arrays and lists go along the metrics."""

    block: IntraBlock
    ms: MeanSquares
    void: Why
    why: Why
    sizes: Why
    odd: list[Note]
    robust: Array
    plain: Array


def _of_metrics(
    rows: Rows,
    data: Cube,
    group: str | None,
    matters: Mapping[str, float],
    strata: Strata | None,
    gaps: bool,
) -> _Found:
    """Add all rows of some metrics; ``gaps`` says whether a value of any metric is missing."""
    place = rows.at(metric=list(data.metrics), group=group)
    block, ms = intra_block(data.values), two_way(data.values)
    void, why, sizes = (
        data_reasons(data, block),
        percent_reasons(data),
        percent_reasons(data, of_size=True),
    )
    logs, percent = log_values(data, why), first_of(void, why)
    typical_error_rows(place, block, void)
    part = robust_row(place, data.values, block, void)
    usable, size_logs = np.array([w is None for w in sizes]), log_values(data, sizes)
    cv_rows(place, intra_block(size_logs), spread(data.values, usable), first_of(void, sizes))
    level_rows(place, by_level(_levels(data, logs), part, block), block, percent)
    icc_rows(place, data, ms, void, gaps=gaps)
    session_rows(place, data, logs, void, percent)
    if data.k > 1:
        session_f_row(place, ms, void)
    agreement_rows(place, data, logs, void, percent)
    wanted = [matters.get(m, np.nan) for m in data.metrics]
    pooled = _pooled(data, strata, rows.level) if strata else None
    between_rows(place, ms, void, wanted, pooled)
    odd = sentences.odd_notes(data, block, part)
    robust, plain = (_log_width(rows, s) for s in ("typical_error_robust", "typical_error"))
    return _Found(block, ms, void, why, sizes, odd, robust, plain)


def _joined(parts: Sequence[Any]) -> Any:
    """Return what was found of all metrics from what was found of some at a time."""
    first = parts[0]
    if len(parts) == 1:
        return first
    out: dict[str, Any] = {}
    for each in fields(first):
        values = [getattr(part, each.name) for part in parts]
        if isinstance(values[0], np.ndarray):
            out[each.name] = np.concatenate(values)
        elif isinstance(values[0], list):
            out[each.name] = [x for value in values for x in value]
        elif is_dataclass(values[0]):
            out[each.name] = _joined(values)
    return replace(first, **out)


def _levels(data: Cube, logs: Array) -> Array:
    """Return the mean of each athlete's values, nan for metrics without logs."""
    there = np.isfinite(data.values)
    mean = ratio(np.where(there, data.values, 0.0).sum(axis=2), there.sum(axis=2).astype(float))
    wanted = np.array([np.isfinite(each).any() for each in logs], dtype=bool)
    return np.where(wanted[:, None], mean, np.nan)


def _log_width(rows: Rows, statistic: str) -> Array:
    """Return log(ci_high / ci_low) of a statistic; nan without an interval."""
    low, high = (rows.column(statistic, end) for end in ("ci_low", "ci_high"))
    fine = np.isfinite(low) & np.isfinite(high) & (low > 0)
    return np.where(fine, np.log(np.where(fine, high / np.where(fine, low, 1), 1)), np.nan)


def _pooled(data: Cube, strata: Strata, level: float) -> tuple[str, Array, Array, Array]:
    """Return the column of the strata, and the true SD between athletes within them, with limits."""
    parts = [two_way(_part(data, strata, name).values) for name in strata.names]
    parts = [p for p in parts if (p.n >= 2).all()]
    nothing = np.full(len(data.metrics), np.nan)
    if not parts or data.k < 2:
        return strata.column, nothing, nothing, nothing
    df_r, df_e = sum(p.df_r for p in parts), sum(p.df_e for p in parts)
    msr = sum(p.msr * p.df_r for p in parts) / df_r
    mse = sum(p.mse * p.df_e for p in parts) / df_e
    low, high = mls_limits([1 / data.k, -1 / data.k], [msr, mse], [df_r, df_e], level)
    sd, low, high = (np.sqrt(np.maximum(x, 0.0)) for x in ((msr - mse) / data.k, low, high))
    return strata.column, sd, low, high
