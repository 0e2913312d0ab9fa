"""Reliability in plain words: verdict by purpose, notes on everything a reader must know."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

import numpy as np
import pandas as pd

from cmjlab.results import Note, Result
from cmjlab.stats.common.mean_squares import Array, MeanSquares
from cmjlab.stats.common.tables import label_of, unit_of
from cmjlab.stats.reliability.data import Cube
from cmjlab.stats.reliability.missing import IntraBlock
from cmjlab.stats.reliability.robust import Shares
from cmjlab.units import show

#: Below this (after Bonferroni over athletes) one athlete's noise is called out.
ODD_ONE = 0.01

#: Robust over plain interval (log width) from which uneven noise is noted. With normal noise it is
#: passed in about 5 % of studies of 8 athletes and 1 % of 20 (simulated).
UNEVEN = 1.5


def amount(metric: str, value: float, *, extra: int = 0) -> str:
    """Return a value with its unit as a person reads it; three digits for a user's own column."""
    if not np.isfinite(value):
        return "–"
    unit = unit_of(metric)
    text = show(value, unit, extra_decimals=extra) if unit else f"{value:.3g}"
    # Two more digits where the usual ones would show a true number as zero.
    return (
        show(value, unit, extra_decimals=extra + 2)
        if unit and float(text.split()[0]) == 0
        else text
    )


def verdict_points(table: pd.DataFrame, matters: Mapping[str, float]) -> pd.DataFrame:
    """Return, per metric, stratum and purpose, the smallest change to trust and the answer.

    The answer is "yes" when the whole interval of the smallest detectable change lies at or
    below the change that matters, "no" when it lies above it, else "cannot tell".
    """
    rows: list[dict[str, Any]] = []
    purposes = (
        ("one athlete", "smallest_detectable_change"),
        ("squad mean", "smallest_detectable_change_mean"),
    )
    for purpose, key in purposes:
        part = table[table["statistic"] == key]
        for _, r in part.iterrows():
            wanted = matters.get(str(r["metric"]), np.nan)
            rows.append(
                {
                    "metric": r["metric"],
                    "group": r["group"],
                    "purpose": purpose,
                    "smallest_to_trust": r["estimate"],
                    "ci_low": r["ci_low"],
                    "ci_high": r["ci_high"],
                    "change_that_matters": wanted,
                    "answer": _answer(r["estimate"], r["ci_low"], r["ci_high"], wanted),
                    "n": r["n"],
                }
            )
    columns = ["metric", "group", "purpose", "smallest_to_trust", "ci_low", "ci_high",
               "change_that_matters", "answer", "n"]  # fmt: skip
    return pd.DataFrame(rows, columns=columns)


def _answer(estimate: float, low: float, high: float, wanted: float) -> str:
    if not np.isfinite(estimate):
        return "not estimable"
    if not np.isfinite(low):
        return "not estimable"
    if not np.isfinite(wanted):
        return "no change that matters declared"
    if high <= wanted:
        return "yes"
    return "no" if low > wanted else "cannot tell"


def verdict_sentences(verdict: pd.DataFrame) -> list[str]:
    """Return one sentence or two per metric and stratum, from the verdict table."""
    out = []
    for (metric, group), part in verdict.groupby(["metric", "group"], sort=False, dropna=False):
        name = label_of(str(metric))
        if isinstance(group, str):
            name += f", {group}"
        one = part[part["purpose"] == "one athlete"].iloc[0]
        squad = part[part["purpose"] == "squad mean"].iloc[0]
        if one["answer"] == "not estimable":
            continue
        text = (
            f"{name}: smallest change to trust: one athlete {amount(str(metric), one['smallest_to_trust'])},"
            f" this squad's mean {amount(str(metric), squad['smallest_to_trust'])}"
        )
        wanted = one["change_that_matters"]
        if not np.isfinite(wanted):
            out.append(f"{text}; no change that matters was declared.")
            continue
        text += f"; you want to see {amount(str(metric), wanted)}."
        text += (
            f" One athlete: {_words(str(metric), one)}. Squad's mean: {_words(str(metric), squad)}."
        )
        out.append(text)
    return out


def _words(metric: str, row: pd.Series) -> str:
    if row["answer"] == "cannot tell":
        span = f"{amount(metric, row['ci_low'])} to {amount(metric, row['ci_high'])}"
        return f"cannot tell from {int(row['n'])} athletes ({span})"
    return str(row["answer"])


def change_sentences(table: pd.DataFrame) -> list[str]:
    """Return a sentence for every change between sessions whose interval leaves out zero."""
    rows = table[(table["statistic"] == "session_change") & np.isfinite(table["ci_low"])]
    out = []
    for _, r in rows[(rows["ci_low"] > 0) | (rows["ci_high"] < 0)].iterrows():
        metric = str(r["metric"])
        where = f", {r['group']}" if isinstance(r["group"], str) else ""
        out.append(
            f"{label_of(metric)}{where}: the sessions differ, {r['contrast']}"
            f" {_signed(metric, r['estimate'])} ({_signed(metric, r['ci_low'])} to"
            f" {_signed(metric, r['ci_high'])}); the typical error sets this shift aside."
        )
    return out


def _signed(metric: str, value: float) -> str:
    return ("+" if value > 0 else "") + amount(metric, value)


def data_notes(data: Cube, block: IntraBlock, ms: MeanSquares, void: Sequence[str]) -> list[Note]:
    """Return notes on identical, constant and incomplete data, and on metrics not separable."""
    notes = list(_identical(data, void))
    apart = [data.metrics[i] for i in range(len(void)) if not void[i] and ms.msr[i] <= ms.mse[i]]
    if apart:
        notes.append(Note("not_separable", f"Athletes differ no more than the noise (MSR ≤ MSE) in"
                          f" {_list(apart)}: negative ICCs are kept, but nobody can be told apart."))  # fmt: skip
    if data.k == 2:
        there = np.isfinite(data.values)
        single = (there.sum(axis=2) == 1).any(axis=0)
        if single.any():
            who = _list([a for a, s in zip(data.athletes, single, strict=True) if s])
            notes.append(Note("one_of_two", f"With two sessions an athlete with one value adds nothing to"
                              f" the typical error and little to the ICC: {who}."))  # fmt: skip
    for reason in dict.fromkeys(v for v in void if v):
        names = [m for m, v in zip(data.metrics, void, strict=True) if v == reason]
        notes.append(Note("not_estimable", f"{_list(names)}: not estimable: {reason}."))
    small = block.n[(block.n >= 2) & (block.n < 6)]
    if small.size:
        notes.append(Note("few_athletes", f"Only {int(small.min())} athletes: the intervals are wide"
                          " because they must be."))  # fmt: skip
    return notes


def _identical(data: Cube, void: Sequence[str]) -> list[Note]:
    notes = []
    found: dict[str, list[str]] = {}
    for j in range(data.k):
        for i in range(j):
            a, b = data.values[:, :, i], data.values[:, :, j]
            both = np.isfinite(a) & np.isfinite(b)
            same = ((a == b) | ~both).all(axis=1) & (both.sum(axis=1) >= 2)
            names = [m for m, s, v in zip(data.metrics, same, void, strict=True) if s and not v]
            if names:
                found[f"{data.sessions[i]} and {data.sessions[j]}"] = names
    for pair, names in found.items():
        notes.append(Note("identical_sessions", f"SESSIONS {pair} ARE IDENTICAL in {_list(names)}:"
                          " a duplicated file? Nothing here says anything about noise."))  # fmt: skip
    return notes


def noise_notes(
    data: Cube, block: IntraBlock, part: Shares, robust: Array, plain: Array
) -> list[Note]:
    """Return notes on athletes whose noise stands out, and on noise that is not normal.

    Parameters
    ----------
    robust, plain : arrays, shape (n_metrics,)
        Width of the two intervals of the typical error on the log scale.
    """
    notes = []
    uneven = []
    for i, metric in enumerate(data.metrics):
        for a in np.flatnonzero(part.p[i] < ODD_ONE):
            te = float(np.sqrt(block.mse[i]))
            notes.append(Note("one_athlete_noise", f"{label_of(metric)}: {data.athletes[a]} moves far more"
                              f" between sessions than the others; typical error {amount(metric, te)} with,"
                              f" {amount(metric, float(part.without[i, a]))} without. Check that athlete's"
                              " files; it was not left out."))  # fmt: skip
        wide = np.isfinite(robust[i]) and robust[i] > UNEVEN * plain[i] and block.n[i] >= 8
        if wide:
            uneven.append(metric)
    if uneven:
        notes.append(Note("uneven_noise", f"{_list(uneven)}: noise has heavy tails or differs between"
                          " athletes; read the interval of typical_error_robust (Bonett 2006)."))  # fmt: skip
    return notes


def _list(names: Sequence[str], limit: int = 8) -> str:
    shown = ", ".join(map(str, names[:limit]))
    return shown + (f" and {len(names) - limit} more" if len(names) > limit else "")


def percent_note(data: Cube, why: Sequence[str]) -> list[Note]:
    """Return one note per reason for which percent is left out."""
    out = []
    for reason in dict.fromkeys(w for w in why if w):
        names = [m for m, w in zip(data.metrics, why, strict=True) if w == reason]
        out.append(Note("no_percent", f"{_list(names)}: no percent, CV or log limits; {reason}."))
    return out


def jump_sentences(table: pd.DataFrame, data: Cube) -> list[str]:
    """Return sentences on the noise within a session, where single jumps were given."""
    out = []
    rows = table[(table["statistic"] == "sd_between_jumps") & np.isfinite(table["estimate"])]
    for _, r in rows.iterrows():
        metric = str(r["metric"])
        text = f"{label_of(metric)}: from jump to jump within a session the SD is {amount(metric, r['estimate'])}"
        if data.k < 2:
            text += "; with one session nothing is known about days, and between days the noise is larger"
        out.append(text + ".")
    return out


#: Notes of a stratum that say something the notes on all athletes do not.
_OF_STRATUM = frozenset({"not_estimable", "not_separable", "few_athletes", "identical_sessions"})


def stratum_notes(name: str, inner: Sequence[Note], outer: Sequence[Note]) -> list[Note]:
    """Return the notes of one stratum, with its name, that do not already stand for everybody."""
    said = {n.text for n in outer}
    return [
        Note(n.code, f"{name}: {n.text}")
        for n in inner
        if n.code in _OF_STRATUM and n.text not in said
    ]


def all_sentences(result: Result, data: Cube) -> list[str]:
    """Return verdict, session changes and noise within a session in plain words."""
    return [
        *verdict_sentences(result.points["verdict"]),
        *change_sentences(result.table),
        *jump_sentences(result.table, data),
    ]
