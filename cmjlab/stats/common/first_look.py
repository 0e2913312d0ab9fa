"""What a person reads first, and what stands behind it.

The table of a result holds one row for each question. Variants of it (another standard error,
another model, another correction) are kept aside in ``points["details"]`` and come back, in their
places, with :meth:`cmjlab.Result.with_details`.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from cmjlab.later import Tables
from cmjlab.results import DETAILS, Result

#: What makes two rows answers to one question in one place.
_PLACE = [
    "metric",
    "statistic",
    "estimator",
    "group",
    "first",
    "second",
    "session",
    "since",
    "case",
]


def first_look(result: Result, behind: NDArray[np.bool_], *, leading_too: bool = False) -> Result:
    """Return the result with some rows kept aside.

    Parameters
    ----------
    result : Result
    behind : array of bool, shape (n_rows,)
        Rows that are not read first.
    leading_too : bool
        Whether rows go aside that lead in a question of their own; else they stay.
    """
    if not leading_too:
        behind = behind & ~result.table["leads"].fillna(False).to_numpy(dtype=bool)
    if not behind.any():
        return result
    points = Tables(result.points) | {DETAILS: result.table[behind]}
    return replace(result, table=result.table[~behind].reset_index(drop=True), points=points)


def variants(table: pd.DataFrame, kinds: Sequence[str]) -> NDArray[np.bool_]:
    """Return which rows are variants: of these kinds, and not the only number in their place.

    Parameters
    ----------
    table : pandas.DataFrame
        Statistics table.
    kinds : sequence of str
        Kinds of interval that do not come first.
    """
    variant = table["interval_kind"].isin(kinds)
    known = (~variant & table["estimate"].notna()).astype(int)
    beside = known.groupby([table[c].fillna("") for c in _PLACE]).transform("max") > 0
    return np.asarray(variant & (beside | table["estimate"].isna()), dtype=bool)
