"""The only place that imports pingouin: cross-checks of our own numbers against it.

pingouin is right on intraclass correlations of complete data, and wrong or silent elsewhere
(intervals rounded to two decimals unless an option is cleared; athletes with a gap dropped; its
F and p test differences between athletes, not between sessions). It is used as a second opinion.
"""

from __future__ import annotations

import warnings
from collections.abc import Iterator
from contextlib import contextmanager
from typing import Any

import numpy as np
import pandas as pd

from cmjlab.errors import StatsError

#: pingouin's row label -> our statistic.
_FORMS = {
    "ICC(1,1)": "icc_1",
    "ICC(A,1)": "icc_a1",
    "ICC(C,1)": "icc_c1",
    "ICC(1,k)": "icc_1k",
    "ICC(A,k)": "icc_ak",
    "ICC(C,k)": "icc_ck",
}


@contextmanager
def _unrounded(pingouin: Any) -> Iterator[None]:
    """Clear pingouin's rounding of intervals, and put the user's own setting back."""
    key = "round.column.CI95"
    before = pingouin.options.get(key)
    pingouin.options[key] = None
    try:
        yield
    finally:
        pingouin.options[key] = before


def icc_by_pingouin(table: pd.DataFrame, metric: str) -> pd.DataFrame:
    """Return pingouin's six ICCs of one metric under our names.

    Parameters
    ----------
    table : pandas.DataFrame
        Columns ``athlete``, ``session`` and the metric; athletes with a gap are left out, as
        pingouin does it.
    metric : str

    Returns
    -------
    pandas.DataFrame
        statistic, estimate, ci_low, ci_high (95 %), f, df1, df2, p.

    Raises
    ------
    StatsError
        pingouin refuses the data, with its own words.
    """
    import pingouin

    part = table[["athlete", "session", metric]].astype({"athlete": str, "session": str})
    with _unrounded(pingouin), warnings.catch_warnings():
        # pingouin 0.7 uses calls that pandas 3 is about to drop; that is not the user's business.
        warnings.simplefilter("ignore", DeprecationWarning)
        try:
            found = pingouin.intraclass_corr(
                part, targets="athlete", raters="session", ratings=metric, nan_policy="omit"
            )
        except (AssertionError, ValueError) as error:
            raise StatsError(f"{metric}: pingouin refuses these data: {error}") from error
    limits = np.array([np.asarray(ci, float) for ci in found["CI95"]])
    return pd.DataFrame(
        {
            "statistic": found["Type"].map(_FORMS).to_numpy(),
            "estimate": found["ICC"].to_numpy(float),
            "ci_low": limits[:, 0],
            "ci_high": limits[:, 1],
            "f": found["F"].to_numpy(float),
            "df1": found["df1"].to_numpy(float),
            "df2": found["df2"].to_numpy(float),
            "p": found["pval"].to_numpy(float),
        }
    )
