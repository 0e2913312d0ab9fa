"""Would the same athletes fall into the same subgroups at a second test? Seen and expected."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from cmjlab.results import Reason, Sentence
from cmjlab.stats.common.least_squares import is_constant
from cmjlab.stats.common.measures import PLACEMENT_RULES
from cmjlab.stats.common.rows import Rows
from cmjlab.stats.subgroups.draws import SEED, second_test, squad_draws
from cmjlab.stats.subgroups.noise import FoundNoise
from cmjlab.stats.subgroups.place import place, roster_words
from cmjlab.stats.subgroups.rules import Rules

Array = NDArray[np.float64]
_FEWEST = 6


def add_repeat(
    rows: Rows,
    table: pd.DataFrame,
    masks: Mapping[str, pd.Series],
    decided: tuple[Rules, FoundNoise],
    pair: tuple[str, str],
) -> pd.DataFrame:
    """Add changes of subgroup seen and expected; return both subgroups of every athlete.

    Parameters
    ----------
    rows : Rows
    table : pandas.DataFrame
        Checked sessions table.
    masks : mapping of stratum to mask
    decided : (Rules, FoundNoise)
    pair : (first session, second session)
    """
    rules, noise = decided
    both: list[pd.DataFrame] = []
    expected: list[Array] = []
    reasons: list[Reason] = []
    for name, mask in masks.items():
        first, second = (_values(table[mask], rules, s) for s in pair)
        both.append(_seen(first, second, rules, name))
        draws = _expected(first, list(both[-1]["athlete"]), rules, noise)
        if isinstance(draws, Reason):
            reasons.append(draws)
        elif draws is not None:
            expected.append(draws)
    frame = pd.concat(both, ignore_index=True)
    here = rows.at(metric=PLACEMENT_RULES, first=pair[1], second=pair[0], n=len(frame))
    here.add("changed_group", int(frame["changed"].sum()), estimator="counted")
    if reasons:
        here.none("changed_group_expected", reasons[0])
        return frame
    total = np.sum(expected, axis=0)
    level = rows.level
    limits = np.quantile(total, [0.5 - level / 2, 0.5 + level / 2], method="inverted_cdf")
    here.add(
        "changed_group_expected",
        total.mean(),
        limits=(limits[0], limits[1]),
        remark=Reason("prediction_of_count"),
        estimator="second_test_drawn",
        interval_kind="quantiles_of_draws",
    )
    return frame


def _values(rows: pd.DataFrame, rules: Rules, session: str) -> pd.DataFrame:
    part = rows[rows["session"].astype(str) == session]
    columns = [*rules.metrics, *rules.words]
    return part.assign(athlete=part["athlete"].astype(str)).set_index("athlete")[columns]


def _codes(rows: pd.DataFrame, rules: Rules) -> NDArray[np.int64]:
    if not len(rows):
        return np.zeros(0, dtype=np.int64)
    values = {m: rows[m].to_numpy(float, na_value=np.nan) for m in rules.metrics}
    words = {w: roster_words(rows[w]) for w in rules.words}
    if not values and not words:
        return np.zeros(len(rows), dtype=np.int64)
    return place(rules, values, words)


def _names(code: NDArray[np.int64], rules: Rules) -> list[str]:
    return [rules.rules[c].subgroup if c >= 0 else "" for c in code]


def _seen(first: pd.DataFrame, second: pd.DataFrame, rules: Rules, stratum: str) -> pd.DataFrame:
    """Return the subgroup of every athlete in both sessions, those placed in both only."""
    one = pd.Series(_names(_codes(first, rules), rules), index=first.index, dtype="str")
    two = pd.Series(_names(_codes(second, rules), rules), index=second.index, dtype="str")
    frame = pd.DataFrame({"first": one, "second": two}).rename_axis("athlete").reset_index()
    frame = frame.dropna()
    frame = frame[(frame["first"] != "") & (frame["second"] != "")]
    return frame.assign(stratum=stratum, changed=frame["first"] != frame["second"]).reset_index(
        drop=True
    )


def _expected(
    first: pd.DataFrame, athletes: list[str], rules: Rules, noise: FoundNoise
) -> Array | Reason | None:
    """Return draws of the number of athletes who change subgroup, or why there are none.

    None when there is nothing to change: no athletes, or rules without any metric.
    """
    if not athletes or not rules.metrics:
        return None
    known = noise.part(rules.metrics)
    if known is None:
        return noise.why_not(rules.metrics)
    complete = first.dropna(subset=list(rules.metrics))
    fewest = max(_FEWEST, len(rules.metrics) + 4)
    if len(complete) < fewest:
        return Reason("few_with_every_value", {"n": len(complete), "needed": fewest})
    matrix = complete[list(rules.metrics)].to_numpy(float)
    if any(is_constant(column) for column in matrix.T):
        return Reason("values_all_equal")
    rng = np.random.default_rng(SEED)
    true, errors = squad_draws(matrix, known, rng)
    again = second_test(true, errors, rng)
    words = {w: roster_words(complete[w]) for w in rules.words}
    drawn = {m: again[..., j] for j, m in enumerate(rules.metrics)}
    names = np.array([rules.subgroups.index(r.subgroup) for r in rules.rules])
    now = names[_codes(complete, rules)]
    then = names[place(rules, drawn, words)]
    counted = np.isin(complete.index.to_numpy(), athletes)
    return np.asarray(((then != now) & counted).sum(axis=1), dtype=np.float64)


def repeat_sentence(rows: Rows, pair: tuple[str, str]) -> Sentence:
    """Return how many changed, and how many were to be expected."""
    seen, expected = rows.first("changed_group"), rows.first("changed_group_expected")
    assert seen is not None
    assert expected is not None
    changed, low, high = seen["estimate"], expected["ci_low"], expected["ci_high"]
    values = {
        "before": pair[0],
        "after": pair[1],
        "changed": int(changed),
        "athletes": int(seen["n"]),
    }
    if not np.isfinite(expected["estimate"]):
        return Sentence("changed_group.unknown", values={**values, "why": expected["reason"]})
    kind = "more" if changed > high else "fewer" if changed < low else "as_expected"
    numbers = {"expected": float(expected["estimate"]), "low": int(low), "high": int(high)}
    return Sentence(f"changed_group.{kind}", values={**values, **numbers})
