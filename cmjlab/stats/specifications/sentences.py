"""What is said of a target that was answered in many ways."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import pandas as pd

from cmjlab.results import Case, Reason, Sentence
from cmjlab.words.catalog import read_words

#: Name of a level of one's own settings.
AS_STATED = "as_stated"


def choice_case(choice: str) -> Case:
    """Return a choice as the case of a row."""
    return Case(f"choice_{choice}")


def level_words(choice: str, level: str) -> str | Sentence:
    """Return the words of a level; sessions and levels of a user's own keep their names."""
    key = f"choice_level.{AS_STATED if level == AS_STATED else f'{choice}_{level}'}"
    return Sentence(key) if key in read_words().keys else level


def survive_sentence(
    target: Mapping[str, Any], levels: pd.DataFrame, shares: pd.DataFrame
) -> Sentence:
    """Return how many ways agree, what turns the answer, and the joint test.

    Parameters
    ----------
    target : mapping
        subgroup, metric, total, same, direction, verdict, low, high, median, own, p.
    levels : pandas.DataFrame
        choice, level, specifications, share of the same verdict.
    shares : pandas.DataFrame
        choice, share of variance.
    """
    metric = str(target["metric"])
    values = {k: target[k] for k in ("low", "high", "median", "own")}
    agree = target["same"] == target["total"] == target["direction"]
    said = {
        "counts": Sentence(
            "survive.all_same" if agree else "survive.counts",
            metric,
            values={
                "total": int(target["total"]),
                "same": int(target["same"]),
                "direction": int(target["direction"]),
                "verdict": Sentence(f"target_verdict.{target['verdict']}"),
            },
        ),
        "range": Sentence("survive.range", metric, values=values),
        "turns": _turns(levels) or _moves(shares),
        "joint": _joint(float(target["p"])),
    }
    return Sentence("survive.answer", metric, str(target["subgroup"]), said)


def not_asked_sentence(subgroup: str, metric: str, why: Reason) -> Sentence:
    """Return why a target was not asked."""
    return Sentence("survive.not_asked", metric, subgroup, {"why": why})


def _turns(levels: pd.DataFrame) -> Sentence | None:
    """Return which choice turns the answer most; None when none does."""
    if levels.empty or float(levels["share"].min()) == float(levels["share"].max()):
        return None
    spans = levels.groupby("choice", sort=False)["share"].agg(lambda s: float(s.max() - s.min()))
    choice = str(spans.idxmax())
    mine = levels[levels["choice"] == choice]
    worst, best = mine.loc[mine["share"].idxmin()], mine.loc[mine["share"].idxmax()]
    return Sentence("survive.turns", values={
        "choice": choice_case(choice),
        "worst": float(worst["share"]), "worst_level": level_words(choice, str(worst["level"])),
        "best": float(best["share"]), "best_level": level_words(choice, str(best["level"])),
    })  # fmt: skip


def _moves(shares: pd.DataFrame) -> Sentence:
    """Return which choice moves the estimate most."""
    if shares.empty or float(shares["share"].max()) <= 0.0:
        return Sentence("survive.moves_none")
    most = shares.loc[shares["share"].idxmax()]
    values = {"choice": choice_case(str(most["choice"])), "share": float(most["share"])}
    return Sentence("survive.moves", values=values)


def _joint(p: float) -> Sentence:
    return Sentence("survive.joint", values={"p": p}) if p == p else Sentence("survive.joint_none")
