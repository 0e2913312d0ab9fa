"""ICCs by two programs side by side, as a notebook shows them."""

from __future__ import annotations

import pandas as pd

from cmjlab.errors import StatsError
from cmjlab.stats.reliability.second_opinion import icc_second_opinion
from cmjlab.words.catalog import read_words

#: Decimals at which a reader compares the two.
_DECIMALS = 4


def second_opinion(table: pd.DataFrame, metric: str, sessions: list[str]) -> pd.DataFrame:
    """Return every form of the ICC with its 95 % interval by cmjlab and by pingouin.

    Parameters
    ----------
    table : pandas.DataFrame
        Sessions table.
    metric : str
    sessions : list of str
        The sessions to compare.

    Returns
    -------
    pandas.DataFrame
        Texts: form, cmjlab, pingouin, athletes, and the largest difference of the three numbers;
        the one reason when there is no second opinion to be had.
    """
    words = read_words()
    said = words.part("second_opinion")
    try:
        both = icc_second_opinion(table, metric, use=sessions)
    except StatsError as error:
        return pd.DataFrame([{said["none"]: str(error)}])
    step = 10.0**-_DECIMALS
    rows = [
        {
            said["form"]: words.statistic(row["statistic"]),
            "cmjlab": _with_interval(row, ""),
            "pingouin": _with_interval(row, "_pingouin"),
            said["athletes"]: str(row["n"]),
            said["largest"]: words.say("second_opinion.below", step=f"{step:g}")
            if row["largest_gap"] < step
            else f"{row['largest_gap']:.{_DECIMALS}f}",
        }
        for row in both.to_dict("records")
    ]
    return pd.DataFrame(rows)


def _with_interval(row: dict[str, float], by: str) -> str:
    estimate, low, high = (
        f"{row[f'{name}{by}']:.{_DECIMALS}f}" for name in ("estimate", "ci_low", "ci_high")
    )
    return f"{estimate} ({low} to {high})"
