"""The sessions table: summarised jumps with the measures and the roster joined."""

from __future__ import annotations

from collections.abc import Sequence

import pandas as pd

from cmjlab.study.folder.ids import natural_order
from cmjlab.study.folder.measure_names import measure_column


def measures_wide(measures: pd.DataFrame) -> pd.DataFrame:
    """Return measures with one row per athlete and session and one column per measure."""
    usable = measures.dropna(subset=["athlete", "session", "measure", "value"])
    if usable.empty:
        return pd.DataFrame({"athlete": pd.Series(dtype="str"), "session": pd.Series(dtype="str")})
    column = [measure_column(m, u) for m, u in zip(usable["measure"], usable["unit"], strict=True)]
    long = usable.assign(column=column).drop_duplicates(["athlete", "session", "column"])
    wide = long.pivot(index=["athlete", "session"], columns="column", values="value")
    return wide[list(dict.fromkeys(column))].rename_axis(columns=None).reset_index()


def _add_measures(sessions_table: pd.DataFrame, measures: pd.DataFrame) -> pd.DataFrame:
    """Join measures to a sessions table, and relative strength where it can be had.

    ``relative_strength`` = one-repetition maximum / body mass on the plate in the same
    session. The measure squat_1rm is used; without it the only measure named …_1rm in kg.
    """
    wide = measures_wide(measures)
    names = [c for c in wide.columns if c not in ("athlete", "session")]
    wide = wide.rename(columns={c: f"{c}_measured" for c in names if c in sessions_table})
    kind = sessions_table["session"].dtype
    out = sessions_table.assign(session=sessions_table["session"].astype("str")).merge(
        wide, on=["athlete", "session"], how="outer", validate="1:1", sort=False
    )
    out["session"] = out["session"].astype(kind)
    maxima = [c for c in wide.columns if c.endswith("_1rm_kg")]
    if "squat_1rm_kg" in maxima:
        maxima = ["squat_1rm_kg"]
    if len(maxima) == 1 and "body_mass_kg" in out:
        out["relative_strength"] = out[maxima[0]] / out["body_mass_kg"]
    return out


def sessions_with_measures(
    summary: pd.DataFrame,
    measures: pd.DataFrame,
    sessions: pd.DataFrame,
    athletes: pd.DataFrame,
    groups: Sequence[str],
) -> pd.DataFrame:
    """Return a study's sessions table: measures, group and role for every row, in order.

    Parameters
    ----------
    summary : pandas.DataFrame
        One row per athlete and session from :func:`cmjlab.summarise_sessions`.
    measures, sessions, athletes : pandas.DataFrame
        Tables of the study folder.
    groups : sequence of str
        Every group of the study, in order.
    """
    out = _add_measures(summary, measures)
    roster = athletes.drop_duplicates("athlete").set_index("athlete")
    out["group"] = pd.Categorical(out["athlete"].map(roster["group"]), list(groups), ordered=True)
    out["role"] = (
        out["session"]
        .astype("str")
        .map(dict(zip(sessions["session"], sessions["role"], strict=True)))
    ).astype("str")
    for column in ("n_jumps", "n_excluded"):
        out[column] = out[column].fillna(0)
    out["n_expected"] = out["n_expected"].ffill().bfill()
    rank = {a: i for i, a in enumerate(roster.index)}
    keys = [
        (code if code >= 0 else 999, rank.get(a, 10**6), natural_order(a))
        for code, a in zip(out["session"].cat.codes, out["athlete"], strict=True)
    ]
    order = sorted(range(len(out)), key=keys.__getitem__)
    head = ["athlete", "group", "session", "role", "date", "n_jumps", "n_expected", "n_excluded"]
    for name in head:
        if name not in out:
            out[name] = None
    return out.iloc[order][[*head, *[c for c in out.columns if c not in head]]].reset_index(
        drop=True
    )
