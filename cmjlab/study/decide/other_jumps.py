"""Checks of a jump against the other jumps of the same athlete.

They need the whole study, so they are computed each time and never kept: kept rows depend on
their own file alone. They look at jumps that the rules of their own file accept, a person's
verdicts applied, and their outcome then counts like any other rule's.
"""

from __future__ import annotations

from typing import Any

import numpy as np
import pandas as pd

from cmjlab.catalog import CHECKS
from cmjlab.stats.common.loads import loads_of
from cmjlab.study.store.parts import CHECK_COLUMNS, frame_of, frame_of_columns

#: Limits in percent; they stand in words in ``cmjlab.catalog.CHECKS``. Our own choice.
WEIGHT_WARN, WEIGHT_FAIL = 1.0, 3.0
SESSION_BEST_WARN = 10.0
OWN_BEST_WARN = 20.0
_COLUMNS = {name: kind for name, kind in CHECK_COLUMNS.items() if name != "key"}


def checks_against_other_jumps(jumps: pd.DataFrame, reference: pd.Series) -> pd.DataFrame:
    """Return the checks of every jump against its athlete's other jumps.

    Parameters
    ----------
    jumps : pandas.DataFrame
        Columns file, jump, athlete, session, body_weight_n, jump_height_m, and
        weight_borrowed where the weight of some jumps is that of others, load_kg where some
        have a load (heights are compared at the same load).
    reference : pandas.Series of bool
        Jumps that may serve for comparison: accepted by their own rules or by a person.

    Returns
    -------
    pandas.DataFrame
        Three rows per jump (weight_vs_session, outlier_within_session, far_below_own_best),
        columns as in the table of checks.
    """
    if jumps.empty:
        return frame_of([], _COLUMNS)
    athlete, session = jumps["athlete"].astype(str), jumps["session"].astype(str)
    weight, height = (
        jumps["body_weight_n"],
        jumps["jump_height_m"].where(jumps["jump_height_m"] > 0),
    )
    borrowed = jumps.get("weight_borrowed", pd.Series(False, index=jumps.index)).astype(bool)
    weighed = weight.where(reference & (weight > 0) & ~borrowed)
    weight = weight.where(~borrowed)
    median = weighed.groupby([athlete, session]).transform("median")
    count = weighed.groupby([athlete, session]).transform("count")
    good = height.where(reference)
    load = loads_of(jumps)
    best_today = good.groupby([athlete, session, load]).transform("max")
    best_ever = good.groupby([athlete, load]).transform("max")
    results = [
        [_weight(v, int(n)) for v, n in zip(100.0 * (weight / median - 1.0), count, strict=True)],
        [_effort(v, SESSION_BEST_WARN, "session") for v in 100.0 * (height / best_today - 1.0)],
        [_effort(v, OWN_BEST_WARN, "study") for v in 100.0 * (height / best_ever - 1.0)],
    ]
    codes = ("weight_vs_session", "outlier_within_session", "far_below_own_best")
    rules = [(code, CHECKS[code].scope, CHECKS[code].unit) for code in codes]
    outcomes = [o for of_jump in zip(*results, strict=True) for o in of_jump]
    status, value, limit, reason = zip(*outcomes, strict=True)
    code, scope, unit = zip(*rules * len(jumps), strict=True)
    data: dict[str, Any] = {
        "file": np.repeat(jumps["file"].to_numpy(), len(codes)),
        "jump": np.repeat(jumps["jump"].to_numpy(), len(codes)),
        "code": code,
        "status": status,
        "scope": scope,
        "value": value,
        "limit": limit,
        "unit": unit,
        "reason": reason,
    }
    return frame_of_columns(data, _COLUMNS)


_Outcome = tuple[str, float, float, str]


def _weight(percent: float, n: int) -> _Outcome:
    """Return status, value, limit and reason for body weight against the session's median."""
    if n >= 2 and not np.isfinite(percent):
        return "not_assessed", np.nan, WEIGHT_WARN, "This jump has no weight of its own."
    if n < 2:
        return "not_assessed", np.nan, WEIGHT_WARN, "Fewer than two weighed jumps to compare with."
    side = "above" if percent > 0 else "below"
    words = f"Body weight is {abs(percent):.1f} % {side} the median of the athlete's session"
    if abs(percent) <= WEIGHT_WARN:
        return "pass", percent, WEIGHT_WARN, f"{words}."
    if n == 2:
        return "warn", percent, WEIGHT_WARN, f"{words}; with two jumps nobody knows which is right."
    if abs(percent) <= WEIGHT_FAIL:
        return "warn", percent, WEIGHT_WARN, f"{words}: look at the weighing."
    return "fail", percent, WEIGHT_FAIL, f"{words}: weighed while moving, or another person."


def _effort(percent: float, limit: float, where: str) -> _Outcome:
    """Return status, value, limit and reason for height against the best of a session or study."""
    if not np.isfinite(percent):
        return "not_assessed", np.nan, -limit, "No height, or no accepted jump to compare with."
    words = f"Height is {max(-percent, 0.0):.0f} % below the athlete's best of the {where}"
    if percent < -limit:
        return "warn", percent, -limit, f"{words}: full effort, fatigue or pain?"
    return "pass", percent, -limit, f"{words}."
