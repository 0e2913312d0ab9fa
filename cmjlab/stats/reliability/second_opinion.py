"""ICCs a second time, by pingouin: the only place that uses it.

pingouin computes intraclass correlations of complete data on its own; that two programs agree
is worth showing to a reader. Beyond that ours go on where it stops: it rounds intervals to two
decimals unless an option is cleared, leaves out athletes with a gap, and its F and p test
differences between athletes, not between sessions.
"""

from __future__ import annotations

import warnings
from collections.abc import Iterator
from contextlib import contextmanager
from typing import Any

import numpy as np
import pandas as pd

from cmjlab.errors import StatsError
from cmjlab.extras import optional
from cmjlab.stats.reliability.published import published_icc

#: pingouin's row label -> our statistic.
_FORMS = {
    "ICC(1,1)": "icc_1",
    "ICC(A,1)": "icc_a1",
    "ICC(C,1)": "icc_c1",
    "ICC(1,k)": "icc_1k",
    "ICC(A,k)": "icc_ak",
    "ICC(C,k)": "icc_ck",
}
_NUMBERS = ["estimate", "ci_low", "ci_high"]


def icc_second_opinion(
    table: pd.DataFrame, metric: str, *, use: list[str] | None = None
) -> pd.DataFrame:
    """Return the six ICCs with their published 95 % intervals by cmjlab and by pingouin.

    Parameters
    ----------
    table : pandas.DataFrame
        One row per athlete and session; columns ``athlete``, ``session`` and the metric.
    metric : str
    use : list of str, optional
        Sessions; by default those with role baseline, else all.

    Returns
    -------
    pandas.DataFrame
        statistic; estimate, ci_low, ci_high of both (``…_pingouin``); n, the athletes with a
        value in every session; ``largest_gap``, the largest difference of the three numbers.

    Raises
    ------
    MissingExtraError
        The extra ``lab`` (pingouin) is not installed.
    StatsError
        The table cannot be used, or pingouin refuses it.

    Notes
    -----
    Both leave out athletes with a gap here. :func:`cmjlab.reliability` gives an interval from
    all values beside it.
    """
    ours = published_icc(table, [metric], use=use)
    used = table[table["session"].astype(str).isin(ours.settings["use"])]
    theirs = icc_by_pingouin(used, metric)
    both = ours.table[["statistic", *_NUMBERS, "n"]].merge(
        theirs[["statistic", *_NUMBERS]], on="statistic", suffixes=("", "_pingouin")
    )
    gaps = [(both[c] - both[f"{c}_pingouin"]).abs() for c in _NUMBERS]
    return both.assign(largest_gap=pd.concat(gaps, axis=1).max(axis=1))


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
    MissingExtraError
        The extra ``lab`` (pingouin) is not installed.
    StatsError
        pingouin refuses the data, with its own words.
    """
    pingouin = optional("pingouin", extra="lab", purpose="a second opinion on ICCs needs")
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
