"""The cuts of the rules with their values in this squad: what a page or a figure shows."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np
import pandas as pd

from cmjlab.stats.subgroups.rules import Rules

_COLUMNS = ["subgroup", "metric", "sign", "place", "stratum", "cut"]


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
        stratum ("" for a number, which is the same for everybody), cut (in the table's unit).
    """
    rows = []
    for rule in rules.rules:
        for c in rule.conditions:
            if c.is_word:
                continue
            if not c.is_relative:
                rows.append((rule.subgroup, c.metric, c.sign, "", "", c.cut))
                continue
            for name, part in strata.items():
                values = part[c.metric].to_numpy(dtype=float, na_value=np.nan)
                cut = float(c.cut_of(values)) if len(values) else np.nan
                rows.append((rule.subgroup, c.metric, c.sign, c.place, name, cut))
    return pd.DataFrame(rows, columns=_COLUMNS)
