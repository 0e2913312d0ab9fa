"""What reliability says: verdict by purpose, notes on everything that a reader must know."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

import numpy as np
import pandas as pd

from cmjlab.results import Note, Reason, Sentence
from cmjlab.stats.common.mean_squares import Array, MeanSquares
from cmjlab.stats.reliability.copied import copied_notes
from cmjlab.stats.reliability.data import Cube
from cmjlab.stats.reliability.missing import IntraBlock
from cmjlab.stats.reliability.reasons import by_reason
from cmjlab.stats.reliability.robust import Shares

#: Below this (after Bonferroni over athletes) one athlete's noise is called out.
ODD_ONE = 0.01

#: Robust over plain interval (log width) from which uneven noise is noted. With normal noise it is
#: passed in about 5 % of studies of 8 athletes and 1 % of 20 (simulated).
UNEVEN = 1.5

#: What a change is to be seen in, and the smallest detectable change of it.
PURPOSES = {
    "one_athlete": "smallest_detectable_change",
    "squad_mean": "smallest_detectable_change_mean",
}

_VERDICT_FROM = ["metric", "group", "estimate", "ci_low", "ci_high", "n"]
#: Statistics from which verdicts, sentences and the bands of ICCs are made.
READ = (*PURPOSES.values(), "session_change", "sd_between_jumps", "icc_a1", "icc_c1")


def verdict_points(table: pd.DataFrame, matters: Mapping[str, float]) -> pd.DataFrame:
    """Return, per metric, stratum and purpose, the smallest detectable change and the answer.

    The answer is "yes" when the whole interval of the smallest detectable change lies at or
    below the change that matters, "no" when it lies above it, else "cannot_tell"; or
    "not_declared" (no change that matters), or "not_estimable".
    """
    parts = []
    for purpose, key in PURPOSES.items():
        part = table.loc[table["statistic"] == key, _VERDICT_FROM]
        wanted = [matters.get(str(m), np.nan) for m in part["metric"]]
        ends = zip(part["ci_low"].tolist(), part["ci_high"].tolist(), wanted, strict=True)
        part = part.rename(columns={"estimate": "smallest_detectable"}).assign(
            purpose=purpose,
            change_that_matters=np.array(wanted, dtype=np.float64),
            answer=[_answer(*each) for each in ends],
        )
        parts.append(part)
    columns = ["metric", "group", "purpose", "smallest_detectable", "ci_low", "ci_high",
               "change_that_matters", "answer", "n"]  # fmt: skip
    return pd.concat(parts, ignore_index=True)[columns]


def _answer(low: float, high: float, wanted: float) -> str:
    if not np.isfinite(low):
        return "not_estimable"
    if not np.isfinite(wanted):
        return "not_declared"
    if high <= wanted:
        return "yes"
    return "no" if low > wanted else "cannot_tell"


def verdict_sentences(verdict: pd.DataFrame) -> list[Sentence]:
    """Return one sentence per metric and stratum, from the verdict table."""
    found: dict[tuple[str, str], dict[str, dict[str, Any]]] = {}
    for row in verdict.to_dict("records"):
        group = row["group"] if isinstance(row["group"], str) else ""
        found.setdefault((str(row["metric"]), group), {})[row["purpose"]] = row
    out = []
    for (metric, group), rows in found.items():
        one, squad = rows["one_athlete"], rows["squad_mean"]
        if one["answer"] == "not_estimable":
            continue
        values = {
            "one": one["smallest_detectable"],
            "squad": squad["smallest_detectable"],
            "detectable": _detectable(metric, one, squad),
        }
        out.append(Sentence("reliability.smallest_detectable", metric, group, values))
    return out


def _detectable(metric: str, one: Mapping[str, Any], squad: Mapping[str, Any]) -> Sentence:
    """Return whether the change that matters is detectable, for one athlete and for the mean."""
    if one["answer"] == "not_declared":
        return Sentence("reliability.detectable_not_declared", metric)
    values = {
        "matters": one["change_that_matters"],
        "athletes": int(one["n"]),
        "one_low": one["ci_low"],
        "one_high": one["ci_high"],
        "squad_low": squad["ci_low"],
        "squad_high": squad["ci_high"],
    }
    key = f"reliability.detectable_one_{one['answer']}_squad_{squad['answer']}"
    return Sentence(key, metric, values=values)


def change_sentences(table: pd.DataFrame) -> list[Sentence]:
    """Return a sentence for every change between sessions whose interval leaves out zero."""
    rows = table[(table["statistic"] == "session_change") & np.isfinite(table["ci_low"])]
    out = []
    for r in rows[(rows["ci_low"] > 0) | (rows["ci_high"] < 0)].to_dict("records"):
        values = {
            "first": r["first"],
            "second": r["second"],
            "change": r["estimate"],
            "low": r["ci_low"],
            "high": r["ci_high"],
            "level": r["level"],
        }
        group = r["group"] if isinstance(r["group"], str) else ""
        out.append(Sentence("reliability.sessions_differ", str(r["metric"]), group, values))
    return out


def jump_sentences(table: pd.DataFrame, data: Cube) -> list[Sentence]:
    """Return sentences on the noise within a session, where single jumps were given."""
    rows = table[(table["statistic"] == "sd_between_jumps") & np.isfinite(table["estimate"])]
    key = "reliability.jump_noise_one_session" if data.k < 2 else "reliability.jump_noise"
    found = zip(rows["metric"], rows["estimate"].tolist(), strict=True)
    return [Sentence(key, str(metric), values={"sd": sd}) for metric, sd in found]


def all_sentences(verdict: pd.DataFrame, table: pd.DataFrame, data: Cube) -> tuple[Sentence, ...]:
    """Return verdict, session changes and noise within a session."""
    return (
        *verdict_sentences(verdict),
        *change_sentences(table),
        *jump_sentences(table, data),
    )


def data_notes(
    data: Cube, block: IntraBlock, ms: MeanSquares, void: Sequence[Reason | None]
) -> list[Note]:
    """Return notes on identical, constant and incomplete data, and on metrics not separable."""
    notes = copied_notes(data, void)
    apart = [
        data.metrics[i] for i in range(len(void)) if void[i] is None and ms.msr[i] <= ms.mse[i]
    ]
    if apart:
        notes.append(_note("not_separable", apart, stratum=""))
    if data.k == 2:
        there = np.isfinite(data.values)
        single = (there.sum(axis=2) == 1).any(axis=0)
        if single.any():
            who = [a for a, s in zip(data.athletes, single, strict=True) if s]
            notes.append(Note("one_of_two", {"athletes": who}))
    for reason, names in by_reason(data.metrics, void):
        notes.append(_note("not_estimable", names, why=reason, stratum=""))
    small = block.n[(block.n >= 2) & (block.n < 6)]
    if small.size:
        notes.append(Note("few_athletes", {"athletes": int(small.min()), "stratum": ""}))
    return notes


def _note(code: str, metrics: list[str], **values: Any) -> Note:
    """Return a note on one metric or on several."""
    one = {"metric": metrics[0]} if len(metrics) == 1 else {}
    return Note(code, {"metrics": metrics, **one, **values})


def odd_notes(data: Cube, block: IntraBlock, part: Shares) -> list[Note]:
    """Return notes on athletes whose noise stands out."""
    notes = []
    odd = part.stands_out(ODD_ONE)
    for i, metric in enumerate(data.metrics):
        for a in np.flatnonzero(odd[i]):
            values = {
                "metric": metric,
                "athlete": data.athletes[a],
                "error": float(np.sqrt(block.mse[i])),
                "error_without": float(part.without[i, a]),
            }
            notes.append(Note("one_athlete_noise", values))
    return notes


def uneven_notes(data: Cube, block: IntraBlock, robust: Array, plain: Array) -> list[Note]:
    """Return a note on noise that is not normal.

    Parameters
    ----------
    robust, plain : arrays, shape (n_metrics,)
        Width of the two intervals of the typical error on the log scale.
    """
    wide = np.isfinite(robust) & (robust > UNEVEN * plain) & (block.n >= 8)
    uneven = [m for m, w in zip(data.metrics, wide, strict=True) if w]
    return [_note("uneven_noise", uneven)] if uneven else []


def percent_notes(
    data: Cube, why: Sequence[Reason | None], sizes: Sequence[Reason | None]
) -> list[Note]:
    """Return one note per reason for which percent is left out, and one on values below zero.

    ``why`` holds the reasons against percent, ``sizes`` those against a percentage of the size.
    """
    notes = [
        _note("no_percent", names, why=reason) for reason, names in by_reason(data.metrics, sizes)
    ]
    below = [
        m for m, w, s in zip(data.metrics, why, sizes, strict=True) if w is not None and s is None
    ]
    return [*notes, _note("percent_of_size", below)] if below else notes


#: Notes of a stratum that say something the notes on all athletes do not.
_OF_STRATUM = frozenset(
    {"not_estimable", "not_separable", "few_athletes", "identical_sessions", "shifted_sessions"}
)


def stratum_notes(name: str, inner: Sequence[Note], outer: Sequence[Note]) -> list[Note]:
    """Return the notes of one stratum, with its name, that do not already stand for everybody."""
    stratum = Sentence("reliability.stratum", group=name)
    return [
        Note(n.code, {**n.values, "stratum": stratum})
        for n in inner
        if n.code in _OF_STRATUM and n not in outer
    ]
