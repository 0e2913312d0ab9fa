"""How many jumps, how many sessions: what averaging buys, and mean against best of jumps."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np
import pandas as pd

from cmjlab import checks
from cmjlab.catalog import METRICS
from cmjlab.results import Case, Note, Reason, Result, Sentence
from cmjlab.stats.common.intervals import chi2_quantile, mls_limits
from cmjlab.stats.common.mean_squares import Array, two_way
from cmjlab.stats.common.rows import Place, Rows
from cmjlab.stats.common.tables import check_table, metric_names, sessions_to_use
from cmjlab.stats.reliability.jump_components import (
    Components,
    JumpCube,
    component_rows,
    components,
    jump_cube,
    one_session_note,
)
from cmjlab.stats.reliability.pivotal import points as even_points

#: Size of the decision table.
JUMPS = tuple(range(1, 11))
SESSIONS = (1, 2, 3, 4)
#: One more jump that lowers the typical error by less than this share is called not worth it.
GAIN = 0.05
_DRAWS = 4096


def jumps_needed(
    table: pd.DataFrame, metrics: Any = None, *, use: Any = None, level: float = 0.95
) -> Result:
    """Return the typical error and ICC of means of 1 to 10 jumps in 1 to 4 sessions.

    Parameters
    ----------
    table : pandas.DataFrame
        Single jumps: ``athlete``, ``session``, metrics; ``trial`` and ``jump`` give their order
        (else the order of rows), ``accepted`` says which to use.
    metrics : str or sequence of str, optional
        Metrics; by default all numeric columns.
    use : str or sequence of str, optional
        Sessions; by default those with role baseline, else all.
    level : float
        Level of the intervals.

    Returns
    -------
    Result
        kind "jumps_needed". ``points``: curve (metric, n_jumps, n_sessions, estimate, ci_low,
        ci_high of the typical error; icc, icc_low, icc_high) and best_of_jumps (mean against
        best of the first m jumps).

    Raises
    ------
    StatsError
        Columns missing, a jump that stands twice, infinite values.

    Notes
    -----
    Typical error of a mean = √((σ²_day + σ²_jump / jumps) / sessions); Brennan (2001),
    Generalizability Theory. Intervals: modified large sample (Graybill & Wang 1980; Ting et al.
    1990) and generalised pivotal quantities. There is no such formula for the best of jumps; its
    noise is computed from the data, always from equal numbers of jumps.

    Examples
    --------
    >>> import cmjlab as cj
    >>> jumps = cj.simulate_sessions(seed=1, metrics=["jump_height_m"]).jumps
    >>> needed = cj.jumps_needed(jumps, "jump_height_m", use=["base1", "base2"])
    >>> sorted(set(needed.points["curve"]["n_sessions"].astype(int)))
    [1, 2, 3, 4]
    """
    level = checks.level(level)
    checked = check_table(table, one_row_each=False)
    names = metric_names(checked, metrics)
    sessions = sessions_to_use(checked, use)
    data = jump_cube(table, names, sessions)
    part = components(data)
    rows = Rows(level=level)
    place = rows.at(metric=names)
    component_rows(place, part, len(sessions))
    curve = decision_table(data, part, level)
    _decision_rows(place, curve)
    best, best_notes = best_of_jumps(data)
    notes = [*data.notes, *_notes(data, part), *best_notes]
    return Result(
        "jumps_needed",
        rows.frame(),
        points={"curve": curve, "best_of_jumps": best},
        settings={"metrics": names, "use": sessions, "level": level},
        notes=tuple(notes),
        sentences=tuple(_sentences(curve, names, len(sessions))),
    )


def decision_table(
    data: JumpCube,
    part: Components,
    level: float,
    *,
    cells: Sequence[tuple[int, int]] | None = None,
    draws: int = _DRAWS,
) -> pd.DataFrame:
    """Return typical error and ICC with intervals, tidy: metric × jumps × sessions.

    ``cells`` are pairs (jumps, sessions), by default 1 to 10 jumps in 1 to 4 sessions;
    ``draws`` the points of the pivotal interval.

    With one session the noise between days is unknown and left out: the typical error is then
    a lower bound, and there is no ICC.
    """
    m = len(data.metrics)
    one = len(data.sessions) < 2
    if cells is None:
        cells = [(j, s) for s in (SESSIONS[:1] if one else SESSIONS) for j in JUMPS]
    pivots = None if one else _pivots(part, draws)
    frames = []
    for jumps, sessions in cells:
        te, low, high = _typical_error(part, jumps, sessions, level, one)
        icc = np.full((3, m), np.nan)
        if pivots is not None:
            icc = _icc(part, pivots, jumps, sessions, level)
        frames.append(
            pd.DataFrame(
                {
                    "metric": np.array(data.metrics, dtype=object),
                    "n_jumps": jumps,
                    "n_sessions": sessions,
                    "estimate": te,
                    "ci_low": low,
                    "ci_high": high,
                    "icc": icc[0],
                    "icc_low": icc[1],
                    "icc_high": icc[2],
                    "n": part.n if one else part.cells.n,
                }
            )
        )
    out = pd.concat(frames, ignore_index=True)
    rank = pd.Categorical(out["metric"], categories=list(data.metrics), ordered=True)
    return out.iloc[np.argsort(rank.codes, kind="stable")].reset_index(drop=True)


def _typical_error(
    part: Components, jumps: int, sessions: int, level: float, one: bool
) -> tuple[Array, Array, Array]:
    if one:
        weights: list[Any] = [1.0 / jumps]
        squares, dfs = [part.jumps], [part.df_jumps]
    else:
        # (cells + jumps (1/m - share)) / sessions; a negative day component counts as zero.
        weights = [1.0 / sessions, (1.0 / jumps - part.share) / sessions]
        squares, dfs = [part.cells.mse, part.jumps], [part.cells.df, part.df_jumps]
    low, high = mls_limits(weights, squares, dfs, level)
    floor = part.jumps / jumps / sessions
    variance = floor if one else (np.maximum(part.days, 0.0) + part.jumps / jumps) / sessions
    low = np.minimum(np.maximum(low, 0.0), variance)
    return np.sqrt(variance), np.sqrt(low), np.sqrt(np.maximum(high, variance))


def _pivots(part: Components, draws: int) -> tuple[Array, Array, Array]:
    """Return draws of athlete, day and jump variance, shape (n_metrics, draws)."""
    u = even_points(3, draws)

    def inverted(square: Array, df: Array, level: Array) -> Array:
        # The quantiles are slow and depend on df alone: once per distinct df.
        distinct, place = np.unique(np.where(df > 0, df, np.nan), return_inverse=True)
        ratios = distinct[:, None] / chi2_quantile(level, distinct[:, None])
        return square[:, None] * ratios[place.ravel()]

    a = inverted(part.athletes.msr, part.athletes.df_r, u[0])
    c = inverted(part.cells.mse, part.cells.df, u[1])
    j = inverted(part.jumps, part.df_jumps, u[2])
    return (a - c) / part.athletes.k, np.maximum(c - part.share[:, None] * j, 0.0), j


def _icc(
    part: Components, pivots: tuple[Array, Array, Array], jumps: int, sessions: int, level: float
) -> Array:
    athletes, days, jump = pivots
    noise = (days + jump / jumps) / sessions
    with np.errstate(invalid="ignore", divide="ignore"):
        values = np.clip(athletes / (athletes + noise), -1.0, 1.0)
        point_noise = (np.maximum(part.days, 0.0) + part.jumps / jumps) / sessions
        estimate = part.between / (part.between + point_noise)
    estimate = np.where(np.abs(estimate) <= 1, estimate, np.nan)
    size = values.shape[1]
    i = int(np.floor((0.5 - level / 2) * size))
    fine = np.isfinite(estimate)
    values = np.where(fine[:, None], values, 0.0)
    values.partition((i, size - 1 - i), axis=1)
    low, high = values[:, i], values[:, size - 1 - i]
    return np.array([estimate, np.where(fine, low, np.nan), np.where(fine, high, np.nan)])


def _decision_rows(place: Place, curve: pd.DataFrame) -> None:
    """Add typical error and ICC of every number of jumps and sessions, each a case of its own."""
    why = Reason("component_missing")
    for (sessions, jumps), block in curve.groupby(["n_sessions", "n_jumps"], sort=True):
        case = Case("mean_of_jumps", {"jumps": int(jumps), "sessions": int(sessions)})
        here = place.at(case=case, n=block["n"].to_numpy(), estimator="components")
        here.add("typical_error_mean_of_jumps", block["estimate"], reason=why,
                 limits=(block["ci_low"], block["ci_high"]),
                 interval_kind="modified_large_sample")  # fmt: skip
        here.add("icc_mean_of_jumps", block["icc"], reason=why,
                 limits=(block["icc_low"], block["icc_high"]),
                 interval_kind="generalised_pivotal")  # fmt: skip


def best_of_jumps(data: JumpCube) -> tuple[pd.DataFrame, list[Note]]:
    """Return mean against best of the first m jumps, for every m that all sessions have.

    Only athletes and sessions with jumps enter; m goes up to the smallest number of jumps, so
    that unequal numbers cannot look like a change.

    Returns
    -------
    table : pandas.DataFrame
        metric, n_jumps, best (max or min), typical_error_mean, typical_error_best,
        best_minus_mean, n.
    notes : list of Note
    """
    rows: list[dict[str, Any]] = []
    notes: list[Note] = []
    undirected = []
    unequal: dict[tuple[int, int], list[str]] = {}
    counts = np.isfinite(data.values).sum(axis=-1)
    for i, metric in enumerate(data.metrics):
        direction = METRICS[metric].direction if metric in METRICS else "higher"
        if direction not in ("higher", "lower"):
            undirected.append(metric)
            continue
        present = counts[i][counts[i] > 0]
        least, most = (int(present.min()), int(present.max())) if present.size else (0, 0)
        if least != most:
            unequal.setdefault((least, most), []).append(metric)
        first = _first(data.values[i], least)
        for m in range(2, least + 1):
            rows.append(_best_row(metric, first[..., :m], direction))
    for (least, most), names in unequal.items():
        values = {"metrics": names, "least": least, "most": most}
        notes.append(Note("best_of_unequal", values))
    if undirected:
        notes.append(Note("no_best", {"metrics": undirected}))
    columns = ["metric", "n_jumps", "best", "typical_error_mean", "typical_error_best",
               "best_minus_mean", "n"]  # fmt: skip
    return pd.DataFrame(rows, columns=columns), notes


def _first(values: Array, m: int) -> Array:
    """Return the first m finite jumps of every cell, shape (n, k, m); nan cells stay nan."""
    gaps = ~np.isfinite(values)
    order = np.argsort(gaps, axis=-1, kind="stable")
    return np.take_along_axis(values, order, axis=-1)[..., :m]


def _best_row(metric: str, jumps: Array, direction: str) -> dict[str, Any]:
    whole = np.asarray(np.isfinite(jumps).all(axis=-1))
    filled = np.where(whole[..., None], jumps, 0.0)
    mean = np.where(whole, filled.mean(axis=-1), np.nan)
    best = np.where(
        whole, filled.max(axis=-1) if direction == "higher" else filled.min(axis=-1), np.nan
    )
    of_mean, of_best = two_way(mean), two_way(best)
    gap = (best - mean)[whole]
    return {
        "metric": metric,
        "n_jumps": jumps.shape[-1],
        "best": "max" if direction == "higher" else "min",
        "typical_error_mean": float(np.sqrt(of_mean.mse)),
        "typical_error_best": float(np.sqrt(of_best.mse)),
        "best_minus_mean": float(gap.mean()) if gap.size else np.nan,
        "n": int(of_mean.n),
    }


def _notes(data: JumpCube, part: Components) -> list[Note]:
    notes = [one_session_note(data.sessions[0])] if len(data.sessions) < 2 else []
    negative = [m for m, d in zip(data.metrics, part.days, strict=True) if d < 0]
    if negative:
        notes.append(Note("days_zero", {"metrics": negative}))
    trend = np.abs(part.slope) > 3 * part.slope_se
    moving = [m for m, t in zip(data.metrics, trend, strict=True) if t]
    if moving:
        notes.append(Note("jump_order", {"metrics": moving}))
    return notes


def _sentences(curve: pd.DataFrame, metrics: list[str], k: int) -> list[Sentence]:
    """Return what the mean of several jumps buys, and where one more buys little."""
    out = []
    days = "within_day" if k < 2 else "between_days"
    for metric in metrics:
        part = curve[(curve["metric"] == metric) & (curve["n_sessions"] == 1)].sort_values(
            "n_jumps"
        )
        te = part["estimate"].to_numpy()
        if not np.isfinite(te).all() or te[0] == 0:
            continue
        small = np.flatnonzero(1 - te[1:] / te[:-1] < GAIN)
        stop: str | Sentence = ""
        if small.size:
            stop = Sentence(
                "reliability.jumps_enough", values={"n": int(small[0]) + 1, "share": GAIN}
            )
        values = {"one": float(te[0]), "three": float(te[2]), "stop": stop}
        out.append(Sentence(f"reliability.jumps_{days}", metric, values=values))
    return out
