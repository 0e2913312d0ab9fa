"""Where noise comes from: between jumps of one session, and between days of one athlete.

Model of a single jump: athlete + session + athlete × session + order of the jump + jump noise.
The session's common shift is set aside. Unequal numbers of jumps are handled by cell means.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd

from cmjlab.errors import StatsError
from cmjlab.results import Note, Reason, Sentence
from cmjlab.stats.common.intervals import mean_limits, mls_limits, sd_limits
from cmjlab.stats.common.loads import at_one_load
from cmjlab.stats.common.mean_squares import Array, MeanSquares, no_rounding, ratio, two_way
from cmjlab.stats.common.rows import Place, Rows
from cmjlab.stats.common.tables import check_table, refuse_no_table
from cmjlab.stats.reliability.missing import IntraBlock, intra_block
from cmjlab.stats.reliability.reasons import reasons_where


@dataclass(frozen=True)
class JumpCube:
    """Single jumps of all metrics, shape (n_metrics, n_athletes, n_sessions, most jumps).

    ``order`` (n_athletes, n_sessions, most jumps) is the place of a jump in its session; nan where
    there is no jump.
    """

    metrics: tuple[str, ...]
    athletes: tuple[str, ...]
    sessions: tuple[str, ...]
    values: Array
    order: Array
    notes: tuple[Note, ...] = ()


@dataclass(frozen=True)
class Components:
    """Mean squares of cell means and of jumps; arrays of shape (n_metrics,).

    Attributes
    ----------
    jumps, df_jumps : array
        Variance between jumps of one session, order taken out, and its degrees of freedom.
    slope, slope_se : array
        Change per jump within a session.
    cells : IntraBlock
        Remainder of athlete × session means: days + share · jumps.
    share : array
        Mean of 1 / jumps per cell, weighted as the remainder weighs the cells.
    athletes : MeanSquares
        Two-way mean squares of the cell means of athletes with every session.
    n, n_jumps : array
        Athletes with a jump, and jumps.
    """

    jumps: Array
    df_jumps: Array
    slope: Array
    slope_se: Array
    cells: IntraBlock
    share: Array
    athletes: MeanSquares
    n: Array
    n_jumps: Array

    @property
    def days(self) -> Array:
        """Variance of athlete × session; may be negative."""
        return self.cells.mse - self.share * self.jumps

    @property
    def between(self) -> Array:
        """Variance between athletes; may be negative."""
        return (self.athletes.msr - self.athletes.mse) / self.athletes.k


def jump_cube(table: pd.DataFrame, metrics: list[str], sessions: list[str]) -> JumpCube:
    """Return single jumps as one array; jumps that are not accepted are left out with a note.

    Raises
    ------
    StatsError
        Columns missing, a jump that stands twice, infinite values.
    """
    checked = check_table(at_one_load(table), one_row_each=False)
    part = checked[checked["session"].isin(sessions)].reset_index(drop=True)
    keys = [c for c in ("trial", "jump") if c in part]
    _refuse_twice(part, keys)
    if keys:
        part = part.sort_values(keys, kind="stable", key=_natural).reset_index(drop=True)
    order = _order(part)
    notes = []
    if "accepted" in part:
        kept = part["accepted"].fillna(False).astype(bool).to_numpy()
        if not kept.all():
            notes.append(Note("not_accepted", {"n": int((~kept).sum())}))
        part, order = part[kept].reset_index(drop=True), order[kept]
    values = part[metrics].to_numpy(dtype=np.float64, na_value=np.nan)
    if np.isinf(values).any():
        i, j = np.argwhere(np.isinf(values))[0]
        raise StatsError(
            f"jumps: athlete {part['athlete'].iloc[i]}, session {part['session'].iloc[i]},"
            f" {metrics[j]} is infinite; correct it or leave the cell empty."
        )
    who, athletes = pd.factorize(part["athlete"].astype(str))
    when = pd.Index(sessions).get_indexer(part["session"].astype(str))
    place = part.groupby(["athlete", "session"], sort=False, observed=True).cumcount().to_numpy()
    most = int(place.max()) + 1 if len(place) else 1
    array = np.full((len(metrics), len(athletes), len(sessions), most), np.nan)
    array[:, who, when, place] = values.T
    orders = np.full(array.shape[1:], np.nan)
    orders[who, when, place] = order
    ids = tuple(map(str, athletes))
    return JumpCube(tuple(metrics), ids, tuple(sessions), array, orders, tuple(notes))


def _order(part: pd.DataFrame) -> Array:
    """Return each jump's place in its session: the trial's number where it tells jumps apart.

    Jumps that are not accepted count too: the third jump stays the third.
    """
    who = ["athlete", "session"]
    if "trial" in part and not part.duplicated([*who, "trial"]).any():
        numbers = pd.to_numeric(part["trial"], errors="coerce").to_numpy(dtype=np.float64)
        if np.isfinite(numbers).all():
            return numbers
    place = part.groupby(who, sort=False, observed=True).cumcount()
    return place.to_numpy(dtype=np.float64) + 1.0


def _natural(column: pd.Series) -> pd.Series:
    """Return numbers where ids are numbers, so that 10 comes after 9."""
    numbers = pd.to_numeric(column, errors="coerce")
    return numbers if numbers.notna().all() else column.astype(str)


def _refuse_twice(part: pd.DataFrame, keys: list[str]) -> None:
    names = ["athlete", "session", *keys, *(["file"] if "file" in part else [])]
    twice = part.duplicated(names, keep=False) if keys else np.zeros(len(part), dtype=bool)
    if twice.any():
        first = part.loc[twice, names].drop_duplicates().head(5)
        shown = "; ".join("/".join(map(str, r)) for r in first.itertuples(index=False))
        raise StatsError(
            f"jumps: {' / '.join(names)} stands more than once: {shown}. Remove the copies."
        )


def components(data: JumpCube) -> Components:
    """Return mean squares of jumps, days and athletes for all metrics at once."""
    there = np.isfinite(data.values)
    m = there.sum(axis=-1).astype(np.float64)
    y = _centred(data.values, there, m)
    x = _centred(np.where(there, data.order, np.nan), there, m)
    axes = (1, 2, 3)
    sxx, sxy = np.sum(x * x, axis=axes), np.sum(x * y, axis=axes)
    slope = np.where(sxx > 0, ratio(sxy, np.where(sxx > 0, sxx, 1)), 0.0)
    rest = np.sum((y - slope[:, None, None, None] * x) ** 2, axis=axes)
    df = np.sum(np.maximum(m - 1, 0), axis=(1, 2)) - (sxx > 0)
    scale = np.where(there, np.abs(data.values), 0.0).max(axis=axes, initial=0.0)
    jumps = np.where(df > 0, no_rounding(ratio(rest, np.maximum(df, 1)), scale), np.nan)
    middle = ratio(np.sum(np.where(there, data.order, 0.0), axis=axes), m.sum(axis=(1, 2)))
    shift = slope[:, None, None, None] * (data.order - np.nan_to_num(middle)[:, None, None, None])
    adjusted = np.where(there, data.values - shift, 0.0).sum(axis=-1)
    means = np.where(m > 0, adjusted / np.maximum(m, 1), np.nan)
    cells = intra_block(means)
    share = _share(means, m, cells)
    slope_se = np.sqrt(ratio(jumps, np.where(sxx > 0, sxx, np.nan)))
    slope = np.where(sxx > 0, slope, np.nan)
    return Components(
        jumps,
        np.where(df > 0, df, np.nan),
        slope,
        slope_se,
        cells,
        share,
        two_way(means),
        (m.sum(axis=-1) > 0).sum(axis=-1).astype(np.float64),
        m.sum(axis=(1, 2)),
    )


def _centred(values: Array, there: Array, m: Array) -> Array:
    total = np.where(there, values, 0.0).sum(axis=-1)
    return np.where(there, values - (total / np.maximum(m, 1))[..., None], 0.0)


def _share(means: Array, m: Array, cells: IntraBlock) -> Array:
    """Return E(remainder of cell means) per unit of jump variance."""
    there = np.isfinite(means) & (np.isfinite(means).sum(axis=-1) >= 2)[..., None]
    each = there / np.maximum(there.sum(axis=-1), 1)[..., None]
    k = means.shape[-1]
    u = np.eye(k) - each[..., None, :]
    leverage = np.einsum("aijl,alq,aijq->aij", u, cells.covariance, u)
    kept = np.where(there, 1 - each - leverage, 0.0)
    return ratio(np.sum(kept / np.maximum(m, 1), axis=(1, 2)), kept.sum(axis=(1, 2)))


def component_rows(place: Place, part: Components, k: int) -> None:
    """Add SDs between athletes, days and jumps, and the change per jump."""
    jumps = np.sqrt(part.jumps)
    place.add(
        "sd_between_jumps",
        jumps,
        limits=sd_limits(np.where(jumps > 0, jumps, np.nan), part.df_jumps, place.level),
        df=part.df_jumps,
        n=part.n,
        estimator="jumps_within_session",
        interval_kind="chi_square",
        reason=reasons_where(
            np.isfinite(part.jumps), Reason("jumps_identical"), Reason("few_jumps_in_session")
        ),
    )
    place.add(
        "jump_order_slope",
        np.where(np.isfinite(part.slope_se), part.slope, np.nan),
        limits=mean_limits(part.slope, part.slope_se, part.df_jumps, place.level),
        df=part.df_jumps,
        se=part.slope_se,
        estimator="common_slope",
        interval_kind="t",
        reason=Reason("few_jumps_in_session"),
    )
    days = part.days
    low, high = mls_limits(
        [1.0, -part.share],
        [part.cells.mse, part.jumps],
        [part.cells.df, part.df_jumps],
        place.level,
    )
    below = np.isfinite(high) & (high <= 0)
    low, high = (np.where(below, np.nan, np.sqrt(np.maximum(x, 0.0))) for x in (low, high))
    few = Reason("one_session" if k < 2 else "few_for_days")
    place.add(
        "sd_between_days",
        np.sqrt(np.maximum(days, 0.0)),
        limits=(low, high),
        df=part.cells.df,
        df2=part.df_jumps,
        n=part.cells.n,
        estimator="athlete_by_session",
        interval_kind="mls",
        reason=reasons_where(below, Reason("interval_below_zero"), few),
        remark=reasons_where(days <= 0, Reason("no_noise_of_days")),
    )


def within_session_rows(
    jumps: pd.DataFrame | None,
    metrics: list[str],
    sessions: list[str],
    level: float,
) -> tuple[list[pd.DataFrame], list[Note]]:
    """Return rows of the noise within a session, and notes; nothing without jumps.

    Metrics that the jumps table does not have are named in a note.
    """
    one = len(sessions) == 1
    if jumps is None:
        return [], [one_session_note(sessions[0], jumps_given=False)] if one else []
    refuse_no_table("jumps", jumps)
    have = [m for m in metrics if m in jumps]
    notes = [one_session_note(sessions[0])] if one else []
    lost = [m for m in metrics if m not in jumps]
    if lost:
        notes.append(Note("not_in_jumps", {"metrics": lost}))
    if not have:
        return [], notes
    data = jump_cube(jumps, have, sessions)
    rows = Rows(level=level)
    component_rows(rows.at(metric=have), components(data), len(sessions))
    return [rows.frame()], [*notes, *data.notes]


def one_session_note(session: str, *, jumps_given: bool = True) -> Note:
    """Return that one session says nothing about days, and what to do when jumps are missing."""
    remedy = "" if jumps_given else Sentence("reliability.give_jumps")
    return Note("one_session", {"session": session, "remedy": remedy})
