"""Numbers of cmjlab beside those of another program, with what is allowed to differ."""

from __future__ import annotations

import math
from collections.abc import Iterable

import pandas as pd

from cmjlab.errors import ArgumentError
from cmjlab.report.notebooks.prose import Prose, prose
from cmjlab.words.catalog import read_words

#: One number found twice: its name, ours, theirs.
Pair = tuple[str, float, float]


def side_by_side(*pairs: Pair, within: float = 1e-6) -> pd.DataFrame:
    """Return numbers found by two programs side by side, and whether they agree.

    Parameters
    ----------
    *pairs : tuple of str, float, float
        What it is, the number by cmjlab, the number found elsewhere.
    within : float
        Largest difference that counts as agreement, as a share of the number.

    Returns
    -------
    pandas.DataFrame
        Columns ``what``, ``cmjlab``, ``elsewhere``, ``difference`` (a share of the number) and
        ``agrees``. Two numbers that both cannot be had agree.

    Raises
    ------
    ArgumentError
        No pairs, or one that is none.

    Examples
    --------
    >>> import cmjlab as cj
    >>> table = cj.notebook.side_by_side(("mean", 2.0, 2.0000001), ("sd", 1.0, 1.1))
    >>> table["agrees"].tolist()
    [True, False]
    """
    if not pairs:
        raise ArgumentError("pairs: none. Give (what, ours, theirs), for instance ('mean', 1, 1).")
    return pd.DataFrame([_row(pair, within) for pair in pairs])


def _row(pair: Pair, within: float) -> dict[str, object]:
    try:
        what, ours, theirs = pair
        ours, theirs = float(ours), float(theirs)
    except (TypeError, ValueError):
        raise ArgumentError(
            f"pairs: found {pair!r}; give (what, ours, theirs) with two numbers."
        ) from None
    both_missing = math.isnan(ours) and math.isnan(theirs)
    size = max(abs(ours), abs(theirs))
    gap = 0.0 if both_missing or size == 0 else abs(ours - theirs) / size
    return {
        "what": str(what),
        "cmjlab": ours,
        "elsewhere": theirs,
        "difference": gap,
        "agrees": bool(gap <= within),
    }


def must_agree(*tables: pd.DataFrame) -> Prose:
    """Return in words that all rows of :func:`side_by_side` agree.

    Parameters
    ----------
    *tables : pandas.DataFrame

    Raises
    ------
    AssertionError
        A row does not agree: it is named.

    Examples
    --------
    >>> import cmjlab as cj
    >>> cj.notebook.must_agree(cj.notebook.side_by_side(("mean", 2.0, 2.0)))
    All numbers agree: 1.
    """
    rows = pd.concat(tables)
    apart = _named(rows.loc[~rows["agrees"], "what"])
    if apart:
        raise AssertionError(read_words().say("elsewhere.apart", names=apart))
    return prose(read_words().say("elsewhere.agree", n=len(rows)))


def _named(names: Iterable[str]) -> list[str]:
    return list(dict.fromkeys(names))
