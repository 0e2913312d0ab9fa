"""Checks of a jump against the other jumps of the same athlete and session.

They need the whole study, so they are computed each time and never kept: kept rows depend on
their own file alone. They look at jumps that the rules of their own file accept, a person's
verdicts applied, and their outcome then counts like any other rule's.
"""

from __future__ import annotations

import numpy as np
import pandas as pd

from cmjlab.study.store import CHECK_COLUMNS, frame_of

#: Limits of methods section 9 of the trial-quality rules: our own choice, no paper prescribes them.
WEIGHT_WARN_PERCENT = 1.0
WEIGHT_FAIL_PERCENT = 3.0
OWN_BEST_WARN_PERCENT = 10.0
WEIGHT_CODE = "weight_vs_session"
OWN_BEST_CODE = "below_own_best"
_COLUMNS = {name: kind for name, kind in CHECK_COLUMNS.items() if name != "key"}


def context_checks(jumps: pd.DataFrame, reference: pd.Series) -> pd.DataFrame:
    """Return the checks of every jump against its athlete's session.

    Parameters
    ----------
    jumps : pandas.DataFrame
        Columns file, jump, athlete, session, body_weight_n, jump_height_m.
    reference : pandas.Series of bool
        Jumps that may serve for comparison: accepted by their own rules or by a person.

    Returns
    -------
    pandas.DataFrame
        Two rows per jump, columns as in the table of checks.
    """
    if jumps.empty:
        return frame_of([], _COLUMNS)
    who = [jumps["athlete"].astype(str), jumps["session"].astype(str)]
    weight, height = jumps["body_weight_n"], jumps["jump_height_m"]
    usable = weight.where(reference & weight.notna())
    median = usable.groupby(who).transform("median")
    count = usable.groupby(who).transform("count")
    best = height.where(reference).groupby(who).transform("max")
    rows = _weight(jumps, 100.0 * (weight / median - 1.0), count)
    rows += _own_best(jumps, 100.0 * (height / best - 1.0))
    return frame_of(rows, _COLUMNS)


def _row(
    jump: tuple[str, int], code: str, status: str, numbers: tuple[float, float], reason: str
) -> dict[str, object]:
    return {
        "file": jump[0],
        "jump": jump[1],
        "code": code,
        "status": status,
        "scope": "jump",
        "value": numbers[0],
        "limit": numbers[1],
        "unit": "%",
        "reason": reason,
    }


def _weight(jumps: pd.DataFrame, percent: pd.Series, count: pd.Series) -> list[dict[str, object]]:
    rows = []
    for file, jump, value, n in zip(
        jumps["file"], jumps["jump"], percent.to_numpy(float), count, strict=True
    ):
        size, words = abs(value), f"body weight is {abs(value):.1f} % "
        words += f"{'above' if value > 0 else 'below'} the median of the athlete's session"
        limit = WEIGHT_WARN_PERCENT
        if not np.isfinite(value) or n < 2:
            status, value = "not_assessed", np.nan
            words = "fewer than two weighed jumps of the athlete in this session"
        elif size > WEIGHT_FAIL_PERCENT and n > 2:
            status, limit = "fail", WEIGHT_FAIL_PERCENT
            words += ": weighed while moving, or another person"
        elif size > WEIGHT_WARN_PERCENT:
            status = "warn"
            words += ": look at the weighing" if n > 2 else "; with two jumps nobody knows which"
        else:
            status = "pass"
        rows.append(_row((file, jump), WEIGHT_CODE, status, (value, limit), words))
    return rows


def _own_best(jumps: pd.DataFrame, percent: pd.Series) -> list[dict[str, object]]:
    rows = []
    for file, jump, value in zip(
        jumps["file"], jumps["jump"], percent.to_numpy(float), strict=True
    ):
        limit = -OWN_BEST_WARN_PERCENT
        if not np.isfinite(value):
            status, words = "not_assessed", "no height, or no accepted jump to compare with"
        elif value < limit:
            status = "warn"
            words = f"{-value:.0f} % below the athlete's best of the session: full effort?"
        else:
            status, words = "pass", "within reach of the athlete's best of the session"
        rows.append(_row((file, jump), OWN_BEST_CODE, status, (value, limit), words))
    return rows
