"""Jumps with different loads are never put together: one load is analysed at a time."""

from __future__ import annotations

from collections.abc import Iterable

import pandas as pd

from cmjlab.checks import number
from cmjlab.errors import StatsError


def loads_of(table: pd.DataFrame) -> pd.Series:
    """Return the load of every row, kg; 0 where none is stated."""
    if "load_kg" not in table:
        return pd.Series(0.0, index=table.index)
    return table["load_kg"].astype("float64").fillna(0.0)


def at_one_load(table: pd.DataFrame, load_kg: float | None = None) -> pd.DataFrame:
    """Return the jumps with one load.

    Parameters
    ----------
    table : pandas.DataFrame
        One row per jump; ``load_kg`` where jumps have one.
    load_kg : float, optional
        Load wanted. When left out: the jumps without load, or the only load there is.

    Raises
    ------
    StatsError
        When there are several loads, none of them is 0, and none is asked for.
    """
    loads = loads_of(table)
    return table[loads == chosen_load(loads.unique(), load_kg)]


def chosen_load(loads: Iterable[float], load_kg: float | None = None) -> float:
    """Return the load to analyse of all there are; see :func:`at_one_load`."""
    found = sorted(loads)
    if load_kg is None:
        if len(found) > 1 and found[0] != 0.0:
            raise StatsError(
                f"the jumps have loads of {', '.join(f'{x:g}' for x in found)} kg, which are not put"
                " together; say which one with load_kg."
            )
        load_kg = found[0] if found else 0.0
    return number("load_kg", load_kg)
