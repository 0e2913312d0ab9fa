"""What a squad may be split on: force–distance balance, and where an athlete stands.

Work and energy give jump height without remainder as a product,

    height = (mean force over the push distance / body weight - 1) · push distance,

so equal heights can come from force (a short, hard push) or from distance (a deep, long one).
The two factors are the *force share* and the *push distance*. The balance is the difference of
their logarithms, each in SDs of the squad: positive is force-driven, negative distance-driven.
Both factors are tied to each other by arithmetic, so the balance is worth something only if it
repeats from test to test (:func:`cmjlab.stats.subgroups.evidence.split_repeatability`).
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence

import numpy as np
import pandas as pd

from cmjlab import checks
from cmjlab.checks import suggestion
from cmjlab.errors import StatsError
from cmjlab.results import Note, Sentence
from cmjlab.stats.common.loads import loads_of
from cmjlab.stats.common.tables import check_table, sessions_to_use
from cmjlab.units import STANDARD_GRAVITY

FORCE_SHARE = "force_share"
PUSH = "push_distance_m"
PUSH_PER_STATURE = "push_distance_per_stature"
BALANCE = "force_distance_balance"
STRENGTH = "relative_strength"
#: Stands for the deciding metrics where rules of several metrics place athletes.
PLACEMENT_RULES = "placement_rules"
#: Measures that few know by name: their explanations stand below ``explained.`` in the words.
EXPLAINED = (PUSH, PUSH_PER_STATURE, FORCE_SHARE, BALANCE)
#: Name of the stratum of everybody, when athletes are not told apart.
ALL = "all"


def explanations(metrics: Iterable[str]) -> tuple[Note, ...]:
    """Return a note on each measure that few know by name."""
    wanted = set(metrics)
    return tuple(
        Note("measure_explained", {"metric": m, "meaning": Sentence(f"explained.{m}", m)})
        for m in EXPLAINED
        if m in wanted
    )


def add_force_distance(
    table: pd.DataFrame,
    *,
    session: str | None = None,
    within: str | None = "sex",
    per_stature: bool = False,
) -> pd.DataFrame:
    """Return the table with force share and force–distance balance beside the metrics.

    Parameters
    ----------
    table : pandas.DataFrame
        Sessions table with ``mean_force_over_push_n``, ``body_weight_n`` and
        ``push_distance_m``.
    session : str, optional
        Session whose mean and SD (of the logarithms) make the scale; default the first
        baseline. One scale for all sessions: a later change of the squad stays visible.
    within : str or None
        Roster column within which the scale is made; ignored when the table does not have it.
    per_stature : bool
        Divide the push distance by ``stature_m``: in metres it also sorts by stature.

    Returns
    -------
    pandas.DataFrame
        A copy with ``force_share`` (no unit), ``force_distance_balance`` (SDs) and, when
        asked, ``push_distance_per_stature``. nan where a part is missing.

    Raises
    ------
    StatsError
        When a column is missing, or fewer than four athletes give the scale.

    Examples
    --------
    >>> import cmjlab as cj
    >>> study = cj.Study.open(cj.demo_study())
    >>> table = cj.add_force_distance(study.sessions_table(), session="base1")
    >>> sorted(set(table) - set(study.sessions_table()))
    ['force_distance_balance', 'force_share']
    """
    out = check_table(table)
    needed = ["mean_force_over_push_n", "body_weight_n", PUSH] + ["stature_m"] * per_stature
    for name in needed:
        if name not in out:
            raise StatsError(
                f"force–distance balance: no column {name!r}.{suggestion(name, list(map(str, out.columns)))}"
            )
    first = session or sessions_to_use(out)[0]
    weight = out["body_weight_n"] + loads_of(out) * STANDARD_GRAVITY
    out[FORCE_SHARE] = out["mean_force_over_push_n"] / weight - 1.0
    distance = out[PUSH]
    if per_stature:
        distance = out[PUSH_PER_STATURE] = out[PUSH] / out["stature_m"]
    logs = pd.DataFrame({"force": out[FORCE_SHARE], "distance": distance}).astype(float)
    logs = np.log(logs.where(logs > 0))
    out[BALANCE] = np.nan
    for _, rows in strata(out, within).items():
        scale = logs[rows & (out["session"].astype(str) == first)].dropna()
        if len(scale) < 4:
            raise StatsError(
                f"force–distance balance: {len(scale)} athlete(s) with both factors in {first!r}; at"
                " least 4 are needed for a scale. Give another session, or within=None."
            )
        z = (logs - scale.mean()) / scale.std(ddof=1)
        out.loc[rows, BALANCE] = (z["force"] - z["distance"])[rows]
    return out


def strata(table: pd.DataFrame, within: str | Sequence[str] | None) -> dict[str, pd.Series]:
    """Return a mask of rows per stratum; one stratum "all" when there is nothing to tell apart.

    Parameters
    ----------
    table : pandas.DataFrame
    within : str, sequence of str or None
        Roster columns; "sex" is ignored when the table lacks it, another column must exist.

    Raises
    ------
    StatsError
        When a column other than sex is missing, or an athlete's cell is empty or changes.
    """
    columns = checks.names("within", within or ())
    columns = [c for c in columns if c != "sex" or (c in table and table[c].notna().any())]
    if not columns:
        return {ALL: pd.Series(True, index=table.index)}
    for c in columns:
        if c not in table:
            raise StatsError(
                f"within: there is no column {c!r} in the table; add it to the roster."
            )
        empty = sorted(set(table.loc[table[c].isna(), "athlete"].astype(str)))
        if empty:
            raise StatsError(f"within: {c} is empty for {', '.join(empty[:5])}; fill it in.")
    names = table[columns[0]].astype(str)
    for c in columns[1:]:
        names = names + ", " + table[c].astype(str)
    return {str(name): names == name for name in sorted(names.unique())}


def add_age_band(
    table: pd.DataFrame, *, year: int, edges: Sequence[int] = (16, 18, 21)
) -> pd.DataFrame:
    """Return the table with a column ``age_band`` for ``within``.

    Parameters
    ----------
    table : pandas.DataFrame
        With ``birth_year``.
    year : int
        Calendar year of the test; age is year - birth_year, as in youth competition.
    edges : sequence of int
        Ages at which a new band begins.

    Raises
    ------
    StatsError
        No birth years.
    """
    if "birth_year" not in table:
        raise StatsError("age band: no column 'birth_year'; add it to athletes.csv.")
    limits = sorted(edges)
    names = [
        f"under {limits[0]}",
        *(f"{a} to {b - 1}" for a, b in zip(limits, limits[1:], strict=False)),
    ]
    names.append(f"{limits[-1]} and over")
    age = year - pd.to_numeric(table["birth_year"], errors="coerce")
    codes = np.searchsorted(limits, age.fillna(-1), side="right")
    band = pd.Series([names[c] for c in codes], index=table.index, dtype="str")
    return table.assign(age_band=band.where(age.notna(), None))
