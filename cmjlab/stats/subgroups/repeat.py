"""Would the same athletes fall into the same subgroups at a second test? Seen and expected."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from cmjlab.stats.subgroups.draws import SEED, second_test, squad_draws
from cmjlab.stats.subgroups.noise import FoundNoise
from cmjlab.stats.subgroups.rules import Rules, place, roster_words

Array = NDArray[np.float64]
_FEWEST = 6


def repeat_rows(
    table: pd.DataFrame,
    masks: Mapping[str, pd.Series],
    rules: Rules,
    noise: FoundNoise,
    what: tuple[tuple[str, str], float],
) -> tuple[list[dict[str, Any]], pd.DataFrame]:
    """Return rows of changes of subgroup seen and expected, and both subgroups per athlete.

    Parameters
    ----------
    table : pandas.DataFrame
        Checked sessions table.
    masks : mapping of stratum to mask
    rules : Rules
    noise : FoundNoise
    what : ((first session, second session), level)
    """
    pair, level = what
    both, expected, reasons = [], [], []
    for name, mask in masks.items():
        first, second = (_values(table[mask], rules, s) for s in pair)
        seen = _seen(first, second, rules, name)
        both.append(seen)
        draws, why = _expected(first, list(seen["athlete"]), rules, noise)
        expected.append(draws)
        if why:
            reasons.append(why)
    frame = pd.concat(both, ignore_index=True)
    n = len(frame)
    base = {"metric": " and ".join(rules.metrics) or "roster", "n": n, "unit": "",
            "contrast": f"{pair[1]} against {pair[0]}"}  # fmt: skip
    changed = int(frame["changed"].sum())
    rows = [base | {"statistic": "changed_group", "estimate": float(changed), "method": "counted"}]
    row = base | {
        "statistic": "changed_group_expected",
        "method": "second test drawn with the same true values",
    }
    if reasons or not expected:
        rows.append(
            row | {"text": f"not estimable: {'; '.join(dict.fromkeys(reasons)) or 'no athletes'}"}
        )
        return rows, frame
    total = np.sum([e for e in expected if e is not None], axis=0)
    low, high = np.quantile(total, [0.5 - level / 2, 0.5 + level / 2], method="inverted_cdf")
    text = "prediction of the count, from typical error alone and without a session change"
    rows.append(row | {"estimate": float(total.mean()), "ci_low": float(low), "ci_high": float(high),
                       "level": level, "text": text})  # fmt: skip
    return rows, frame


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
) -> tuple[Array | None, str]:
    """Return draws of the number of athletes who change subgroup, or why there are none."""
    if not athletes or not rules.metrics:
        return None, ""
    known = noise.part(rules.metrics)
    if known is None:
        return None, "; ".join(noise.missing[m] for m in rules.metrics if m in noise.missing)
    complete = first.dropna(subset=list(rules.metrics))
    fewest = max(_FEWEST, len(rules.metrics) + 4)
    if len(complete) < fewest:
        return None, f"{len(complete)} athletes with every value; {fewest} are needed"
    matrix = complete[list(rules.metrics)].to_numpy(float)
    if (matrix.std(axis=0) == 0).any():
        return None, "no spread"
    rng = np.random.default_rng(SEED)
    true, errors = squad_draws(matrix, known, rng)
    again = second_test(true, errors, rng)
    words = {w: roster_words(complete[w]) for w in rules.words}
    drawn = {m: again[..., j] for j, m in enumerate(rules.metrics)}
    names = np.array([rules.subgroups.index(r.subgroup) for r in rules.rules])
    now = names[_codes(complete, rules)]
    then = names[place(rules, drawn, words)]
    counted = np.isin(complete.index.to_numpy(), athletes)
    return np.asarray(((then != now) & counted).sum(axis=1), dtype=np.float64), ""


def repeat_sentence(rows: list[dict[str, Any]], pair: tuple[str, str]) -> str:
    """Return how many changed, and how many were to be expected."""
    seen, expected = rows[0], rows[1]
    text = (
        f"With the rules applied to {pair[1]} instead of {pair[0]}, {int(seen['estimate'])} of"
        f" {seen['n']} athletes would be in another subgroup"
    )
    if "estimate" not in expected:
        return f"{text}; how many noise alone would move is {expected['text']}."
    low, high = int(expected["ci_low"]), int(expected["ci_high"])
    inside = low <= seen["estimate"] <= high
    says = (
        "the noise of the test explains it"
        if inside
        else "more than the noise of the test explains: something changed between the sessions"
        if seen["estimate"] > high
        else "fewer than that, by chance or because the cuts were set in gaps between the measured values"
    )
    return (
        f"{text}; typical error alone makes {expected['estimate']:.1f} ({low} to {high}): {says}."
    )
