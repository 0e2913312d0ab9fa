"""Placing athletes by the rules: first match wins, then subgroups are divided."""

from __future__ import annotations

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from cmjlab.stats.subgroups.rules import Rule, Rules

Array = NDArray[np.float64]
Code = NDArray[np.int64]
#: Nobody's yet; a rule cannot be decided because a value is missing.
_FREE, _UNKNOWN = -2, -1


def roster_words(column: pd.Series) -> NDArray[np.object_]:
    """Return a roster column as words without blanks around them; "" where it is empty."""
    return np.array(["" if pd.isna(w) else str(w).strip() for w in column], dtype=object)


def place(rules: Rules, values: dict[str, Array], words: dict[str, NDArray[np.object_]]) -> Code:
    """Return the position of the rule that places each athlete, for one stratum.

    Parameters
    ----------
    rules : Rules
    values : dict of str to array, shape (..., n_athletes)
        True or measured values of each deciding metric.
    words : dict of str to array of str, shape (n_athletes,)
        Roster columns that decide (:func:`roster_words`).

    Returns
    -------
    array of int, shape (..., n_athletes)
        -1 where a rule cannot be decided because a value is missing: an athlete without a
        strength test is not "not weak".
    """
    return place_with_cuts(rules, values, words)[0]


def place_with_cuts(
    rules: Rules, values: dict[str, Array], words: dict[str, NDArray[np.object_]]
) -> tuple[Code, dict[tuple[int, int], Array]]:
    """Return the placing rules, and the cut of every condition on a metric, by (rule, condition).

    A rule that divides a subgroup looks at those whom the rules above placed there; all rules
    that divide it take their cuts among the same athletes, whatever an earlier one took out.
    """
    shape = next(iter(values.values())).shape if values else next(iter(words.values())).shape
    code = np.full(shape, _FREE, dtype=np.int64)
    cuts: dict[tuple[int, int], Array] = {}
    whole: dict[str, NDArray[np.bool_]] = {}
    for position, rule in enumerate(rules.rules):
        members = None
        ready = code == _FREE
        if rule.within:
            now = _in_subgroup(code, rules, rule.within)
            members = whole.setdefault(rule.within, now)
            ready = members & now
        match, unknown, found = _matches(rule, values, words, members, shape)
        cuts |= {(position, k): cut for k, cut in found.items()}
        code = np.where(ready & match, np.where(unknown, _UNKNOWN, position), code)
    return code, cuts


def _in_subgroup(code: Code, rules: Rules, subgroup: str) -> NDArray[np.bool_]:
    return np.isin(code, [i for i, r in enumerate(rules.rules) if r.subgroup == subgroup])


def _matches(
    rule: Rule,
    values: dict[str, Array],
    words: dict[str, NDArray[np.object_]],
    members: NDArray[np.bool_] | None,
    shape: tuple[int, ...],
) -> tuple[NDArray[np.bool_], NDArray[np.bool_], dict[int, Array]]:
    """Return where a rule holds (or may hold), where a value is missing, and its cuts."""
    match, unknown = np.ones(shape, dtype=bool), np.zeros(shape, dtype=bool)
    cuts: dict[int, Array] = {}
    for k, c in enumerate(rule.conditions):
        if c.is_word:
            column = words[c.metric]
            missing = np.array([w == "" for w in column], dtype=bool)
            holds = np.array([str(w).casefold() == c.word.casefold() for w in column], bool)
            match, unknown = match & (holds | missing), unknown | missing
            continue
        x = values[c.metric]
        missing = ~np.isfinite(x)
        cuts[k] = c.cut_of(x, members if c.among else None)
        match = match & (c.holds(x, cuts[k]) | missing)
        unknown = unknown | missing
    return match, unknown, cuts
