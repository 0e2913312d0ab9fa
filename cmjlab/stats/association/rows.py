"""Rows of an association: Pearson's r with limits by Fisher's z, in its several forms."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np
import pandas as pd
from numpy.typing import NDArray
from scipy import special

from cmjlab.results import Note
from cmjlab.stats.common.intervals import t_tail

Array = NDArray[np.float64]
_FEWEST_DF = 3

#: Columns that share a formula: part of their correlation is arithmetic.
_COUPLED: tuple[tuple[str, str, str], ...] = (
    ("rsi_modified", "jump_height", "RSImod is height divided by time to take-off"),
    ("rsi_modified", "time_to_takeoff", "RSImod is height divided by time to take-off"),
    ("force_share", "jump_height", "height is force share times push distance"),
    ("push_distance", "jump_height", "height is force share times push distance"),
    ("push_distance", "countermovement_depth", "push distance contains the depth"),
    ("force_distance_balance", "force_share", "the balance is made from the force share"),
    ("force_distance_balance", "push_distance", "the balance is made from the push distance"),
    ("relative_strength", "squat_1rm", "relative strength is the maximum divided by body mass"),
    ("relative_strength", "body_mass", "relative strength is the maximum divided by body mass"),
    ("takeoff_velocity", "jump_height", "height is the square of take-off velocity"),
    ("takeoff_velocity", "peak_propulsion_power", "power contains velocity"),
    ("peak_propulsion_power", "jump_height", "power and height both contain velocity"),
    ("mean_propulsion_power", "jump_height", "power and height both contain velocity"),
    ("_per_kg", "body_mass", "the value was divided by body mass"),
    ("flight_to_contraction", "time_to_takeoff", "the ratio is divided by time to take-off"),
    ("time_to_takeoff", "braking_duration", "the one contains the other"),
    ("time_to_takeoff", "propulsion_duration", "the one contains the other"),
)  # fmt: skip


def coupling(a: str, b: str) -> str:
    """Return why two columns are tied to each other by arithmetic, "" when no reason is known."""
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


def correlation_row(
    base: dict[str, Any], r: float, df: int, n: int, level: float
) -> dict[str, Any]:
    """Return one row: r, limits, t, p; or the reason why there is none."""
    row = base | {"n": n, "unit": ""}
    if df < _FEWEST_DF or not np.isfinite(r):
        why = (
            f"{n} athletes with both values" if df < _FEWEST_DF else "one of the two does not vary"
        )
        return row | {"text": f"not estimable: {why}"}
    low, high = fisher_limits(r, df, level)
    t = r * np.sqrt(df / max(1 - r * r, 1e-300))
    return row | {
        "estimate": r, "ci_low": low, "ci_high": high, "level": level, "df": float(df),
        "test_value": float(t), "p": float(t_tail(abs(t), df)), "role": "exploratory",
    }  # fmt: skip


def _values(table: pd.DataFrame, column: str, session: str) -> pd.Series:
    part = table[table["session"].astype(str) == session]
    return part.set_index(part["athlete"].astype(str))[column].astype(float)


def _simple(a: pd.Series, b: pd.Series) -> tuple[float, int, int]:
    both = pd.concat([a, b], axis=1, keys=["a", "b"]).dropna().to_numpy()
    if len(both) < 3:
        return float("nan"), len(both) - 2, len(both)
    centred = both - both.mean(axis=0)
    return _r(centred[:, 0], centred[:, 1], both), len(both) - 2, len(both)


def cross_rows(
    table: pd.DataFrame, a: str, b: str, sessions: Sequence[str], level: float
) -> list[dict[str, Any]]:
    """Return the correlation over athletes in each session where both columns have values."""
    rows = []
    for session in sessions:
        first, second = _values(table, a, session), _values(table, b, session)
        if first.notna().any() and second.notna().any():
            r, df, n = _simple(first, second)
            base = {"metric": b, "statistic": "correlation", "contrast": f"with {a}",
                    "session": session, "method": "Pearson"}  # fmt: skip
            rows.append(correlation_row(base, r, df, n, level))
    return rows


def repeated_rows(
    table: pd.DataFrame, a: str, b: str, sessions: Sequence[str], level: float
) -> list[dict[str, Any]]:
    """Return the repeated-measures correlation, sessions taken out first, then as published."""
    part = table[table["session"].astype(str).isin(list(sessions))]
    part = part[part[a].notna() & part[b].notna()]
    part = part[part.duplicated("athlete", keep=False)]
    if part["session"].nunique() < 2:
        return []
    rows = []
    for method, session in (
        ("session centred", part["session"].astype(str).to_numpy()),
        ("published form, sessions not taken out", None),
    ):
        r, df = repeated(
            part[a].to_numpy(float), part[b].to_numpy(float),
            part["athlete"].astype(str).to_numpy(), session,
        )  # fmt: skip
        base = {"metric": b, "statistic": "correlation_repeated", "contrast": f"with {a}",
                "method": method}  # fmt: skip
        rows.append(correlation_row(base, r, df, part["athlete"].nunique(), level))
    return rows


def change_row(
    table: pd.DataFrame, a: str, b: str, pair: tuple[str, str], level: float
) -> dict[str, Any]:
    """Return the correlation of the two changes over athletes."""
    r, df, n = _simple(_change(table, a, pair), _change(table, b, pair))
    base = {"metric": b, "statistic": "correlation_change", "contrast": f"with {a}",
            "session": f"{pair[1]} - {pair[0]}", "method": "Pearson"}  # fmt: skip
    row = correlation_row(base, r, df, n, level)
    if not _change(table, a, pair).notna().any():
        row["text"] = f"not estimable: {a} has no value in both {pair[0]} and {pair[1]}"
    return row


def _change(table: pd.DataFrame, column: str, pair: tuple[str, str]) -> pd.Series:
    return _values(table, column, pair[1]) - _values(table, column, pair[0])


def with_change_rows(
    table: pd.DataFrame, a: str, b: str, pair: tuple[str, str], level: float
) -> list[dict[str, Any]]:
    """Return the correlation of a's value (before, after) with the change of b."""
    rows = []
    for session in pair:
        value = _values(table, a, session)
        if not value.notna().any():
            continue
        r, df, n = _simple(value, _change(table, b, pair))
        base = {"metric": b, "statistic": "correlation_with_change", "session": f"{pair[1]} - {pair[0]}",
                "contrast": f"with {a} in {session}", "method": "Pearson"}  # fmt: skip
        row = correlation_row(base, r, df, n, level)
        if a == b:
            row["text"] = (
                "coupled: the change contains this value and its noise; see correlation_oldham"
            )
        rows.append(row)
    return rows


def oldham_row(
    table: pd.DataFrame, metric: str, pair: tuple[str, str], level: float
) -> dict[str, Any]:
    """Return the correlation of the change with the mean of both sessions (Oldham 1962)."""
    total = _values(table, metric, pair[1]) + _values(table, metric, pair[0])
    r, df, n = _simple(total / 2, _change(table, metric, pair))
    base = {"metric": metric, "statistic": "correlation_oldham", "contrast": "with the mean of both",
            "session": f"{pair[1]} - {pair[0]}", "method": "Oldham"}  # fmt: skip
    return correlation_row(base, r, df, n, level)


def association_notes(
    table: pd.DataFrame,
    left: Sequence[str],
    right: Sequence[str],
    pair: tuple[str, str] | None,
    rows: Sequence[dict[str, Any]],
) -> tuple[Note, ...]:
    """Return what a reader must know: association only, coupling, few athletes, pooled sexes."""
    notes = [
        Note(
            "association_only",
            "An association says that two things go together here, not that one makes the other."
            " Attendance, ratings and match figures were not assigned by lot.",
        )
    ]
    for a in left:
        for b in right:
            why = coupling(a, b) if a != b else ""
            if why:
                notes.append(
                    Note("coupling", f"{a} and {b}: {why}; part of the correlation is arithmetic.")
                )
            if a == b and pair:
                notes.append(
                    Note(
                        "coupling",
                        f"{a}: the change {pair[1]} - {pair[0]} contains the value of {pair[0]} and its"
                        " noise, so the two correlate without any real link (Oldham 1962).",
                    )
                )
    counts = [int(r["n"]) for r in rows if r.get("n")]
    if counts:
        n = min(counts)
        notes.append(Note("few_athletes", few_words(n)))
    if "sex" in table and table["sex"].nunique() > 1:
        notes.append(
            Note(
                "sexes_together",
                "Women and men are in one table: a correlation over all of them also shows the"
                " difference between the sexes. Analyse each alone.",
            )
        )
    if pair and "group" in table and table["group"].dropna().nunique() > 1:
        notes.append(
            Note(
                "groups_together",
                "The groups trained differently: changes that go together over all athletes may only"
                " say that one group changed in both. Look at each group alone, too.",
            )
        )
    return tuple(notes)


def few_words(n: int) -> str:
    """Return how large a correlation chance alone makes among n athletes."""
    if n < 5:
        return f"{n} athletes say next to nothing about a correlation."
    t = float(special.stdtrit(n - 2, 0.975))
    edge = t / np.sqrt(n - 2 + t * t)
    return (
        f"With {n} athletes and no link at all, chance alone gives a correlation between"
        f" −{edge:.2f} and {edge:.2f} in 95 of 100 squads."
    )
