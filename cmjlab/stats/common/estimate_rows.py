"""Rows of the statistics table for changes and differences."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import numpy as np

from cmjlab.stats.common.least_squares import Estimate

Row = dict[str, Any]


def estimate_fields(estimate: Estimate, level: float) -> Row:
    """Return estimate, interval, df, standard error, t and p of one estimate.

    A standard error of zero gives the number alone: an interval without width or a p of
    zero would claim a certainty that no measurement has.
    """
    value, se, df = float(estimate.estimate), float(estimate.se), float(estimate.df)
    if not np.isfinite(value):
        return {"text": "not estimable: the values leave the fit without a solution"}
    if not (np.isfinite(se) and se > 0 and np.isfinite(df) and df > 0):
        text = "interval not estimable: the values have no spread left"
        return {"estimate": value, "level": level, "text": text}
    low, high = estimate.interval(level)
    return {
        "estimate": value,
        "ci_low": float(low),
        "ci_high": float(high),
        "level": level,
        "df": df,
        "se": se,
        "test_value": value / se,
        "p": float(estimate.p_value()),
    }


def not_estimable(place: Mapping[str, Any], statistic: str, why: str) -> Row:
    """Return a row that says in words why there is no number."""
    return {**place, "statistic": statistic, "text": f"not estimable: {why}"}
