"""From all specifications of a study to a Result: agreement, spread, shares, the joint test.

Two steps. What takes long (estimates, the joint test) becomes plain tables, :class:`Found`, which a
study can keep. Rows, sentences and shares are made from these tables whenever somebody asks.
"""

from __future__ import annotations

import json
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

import numpy as np
import pandas as pd

from cmjlab.results import Note, Reason, Result, Sentence
from cmjlab.stats.common.row_words import as_json
from cmjlab.stats.common.rows import Rows
from cmjlab.stats.specifications.estimates import Fitted, over_squad
from cmjlab.stats.specifications.joint import STATISTICS, joint_test
from cmjlab.stats.specifications.sentences import (
    choice_case,
    level_words,
    not_asked_sentence,
    survive_sentence,
)
from cmjlab.stats.specifications.shares import same_by_level, spread_beyond_noise, variance_shares
from cmjlab.stats.targets.wanted import Target, verdict
from cmjlab.tables import SPECIFICATIONS

#: What is left out for one reason: combinations of levels, why, and the groups it is about.
LeftOutFor = tuple[Sequence[Mapping[str, str]], Reason, Sequence[str]]
_OF_TARGET = (
    "subgroup",
    "metric",
    "wanted",
    "amount",
    "control",
    "spread",
    "spread_true",
    *STATISTICS,
)
_LEFT_OUT = ("levels", "groups", "reason_code", "word_values")
_NOT_ASKED = ("subgroup", "metric", "reason_code", "word_values")


@dataclass(frozen=True)
class Answered:
    """All specifications of one target.

    Attributes
    ----------
    target : Target
    level : float
        Level of each interval, as the study's own answer has it.
    control : str
        Comparison group, "" for change within.
    levels : list of mapping
        Choice -> level, one per specification; the study's own is the first.
    found : list of Fitted
    """

    target: Target
    level: float
    control: str
    levels: Sequence[Mapping[str, str]]
    found: Sequence[Fitted]


@dataclass(frozen=True)
class Deals:
    """How the joint test draws: deals and seed; no deals, no test."""

    deals: int = 999
    seed: int = 0


@dataclass(frozen=True)
class Found:
    """What was found, as plain tables.

    Attributes
    ----------
    specifications : pandas.DataFrame
        Columns of ``cmjlab.tables.SPECIFICATIONS``.
    targets : pandas.DataFrame
        One row per target: subgroup, metric, wanted, amount, control, spread, spread_true and the p of each
        statistic of the joint test (nan without one).
    left_out, not_asked : pandas.DataFrame
        Combinations and targets that are left out, with the key of the reason.
    settings : mapping
        What was asked, as plain data.
    """

    specifications: pd.DataFrame
    targets: pd.DataFrame
    left_out: pd.DataFrame
    not_asked: pd.DataFrame
    settings: Mapping[str, Any] = field(default_factory=dict)


# ---- from estimates to tables ----------------------------------------------------------------


def found_of(
    answered: Sequence[Answered], squad: Sequence[str], choices: Sequence[str], deals: Deals
) -> tuple[pd.DataFrame, pd.DataFrame]:
    """Return all specifications, and one row per target, as the tables of :class:`Found`.

    Parameters
    ----------
    answered : sequence of Answered
    squad : sequence of str
        Every athlete.
    choices : sequence of str
        Choices in order.
    deals : Deals
    """
    tables = [specification_table(one, choices) for one in answered]
    rows = [_of_target(one, t, squad, deals) for one, t in zip(answered, tables, strict=True)]
    every = pd.concat(tables, ignore_index=True) if tables else SPECIFICATIONS.empty()
    return every, pd.DataFrame(rows, columns=list(_OF_TARGET))


def specification_table(one: Answered, choices: Sequence[str]) -> pd.DataFrame:
    """Return one row per specification of a target, columns of ``cmjlab.tables.SPECIFICATIONS``."""
    from scipy import special

    columns = {c: [levels[c] for levels in one.levels] for c in choices}
    names = ("n", "estimate", "se", "df")
    numbers = {name: np.array([getattr(f, name) for f in one.found]) for name in names}
    half = numbers["se"] * special.stdtrit(numbers["df"], 0.5 + one.level / 2)
    low, high = numbers["estimate"] - half, numbers["estimate"] + half
    three = zip(numbers["estimate"].tolist(), low.tolist(), high.tolist(), strict=True)
    frame = pd.DataFrame(
        {
            "subgroup": one.target.subgroup, "metric": one.target.metric, **columns, **numbers,
            "low": low, "high": high, "level": one.level,
            "verdict": [verdict(one.target, *values)[0] for values in three],
        }
    )  # fmt: skip
    frame["counts"] = ~frame.duplicated(["n", "estimate", "se", "df"])
    frame["own"] = np.arange(len(frame)) == 0
    return SPECIFICATIONS.cast(frame[list(SPECIFICATIONS.names)])


def _of_target(
    one: Answered, table: pd.DataFrame, squad: Sequence[str], deals: Deals
) -> tuple[Any, ...]:
    """Return the row of a target: spread and joint test over the specifications that count."""
    counts = table["counts"].to_numpy(dtype=bool)
    used = over_squad([f for f, c in zip(one.found, counts, strict=True) if c], squad)
    scores = np.array([f.scores for f in used])
    spread = spread_beyond_noise(np.array([f.estimate for f in used]), scores)
    p = dict.fromkeys(STATISTICS, float("nan"))
    if deals.deals:
        p = joint_test(
            used, signs=not one.control, level=one.level, deals=deals.deals, seed=deals.seed
        ).p
    target = one.target
    named = (target.subgroup, target.metric, target.wanted, target.amount, one.control)
    return (*named, *spread, *p.values())


def left_out_table(left_out: Sequence[LeftOutFor]) -> pd.DataFrame:
    """Return what was left out as plain data, a row per combination and reason."""
    rows = [
        (as_json(dict(levels)), ";".join(groups), why.code, as_json(why.values))
        for every, why, groups in left_out
        for levels in every
    ]
    return pd.DataFrame(rows, columns=list(_LEFT_OUT))


def not_asked_table(not_asked: Sequence[tuple[Target, Reason]]) -> pd.DataFrame:
    """Return the targets that were not asked, with why not."""
    rows = [(t.subgroup, t.metric, why.code, as_json(why.values)) for t, why in not_asked]
    return pd.DataFrame(rows, columns=list(_NOT_ASKED))


# ---- from tables to a result -----------------------------------------------------------------


def survival_result(found: Found, choices: Sequence[str]) -> Result:
    """Return the Result of what was found.

    Parameters
    ----------
    found : Found
    choices : sequence of str
        Choices in order.
    """
    every = found.specifications
    rows = Rows(level=float(every["level"].iloc[0]) if len(every) else 0.95)
    levels, shares, said = [], [], []
    for target in found.targets.to_dict("records"):
        named = {"subgroup": target["subgroup"], "metric": target["metric"]}
        table = every[
            (every["subgroup"] == named["subgroup"]) & (every["metric"] == named["metric"])
        ]
        by_level, by_choice = _of_choices(table, choices)
        facts = _facts(table[table["counts"].astype(bool)]) | {"p": target[STATISTICS[0]]}
        _add_rows(rows, {str(k): v for k, v in target.items()}, facts, by_choice)
        said.append(survive_sentence(facts, by_level, by_choice))
        levels.append(by_level.assign(**named))
        shares.append(by_choice.assign(**named))
    said += [
        not_asked_sentence(row["subgroup"], row["metric"], _reason(row))
        for row in found.not_asked.to_dict("records")
    ]
    return Result(
        kind="survival",
        table=rows.frame(),
        points={
            "specifications": every,
            "targets": found.targets,
            "levels": _below(levels, ("choice", "level", "specifications", "share")),
            "choices": _below(shares, ("choice", "share")),
            "left_out": found.left_out,
        },
        settings=dict(found.settings),
        notes=_notes(found),
        sentences=tuple(said),
    )


def _below(parts: Sequence[pd.DataFrame], columns: Sequence[str]) -> pd.DataFrame:
    if not parts:
        return pd.DataFrame(columns=[*columns, "subgroup", "metric"])
    return pd.concat(parts, ignore_index=True)


def _of_choices(table: pd.DataFrame, choices: Sequence[str]) -> tuple[pd.DataFrame, pd.DataFrame]:
    """Return agreement by level, and variance by choice.

    Every specification is used, also one with the numbers of another: so the levels of one choice
    are held against each other over the same levels of all others.
    """
    same = (table["verdict"] == table["verdict"].iloc[0]).to_numpy(dtype=bool)
    names = [c for c in choices if table[c].nunique() > 1]
    codes = np.array([pd.factorize(table[c])[0] for c in names], dtype=int)
    codes = codes.reshape(len(names), len(table))
    shares = variance_shares(table["estimate"].to_numpy(dtype=float), codes.T)
    return same_by_level(table[names], same), pd.DataFrame({"choice": names, "share": shares})


def _facts(table: pd.DataFrame) -> dict[str, Any]:
    """Return what is said of one target; the study's own specification is the first row."""
    own = table.iloc[0]
    values = table["estimate"].to_numpy(dtype=float)
    side = np.sign(values) == np.sign(float(own["estimate"]))
    return {
        "subgroup": own["subgroup"], "metric": own["metric"], "verdict": str(own["verdict"]),
        "total": len(table), "same": int((table["verdict"] == own["verdict"]).sum()),
        "direction": int(side.sum()), "low": float(values.min()), "high": float(values.max()),
        "median": float(np.median(values)), "own": float(own["estimate"]),
    }  # fmt: skip


def _add_rows(
    rows: Rows, target: Mapping[str, Any], facts: Mapping[str, Any], shares: pd.DataFrame
) -> None:
    place = rows.at(metric=target["metric"], group=target["subgroup"])
    if target["control"]:
        place = place.at(first=target["subgroup"], second=target["control"])
    place.add(
        "specification_median", facts["median"], limits=(facts["low"], facts["high"]),
        interval_kind="range_of_specifications",
    )  # fmt: skip
    place.add("same_direction_share", facts["direction"] / facts["total"])
    place.add("same_verdict_share", facts["same"] / facts["total"])
    place.add("specification_spread", float(target["spread"]))
    place.add("specification_spread_true", float(target["spread_true"]))
    for choice, share in shares.itertuples(index=False):
        place.at(case=choice_case(str(choice))).add("choice_share", float(share))
    p = float(target[STATISTICS[0]])
    if p == p:
        place.add("joint_p", p, p=p)


def _notes(found: Found) -> tuple[Note, ...]:
    every = found.specifications
    notes = []
    if len(every):
        level = float(every["level"].iloc[0])
        notes = [Note("specifications_same_data"), Note("specifications_level", {"level": level})]
    twice = int((~every["counts"].astype(bool)).sum())
    if twice:
        notes.append(Note("specifications_seen_twice", {"n": twice}))
    return (*notes, *_left_out_notes(found.left_out), *map(Note, found.settings.get("notes", ())))


def _left_out_notes(left_out: pd.DataFrame) -> list[Note]:
    """Return one note per reason, with all combinations that were left out for it."""
    notes = []
    for (groups, _, _), part in left_out.groupby(list(_LEFT_OUT[1:]), sort=False, dropna=False):
        levels = [json.loads(text) for text in part["levels"]]
        ways = [Sentence("survive.levels", values={"levels": _level_words(c)}) for c in levels]
        values = {"why": _reason(part.iloc[0]), "ways": ways, "groups": str(groups).split(";")}
        notes.append(Note(f"specifications_left_out{'_of' if groups else ''}", values))
    return notes


def _level_words(levels: Mapping[str, str]) -> list[Sentence]:
    return [
        Sentence("survive.level", values={"choice": choice_case(c), "level": level_words(c, v)})
        for c, v in levels.items()
    ]


def _reason(row: Mapping[Any, Any] | pd.Series) -> Reason:
    values = row["word_values"]
    return Reason(str(row["reason_code"]), json.loads(values) if isinstance(values, str) else {})
