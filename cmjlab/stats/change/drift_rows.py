"""Rows, points and sentences of regression to the mean for one metric and one chosen group."""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from cmjlab.plan import Selection
from cmjlab.results import Note, Reason, Sentence
from cmjlab.stats.change.drift import (
    FEW,
    Drift,
    clean_change,
    clean_change_squad_error,
    regression_drift,
)
from cmjlab.stats.change.paired import mean_estimate
from cmjlab.stats.change.pairs import Prepared
from cmjlab.stats.change.sentences import drift_sentence, outside_drift_sentence
from cmjlab.stats.common.least_squares import Estimate, full_rank
from cmjlab.stats.common.rows import Place, Rows

Array = NDArray[np.float64]
#: The two statistics that are given or refused together.
_BOTH = ("drift_expected", "change_beyond_drift")


@dataclass
class DriftOfGroup:
    """What stands beside the rows of the drift of one group in one metric."""

    points: list[dict[str, Any]] = field(default_factory=list)
    notes: list[Note] = field(default_factory=list)
    sentences: list[Sentence] = field(default_factory=list)


def add_no_drift(place: Place, why: Reason) -> None:
    """Add the rows that say why neither the drift nor the change beyond it can be given."""
    for statistic in _BOTH:
        place.none(statistic, why)


@dataclass(frozen=True)
class _Squad:
    """Everybody who could have been chosen and has all baseline values."""

    athletes: tuple[str, ...]
    selectors: Array
    first: Array
    second: Array
    after: Array
    member: NDArray[np.bool_]
    groups: tuple[str, ...]
    lacking: tuple[str, ...]
    by_sex: bool


def drift_of_group(
    rows: Rows,
    prepared: Prepared,
    metric: str,
    selection: Selection,
    group: str,
    *,
    role: str | None = None,
) -> DriftOfGroup:
    """Add situations 1 and 2 of one metric and one group to ``rows``.

    ``prepared.before`` is the second baseline, ``prepared.after`` the session after the block.
    """
    squad = _squad(prepared, metric, selection, group)
    size = int(squad.member.sum())
    place = rows.at(metric=metric, group=group, first=prepared.after, n=size, role=role)
    from_first = place.at(second=selection.session)
    if size < 1:
        values = {"group": group, "after": prepared.after}
        add_no_drift(from_first, Reason("nobody_complete", values))
        return DriftOfGroup()
    _add_clean_change(squad, place.at(second=prepared.before), size)
    drift = None if squad.lacking else _regression(squad)
    if drift is None:
        why = Reason("few_with_both_baselines")
        if squad.lacking:
            why = Reason("selectors_absent", {"covariates": list(squad.lacking)})
        add_no_drift(from_first, why)
        return DriftOfGroup()
    _add_regression(drift, squad, from_first)
    return DriftOfGroup(
        _points(squad, drift, metric, group),
        [Note("drift_by_sex", {"metric": metric})] if squad.by_sex else [],
        [_sentence(squad, rows, metric, group, prepared, selection)],
    )


def _squad(prepared: Prepared, metric: str, selection: Selection, group: str) -> _Squad:
    """Collect everybody with all baseline values; members also need the outcome."""
    names = list(selection.metrics)
    if metric not in names:
        names.append(metric)
    lacking = [n for n in names if n not in prepared.table]
    names = [n for n in names if n not in lacking]
    columns = [prepared.values(n, selection.session) for n in names]
    first = prepared.values(metric, selection.session)
    second = prepared.values(metric, prepared.before)
    after = prepared.values(metric, prepared.after)
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
    sex = prepared.sex
    labels = [sex.get(a, "") for a in who]
    values = list(dict.fromkeys(labels))
    if "" in values or len(values) < 2 or min(labels.count(v) for v in values) < 2:
        return none
    return np.array([[float(label == v) for v in values[1:]] for label in labels])


def _add_clean_change(squad: _Squad, place: Place, size: int) -> None:
    """Add the change from the second baseline with both error terms, the better one first."""
    own = Estimate(np.nan, np.nan, np.nan)
    if size >= 2:
        own = clean_change(squad.second, squad.after, squad.member)
    found = {"own_spread": own}
    if len(squad.athletes) > 2 and np.ptp(squad.second - squad.first) > 0:
        with np.errstate(invalid="ignore", divide="ignore"):
            found["squad_error"] = clean_change_squad_error(
                squad.first, squad.second, squad.after, squad.member
            )
    order = reversed(found) if size < FEW else iter(found)
    for interval_kind in order:
        place.add_estimate(
            "change_beyond_drift",
            found[interval_kind],
            reason=Reason("one_without_spread") if size < 2 else None,
            estimator="clean_change",
            interval_kind=interval_kind,
        )


def _regression(squad: _Squad) -> Drift | None:
    n, q = squad.selectors.shape
    if n - 1 - q < 2:
        return None
    design = np.hstack([np.ones((n, 1)), squad.selectors - squad.selectors.mean(axis=0)])
    if not full_rank(design):
        return None
    return regression_drift(squad.selectors, squad.first, squad.second, squad.after, squad.member)


def _add_regression(drift: Drift, squad: _Squad, place: Place) -> None:
    size = max(float(np.abs(squad.second).max()), 1e-300)
    exact = bool(np.abs(squad.second - drift.fitted).max() <= 1e-9 * size)
    found_of = {
        "drift_expected": drift.expected,
        "drift_towards_squad": drift.towards,
        "squad_shift": drift.shift,
        "change_beyond_drift": drift.beyond,
    }
    for statistic, found in found_of.items():
        place.add_estimate(
            statistic,
            replace(found, se=0.0) if exact else found,
            reason=Reason("second_follows_first") if exact else None,
            estimator="second_baseline_on_selectors",
            interval_kind="t",
            leads=False if statistic == "change_beyond_drift" else None,  # the clean change leads
        )


def _points(squad: _Squad, drift: Drift, metric: str, group: str) -> list[dict[str, Any]]:
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
    rows: Rows,
    metric: str,
    group: str,
    prepared: Prepared,
    selection: Selection,
) -> Sentence:
    """Return start, drift, observed change and remainder of a group in one sentence."""
    inside = squad.member
    start = float(squad.first[inside].mean())
    return drift_sentence(
        rows,
        metric,
        group,
        {
            "session": selection.session,
            "baseline": prepared.before,
            "after": prepared.after,
            "gap": start - float(squad.first.mean()),
            "change": float(squad.after[inside].mean()) - start,
        },
    )


def drift_with_outside_slope(
    rows: Rows, prepared: Prepared, metric: str, group: str, slope: tuple[float, float, float]
) -> DriftOfGroup:
    """Add situation 4: one baseline, and a slope (estimate, low, high) from elsewhere."""
    first = prepared.values(metric, prepared.before)
    after = prepared.values(metric, prepared.after)
    squad_mean = float(np.mean(list(first.values())))
    chosen = [a for a in first if prepared.groups[a] == group and a in after]
    place = rows.at(
        metric=metric, group=group, first=prepared.after, second=prepared.before, n=len(chosen)
    )
    if len(chosen) < 2:
        values = {"n": len(chosen), "group": group, "needed": 2}
        add_no_drift(place, Reason("few_of_group", values))
        return DriftOfGroup()
    x, y = (np.array([column[a] for a in chosen]) for column in (first, after))
    _add_over_slopes(x, y, squad_mean, slope, place)
    expected = squad_mean + slope[0] * (x - squad_mean)
    points = [
        {
            "metric": metric,
            "chosen_group": group,
            "athlete": athlete,
            "group": group,
            "chosen": True,
            "selecting_value": first[athlete],
            "first": first[athlete],
            "expected_without_training": float(value),
            "after": after[athlete],
        }
        for athlete, value in zip(chosen, expected, strict=True)
    ]
    gap = float(x.mean()) - squad_mean
    return DriftOfGroup(points, sentences=[outside_drift_sentence(rows, metric, group, gap)])


def _add_over_slopes(
    x: Array, y: Array, squad_mean: float, slope: tuple[float, float, float], place: Place
) -> None:
    """Add drift and remainder for a slope and for both ends of its interval."""
    kinds = ("outside_slope", "outside_slope_low", "outside_slope_high")
    for value, estimator in zip(slope, kinds, strict=True):
        rest = y - (squad_mean + value * (x - squad_mean))
        place.add(
            "drift_expected",
            (value - 1.0) * (float(x.mean()) - squad_mean),
            reason=Reason("slope_not_measured"),
            estimator=estimator,
            words={"slope": value},
        )
        place.add_estimate(
            "change_beyond_drift",
            mean_estimate(rest),
            remark=Reason("slope_from_elsewhere"),
            estimator=estimator,
            interval_kind="t",
            words={"slope": value},
        )
