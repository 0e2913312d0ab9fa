"""Sentences of individual changes, from their rows."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import numpy as np

from cmjlab.results import Sentence
from cmjlab.stats.common.rows import Rows
from cmjlab.stats.common.verdicts import estimate_says, side_of_zero
from cmjlab.stats.individual.rows import Individuals


def individual_sentences(people: Individuals, rows: Rows) -> list[Sentence]:
    """Return how well one athlete's change is known, who stands out, and the spread of responses."""
    metric = people.pairs.metric
    if not people.pairs.athletes:
        return [Sentence("individual.nobody", metric)]
    spread = [_response(row) for row in rows.records("response_sd", metric=metric)]
    return [_known(people, rows), *_extremes(metric, rows), *_own(metric, rows), *spread]


def _known(people: Individuals, rows: Rows) -> Sentence:
    own = list(rows.records("individual_change", metric=people.pairs.metric))
    several = len(people.sessions) > 1
    return Sentence(
        "individual.known_from_mean" if several else "individual.known",
        people.pairs.metric,
        values={
            "half": float(np.median([(r["ci_high"] - r["ci_low"]) / 2 for r in own])),
            "before": people.sessions,
            "after": people.after,
            "level": rows.level,
            "df": people.noise.df,
        },
    )


def _extremes(metric: str, rows: Rows) -> list[Sentence]:
    """Return who changed most and least; named after looking, so with the interval for all."""
    together = list(rows.records("individual_change_all", metric=metric))

    found = {"largest": max(together, key=_estimate), "smallest": min(together, key=_estimate)}
    return [
        Sentence(
            f"individual.{word}",
            metric,
            values={
                "athlete": row["athlete"],
                "of": len(together),
                **{k: float(row[k]) for k in ("estimate", "ci_low", "ci_high")},
            },
        )
        for word, row in found.items()
    ]


def _own(metric: str, rows: Rows) -> list[Sentence]:
    """Return who is noisy and who steady, and whose interval says otherwise with own noise."""
    errors = list(rows.records("typical_error_own", metric=metric))
    if not errors:
        return []
    noisiest, steadiest = (f(errors, key=_estimate) for f in (max, min))
    plain = {r["athlete"]: _side(r) for r in rows.records("individual_change", metric=metric)}
    own = rows.records("individual_change_own", metric=metric)
    others = [str(r["athlete"]) for r in own if _side(r) != plain[r["athlete"]]]
    values = {
        "least": _estimate(steadiest),
        "steadiest": steadiest["athlete"],
        "most": _estimate(noisiest),
        "noisiest": noisiest["athlete"],
        "others": others,
    }
    return [Sentence("individual.own_noise" + "_otherwise" * bool(others), metric, values=values)]


def _estimate(row: Mapping[str, Any]) -> float:
    return float(row["estimate"])


def _side(row: Mapping[str, Any]) -> str:
    return side_of_zero(float(row["ci_low"]), float(row["ci_high"]))


def _response(row: Mapping[str, Any]) -> Sentence:
    """Return the spread of true responses of one group, or why it cannot be had."""
    kind = "response" if np.isfinite(row["estimate"]) else "no_response"
    values = {"sd": estimate_says(row), "says": row["remark"] or row["reason"]}
    return Sentence(f"individual.{kind}", str(row["metric"]), str(row["group"] or ""), values)
