"""The cuts of the rules with their values in this squad: what a page or a figure shows."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np
import pandas as pd

from cmjlab.stats.subgroups.place import place_with_cuts, roster_words
from cmjlab.stats.subgroups.rules import Rules

_COLUMNS = ["subgroup", "metric", "sign", "place", "among", "stratum", "cut"]


def cuts_frame(rules: Rules, strata: Mapping[str, pd.DataFrame]) -> pd.DataFrame:
    """Return every cut with its value: one row per condition, per stratum where it is relative.

    Parameters
    ----------
    rules : Rules
    strata : mapping of stratum to DataFrame
        The rows of the deciding session.

    Returns
    -------
    pandas.DataFrame
        Columns subgroup, metric, sign, place (median, mean, percentile …; "" for a number),
        among (the subgroup in which the place is taken, "" for everybody), stratum ("" for a
        number, which is the same for everybody), cut (in the table's unit).
    """
    found = {name: _cuts(rules, part) for name, part in strata.items() if len(part)}
    rows = []
    for i, rule in enumerate(rules.rules):
        for k, c in enumerate(rule.conditions):
            if c.is_word:
                continue
            here = (rule.subgroup, c.metric, c.sign)
            if not c.is_relative:
                rows.append((*here, "", c.among, "", c.cut))
                continue
            rows += [(*here, c.place, c.among, name, cuts[i, k]) for name, cuts in found.items()]
    return pd.DataFrame(rows, columns=_COLUMNS)


def _cuts(rules: Rules, part: pd.DataFrame) -> dict[tuple[int, int], float]:
    values = {m: part[m].to_numpy(dtype=float, na_value=np.nan) for m in rules.metrics}
    words = {w: roster_words(part[w]) for w in rules.words}
    if not values:
        return {}
    return {at: float(cut) for at, cut in place_with_cuts(rules, values, words)[1].items()}
