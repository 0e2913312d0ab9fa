"""Rows of an association: Pearson's r with limits by Fisher's z, in its several forms."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any, NamedTuple

import numpy as np
import pandas as pd
from numpy.typing import NDArray
from scipy import special

from cmjlab.results import Reason
from cmjlab.stats.common.intervals import t_tail
from cmjlab.stats.common.rows import Place, Rows

Array = NDArray[np.float64]
_FEWEST_DF = 3


class Correlation(NamedTuple):
    """A correlation (nan when one of the two does not vary), its df and the athletes used."""

    r: float
    df: int
    n: int


#: Columns that share a formula, with the key of the reason: part of their correlation is
#: arithmetic. The first two are parts of column names.
_COUPLED: tuple[tuple[str, str, str], ...] = (
    ("rsi_modified", "jump_height", "rsi_holds_height_and_time"),
    ("rsi_modified", "time_to_takeoff", "rsi_holds_height_and_time"),
    ("force_share", "jump_height", "height_is_share_times_distance"),
    ("push_distance", "jump_height", "height_is_share_times_distance"),
    ("push_distance", "countermovement_depth", "distance_holds_depth"),
    ("force_distance_balance", "force_share", "balance_holds_both_factors"),
    ("force_distance_balance", "push_distance", "balance_holds_both_factors"),
    ("relative_strength", "squat_1rm", "strength_divided_by_mass"),
    ("relative_strength", "body_mass", "strength_divided_by_mass"),
    ("takeoff_velocity", "jump_height", "height_is_velocity_squared"),
    ("takeoff_velocity", "peak_propulsion_power", "power_holds_velocity"),
    ("peak_propulsion_power", "jump_height", "both_hold_velocity"),
    ("mean_propulsion_power", "jump_height", "both_hold_velocity"),
    ("_per_kg", "body_mass", "divided_by_mass"),
    ("flight_to_contraction", "time_to_takeoff", "divided_by_time"),
    ("time_to_takeoff", "braking_duration", "time_holds_phase"),
    ("time_to_takeoff", "propulsion_duration", "time_holds_phase"),
)


def coupling(a: str, b: str) -> str:
    """Return the key of why two columns are tied by arithmetic, "" when no reason is known."""
    for first, second, why in _COUPLED:
        if (first in a and second in b) or (first in b and second in a):
            return why
    return ""


def fisher_limits(r: float, df: float, level: float) -> tuple[float, float]:
    """Return the limits of a correlation with df = n - 2 degrees of freedom by Fisher's z."""
    if not np.isfinite(r) or df < _FEWEST_DF - 1:
        return np.nan, np.nan
    if abs(r) >= 1:
        return r, r
    half = special.ndtri(0.5 + level / 2) / np.sqrt(df - 1)
    z = np.arctanh(r)
    return float(np.tanh(z - half)), float(np.tanh(z + half))


def repeated(
    x: Array, y: Array, athlete: NDArray[Any], session: NDArray[Any] | None
) -> tuple[float, int]:
    """Return r of what is left when athletes (and sessions) are taken out, and its df."""
    x, y = np.asarray(x, float), np.asarray(y, float)
    who = pd.factorize(np.asarray(athlete))[0]
    # An athlete seen once says nothing about change within athletes.
    keep = np.bincount(who)[who] > 1
    x, y, who = x[keep], y[keep], pd.factorize(who[keep])[0]
    if not len(who):
        return np.nan, 0
    values = np.column_stack([x, y])
    athletes = int(who.max()) + 1
    left, rank = _within(values, who), 0
    if session is not None:
        when = pd.factorize(np.asarray(session)[keep])[0]
        design = _within(np.eye(when.max() + 1)[when][:, 1:], who)
        left, rank = _rest(design, left)
    return _r(left[:, 0], left[:, 1], values), len(x) - athletes - rank - 1


def _within(values: Array, who: NDArray[np.int64]) -> Array:
    """Return values less the mean of their athlete; with sessions after it, Frisch & Waugh 1933."""
    means = np.stack([np.bincount(who, weights=v) for v in values.T], axis=1)
    return np.asarray(values - (means / np.bincount(who)[:, None])[who])


def _rest(design: Array, values: Array) -> tuple[Array, int]:
    if design.shape[1] == 0:
        return values, 0
    solution, _, rank, _ = np.linalg.lstsq(design, values, rcond=None)
    return values - design @ solution, int(rank)


def _r(a: Array, b: Array, raw: Array) -> float:
    """Return the correlation of residuals; nan when one of them is rounding only."""
    size = np.abs(raw).max(axis=0) if len(raw) else np.ones(2)
    if len(a) == 0 or (np.array([np.abs(a).max(), np.abs(b).max()]) < 1e-10 * size + 1e-300).any():
        return float("nan")
    return float(np.clip((a @ b) / np.sqrt((a @ a) * (b @ b)), -1, 1))


def add_correlation(
    place: Place,
    statistic: str,
    found: Correlation,
    *,
    why: Reason | None = None,
    remark: Reason | None = None,
    estimator: str = "pearson",
    leads: bool | None = None,
) -> None:
    """Add one correlation with limits, t and p; or the reason why there is none.

    Parameters
    ----------
    place : Place
    statistic : str
    found : Correlation
    why : Reason, optional
        Why there is no number, when it is more than too few athletes or no spread.
    remark, estimator, leads
        As of :meth:`cmjlab.stats.common.rows.Place.add`.
    """
    r, df, n = found
    here = place.at(n=n, role="exploratory", estimator=estimator, interval_kind="fisher_z")
    if df < _FEWEST_DF:
        here.none(statistic, why or Reason("few_with_both_values", {"n": n}), leads=leads)
        return
    if not np.isfinite(r):
        here.none(statistic, why or Reason("one_does_not_vary"), leads=leads)
        return
    t = r * np.sqrt(df / max(1 - r * r, 1e-300))
    here.add(
        statistic,
        r,
        limits=fisher_limits(r, df, here.level),
        remark=remark,
        leads=leads,
        df=df,
        test_value=t,
        p=t_tail(abs(t), df),
    )


def session_values(table: pd.DataFrame, column: str, session: str) -> pd.Series:
    """Return the values of a column in a session, by athlete."""
    part = table[table["session"].astype(str) == session]
    return part.set_index(part["athlete"].astype(str))[column].astype(float)


def correlate(a: pd.Series, b: pd.Series) -> Correlation:
    """Return Pearson's r over the athletes that have both values."""
    both = pd.concat([a, b], axis=1, keys=["a", "b"]).dropna().to_numpy()
    if len(both) < 3:
        return Correlation(float("nan"), len(both) - 2, len(both))
    centred = both - both.mean(axis=0)
    return Correlation(_r(centred[:, 0], centred[:, 1], both), len(both) - 2, len(both))


def add_in_sessions(
    rows: Rows, table: pd.DataFrame, a: str, b: str, sessions: Sequence[str]
) -> None:
    """Add the correlation over athletes in each session where both columns have values."""
    for session in sessions:
        first, second = session_values(table, a, session), session_values(table, b, session)
        if first.notna().any() and second.notna().any():
            here = rows.at(metric=b, other_metric=a, session=session)
            add_correlation(here, "correlation", correlate(first, second))


def add_repeated(rows: Rows, table: pd.DataFrame, a: str, b: str, sessions: Sequence[str]) -> None:
    """Add the repeated-measures correlation, sessions taken out first, then as published."""
    part = table[table["session"].astype(str).isin(list(sessions))]
    part = part[part[a].notna() & part[b].notna()]
    part = part[part.duplicated("athlete", keep=False)]
    if part["session"].nunique() < 2:
        return
    here, n = rows.at(metric=b, other_metric=a), part["athlete"].nunique()
    x, y = part[a].to_numpy(float), part[b].to_numpy(float)
    athlete, session = (part[c].astype(str).to_numpy() for c in ("athlete", "session"))
    for taken_out in (session, None):
        found = Correlation(*repeated(x, y, athlete, taken_out), n)
        centred = taken_out is not None
        form = "sessions_taken_out" if centred else "sessions_left_in"
        add_correlation(here, "correlation_repeated", found, estimator=form, leads=centred)


def add_of_changes(rows: Rows, table: pd.DataFrame, a: str, b: str, pair: tuple[str, str]) -> None:
    """Add the correlation of the two changes over athletes."""
    change = session_changes(table, a, pair)
    here = rows.at(metric=b, other_metric=a, first=pair[1], second=pair[0])
    missing = Reason("no_change_of_other", {"other": a, "sessions": list(pair)})
    why = None if change.notna().any() else missing
    add_correlation(
        here, "correlation_change", correlate(change, session_changes(table, b, pair)), why=why
    )


def session_changes(table: pd.DataFrame, column: str, pair: tuple[str, str]) -> pd.Series:
    """Return the change of a column from the first to the second session, by athlete."""
    return session_values(table, column, pair[1]) - session_values(table, column, pair[0])


def add_with_change(rows: Rows, table: pd.DataFrame, a: str, b: str, pair: tuple[str, str]) -> None:
    """Add the correlation of a's value (before, after) with the change of b."""
    for session in pair:
        value = session_values(table, a, session)
        if not value.notna().any():
            continue
        found = correlate(value, session_changes(table, b, pair))
        here = rows.at(metric=b, other_metric=a, first=pair[1], second=pair[0], session=session)
        remark = Reason("change_contains_value") if a == b else None
        add_correlation(here, "correlation_with_change", found, remark=remark)


def add_oldham(rows: Rows, table: pd.DataFrame, metric: str, pair: tuple[str, str]) -> None:
    """Add the correlation of the change with the mean of both sessions (Oldham 1962)."""
    total = session_values(table, metric, pair[1]) + session_values(table, metric, pair[0])
    here = rows.at(metric=metric, first=pair[1], second=pair[0])
    found = correlate(total / 2, session_changes(table, metric, pair))
    add_correlation(here, "correlation_oldham", found, estimator="oldham")
