"""Rows, points and sentences of regression to the mean for one metric and one chosen group."""

from __future__ import annotations

from dataclasses import dataclass, field, replace

import numpy as np
from numpy.typing import NDArray

from cmjlab.plan import Selection
from cmjlab.results import Note
from cmjlab.stats.change.drift import (
    FEW,
    Drift,
    clean_change,
    clean_change_squad_error,
    member_mean,
    regression_drift,
)
from cmjlab.stats.change.pairs import Prepared, session_values
from cmjlab.stats.common.estimate_rows import Row, estimate_fields, not_estimable
from cmjlab.stats.common.least_squares import Estimate, full_rank
from cmjlab.stats.common.tables import unit_of
from cmjlab.stats.common.wording import interval_text, name_of, signed

Array = NDArray[np.float64]
CLEAN = "change from a baseline that did not decide the group"
REGRESSION = "second baseline regressed on the selectors over the squad"


@dataclass
class DriftPart:
    """Rows, points, notes and sentence of one metric and group."""

    rows: list[Row] = field(default_factory=list)
    points: list[Row] = field(default_factory=list)
    notes: list[Note] = field(default_factory=list)
    sentence: str = ""


@dataclass(frozen=True)
class _Squad:
    athletes: tuple[str, ...]
    selectors: Array
    first: Array
    second: Array
    after: Array
    member: NDArray[np.bool_]
    groups: tuple[str, ...]
    lacking: tuple[str, ...]
    by_sex: bool


def drift_part(
    prepared: Prepared, metric: str, selection: Selection, group: str, level: float
) -> DriftPart:
    """Return situations 1 and 2 of one metric and one group.

    ``prepared.before`` is the second baseline, ``prepared.after`` the session after the block.
    """
    out = DriftPart()
    squad = _squad(prepared, metric, selection, group)
    size = int(squad.member.sum())
    place: Row = {"metric": metric, "group": group, "n": size, "unit": unit_of(metric)}
    from_first = {**place, "contrast": f"{prepared.after} - {selection.session}"}
    from_second = {**place, "contrast": prepared.contrast}
    if size < 1:
        why = f"nobody of {group} has all baseline values and a value in {prepared.after}"
        out.rows = [
            not_estimable(from_first, s, why) for s in ("drift_expected", "change_beyond_drift")
        ]
        return out
    out.rows += _clean_rows(squad, from_second, level)
    drift = None if squad.lacking else _regression(squad)
    if drift is None:
        why = "too few athletes with both baselines for a regression on the selectors"
        if squad.lacking:
            why = f"the table does not hold {', '.join(squad.lacking)}, which decided the group"
        out.rows += [
            not_estimable(from_first, s, why) for s in ("drift_expected", "change_beyond_drift")
        ]
        return out
    out.rows += _regression_rows(drift, squad, from_first, level)
    if squad.by_sex:
        text = f"{metric}: the drift is worked out towards the mean of each athlete's own sex."
        out.notes.append(Note("drift_by_sex", text))
    out.points = _points(squad, drift, metric, group)
    out.sentence = _sentence(squad, drift, out.rows, metric, group, prepared, selection)
    return out


def _squad(prepared: Prepared, metric: str, selection: Selection, group: str) -> _Squad:
    """Collect everybody with all baseline values; members also need the outcome."""
    names = list(selection.metrics)
    if metric not in names:
        names.append(metric)
    lacking = [n for n in names if n not in prepared.table]
    names = [n for n in names if n not in lacking]
    columns = [session_values(prepared.table, n, selection.session) for n in names]
    first = session_values(prepared.table, metric, selection.session)
    second = session_values(prepared.table, metric, prepared.before)
    after = session_values(prepared.table, metric, prepared.after)
    who = [
        a
        for a in dict.fromkeys(prepared.table["athlete"])
        if all(np.isfinite(c.get(a, np.nan)) for c in (*columns, first, second))
    ]
    outcome = np.array([after.get(a, np.nan) for a in who])
    member = np.array([prepared.groups[a] == group for a in who], dtype=bool) & np.isfinite(outcome)
    strata = _sex_columns(prepared, who)
    return _Squad(
        tuple(who),
        np.hstack(
            [
                np.array([[c[a] for c in columns] for a in who]).reshape(len(who), len(columns)),
                strata,
            ]
        ),
        np.array([first[a] for a in who]),
        np.array([second[a] for a in who]),
        outcome,
        member,
        tuple(prepared.groups[a] for a in who),
        tuple(lacking),
        strata.shape[1] > 0,
    )


def _sex_columns(prepared: Prepared, who: list[str]) -> Array:
    """Return indicators of sex, so that each athlete drifts towards the mean of their own sex.

    None (no columns) when sex is not in the table, unknown for somebody, or one of its values
    stands for fewer than two athletes.
    """
    none = np.empty((len(who), 0))
    if "sex" not in prepared.table:
        return none
    known = prepared.table[["athlete", "sex"]].dropna().drop_duplicates("athlete")
    sex = dict(zip(known["athlete"].astype(str), known["sex"].astype(str), strict=True))
    labels = [sex.get(a, "") for a in who]
    values = list(dict.fromkeys(labels))
    if "" in values or len(values) < 2 or min(labels.count(v) for v in values) < 2:
        return none
    return np.array([[float(label == v) for v in values[1:]] for label in labels])


def _clean_rows(squad: _Squad, place: Row, level: float) -> list[Row]:
    own: Row = {
        **place,
        "statistic": "change_beyond_drift",
        "method": f"{CLEAN}; spread of the group's own changes",
    }
    if place["n"] < 2:
        own["text"] = "not estimable: one athlete has no spread; see the row with the squad's error"
    else:
        own |= estimate_fields(clean_change(squad.second, squad.after, squad.member), level)
    rows = [own]
    if len(squad.athletes) > 2 and np.ptp(squad.second - squad.first) > 0:
        estimate = _one(clean_change_squad_error, squad)
        rows.append(
            {
                **place,
                "statistic": "change_beyond_drift",
                "method": f"{CLEAN}; typical error of the squad",
                **estimate_fields(estimate, level),
            }
        )
    if place["n"] < FEW:
        rows.reverse()
    return rows


def _one(kernel: object, squad: _Squad) -> Estimate:
    with np.errstate(invalid="ignore", divide="ignore"):
        return kernel(squad.first, squad.second, squad.after, squad.member)  # type: ignore[operator,no-any-return]


def _regression(squad: _Squad) -> Drift | None:
    n, q = squad.selectors.shape
    if n - 1 - q < 2:
        return None
    design = np.hstack([np.ones((n, 1)), squad.selectors - squad.selectors.mean(axis=0)])
    if not full_rank(design):
        return None
    return regression_drift(squad.selectors, squad.first, squad.second, squad.after, squad.member)


def _regression_rows(drift: Drift, squad: _Squad, place: Row, level: float) -> list[Row]:
    size = max(float(np.abs(squad.second).max()), 1e-300)
    if np.abs(squad.second - drift.fitted).max() <= 1e-9 * size:
        why = "interval not estimable: the second baseline follows from the first without any noise"
        drift = replace(
            drift,
            expected=replace(drift.expected, se=0.0),
            beyond=replace(drift.beyond, se=0.0),
        )
        rows = _regression_fields(drift, place, level)
        return [{**row, "text": why} for row in rows]
    return _regression_fields(drift, place, level)


def _regression_fields(drift: Drift, place: Row, level: float) -> list[Row]:
    return [
        {
            **place,
            "statistic": "drift_expected",
            "method": REGRESSION,
            **estimate_fields(drift.expected, level),
        },
        {
            **place,
            "statistic": "change_beyond_drift",
            "method": f"{REGRESSION}; first baseline as start",
            **estimate_fields(drift.beyond, level),
        },
    ]


def _points(squad: _Squad, drift: Drift, metric: str, group: str) -> list[Row]:
    return [
        {
            "metric": metric,
            "chosen_group": group,
            "athlete": a,
            "group": squad.groups[i],
            "chosen": bool(squad.member[i]),
            "selecting_value": float(squad.selectors[i, 0]),
            "first": float(squad.first[i]),
            "second": float(squad.second[i]),
            "expected_without_training": float(drift.fitted[i]),
            "after": float(squad.after[i]),
        }
        for i, a in enumerate(squad.athletes)
    ]


def _sentence(
    squad: _Squad,
    drift: Drift,
    rows: list[Row],
    metric: str,
    group: str,
    prepared: Prepared,
    selection: Selection,
) -> str:
    unit = unit_of(metric)
    gap = float(member_mean(squad.first, squad.member) - squad.first.mean())
    observed = float(
        member_mean(
            np.where(squad.member, squad.after, 0.0) - squad.first * squad.member, squad.member
        )
    )
    moved = next(r for r in rows if r["statistic"] == "drift_expected")
    beyond = rows[0] if "ci_low" in rows[0] else rows[-1]
    return (
        f"{name_of(metric)}: in {selection.session} the mean of group {group} was"
        f" {signed(gap, unit)} from the squad's. Without any training it would be expected to move by"
        f" {_with_interval(moved, unit)} until the next test. Its mean moved by {signed(observed, unit)} from"
        f" {selection.session} to {prepared.after}; beyond the drift, measured as"
        f" {'change from ' + prepared.before if beyond is rows[0] else 'distance from the expected value'},"
        f" that is {_with_interval(beyond, unit)}."
    )


def _with_interval(row: Row, unit: str) -> str:
    size = signed(row["estimate"], unit)
    if "ci_low" not in row:
        return size
    return f"{size} ({interval_text(row['ci_low'], row['ci_high'], unit, row['level'])})"


def outside_part(
    prepared: Prepared, metric: str, group: str, rho: tuple[float, float, float], level: float
) -> DriftPart:
    """Return situation 4: one baseline, and a slope (estimate, low, high) from elsewhere."""
    out = DriftPart()
    first = session_values(prepared.table, metric, prepared.before)
    after = session_values(prepared.table, metric, prepared.after)
    who = [a for a in first if np.isfinite(first[a])]
    squad_mean = float(np.mean([first[a] for a in who]))
    chosen = [a for a in who if prepared.groups[a] == group and np.isfinite(after.get(a, np.nan))]
    place: Row = {
        "metric": metric,
        "group": group,
        "n": len(chosen),
        "unit": unit_of(metric),
        "contrast": prepared.contrast,
    }
    if len(chosen) < 2:
        why = f"{len(chosen)} athlete(s) of {group} with both sessions; at least 2 are needed"
        out.rows = [not_estimable(place, s, why) for s in ("drift_expected", "change_beyond_drift")]
        return out
    x = np.array([first[a] for a in chosen])
    y = np.array([after[a] for a in chosen])
    out.rows = _outside_rows(x, y, squad_mean, rho, place | {"level": level})
    out.points = [
        {
            "metric": metric,
            "chosen_group": group,
            "athlete": a,
            "group": group,
            "chosen": True,
            "selecting_value": first[a],
            "first": first[a],
            "expected_without_training": squad_mean + rho[0] * (first[a] - squad_mean),
            "after": after[a],
        }
        for a in chosen
    ]
    gap = float(x.mean()) - squad_mean
    unit = unit_of(metric)
    low, high = sorted((out.rows[2]["estimate"], out.rows[4]["estimate"]))
    out.sentence = (
        f"{name_of(metric)}: group {group} started {signed(gap, unit)} from the squad's mean; without any"
        f" training a drift of {signed(out.rows[0]['estimate'], unit)} ({signed(low, unit, with_unit=False)} to"
        f" {signed(high, unit)} over the interval of a slope from elsewhere) would be expected."
    )
    return out


def _outside_rows(
    x: Array, y: Array, squad_mean: float, rho: tuple[float, float, float], place: Row
) -> list[Row]:
    """Return drift and remainder for a slope and for both ends of its interval."""
    rows: list[Row] = []
    warning = "depends on a slope from elsewhere"
    for value, name in zip(rho, ("estimate", "lower limit", "upper limit"), strict=True):
        rest = y - (squad_mean + value * (x - squad_mean))
        n = len(rest)
        beyond = Estimate(float(rest.mean()), float(rest.std(ddof=1) / np.sqrt(n)), n - 1.0)
        here = {**place, "method": f"slope from elsewhere, its {name} ({value:g})", "text": warning}
        drift = (value - 1.0) * (float(x.mean()) - squad_mean)
        rows.append({**here, "statistic": "drift_expected", "estimate": drift})
        fields = estimate_fields(beyond, place["level"])
        rows.append({**here, "statistic": "change_beyond_drift", **fields})
    return rows
