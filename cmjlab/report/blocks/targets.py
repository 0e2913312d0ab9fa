"""Targets of a study as sentences: what is wanted of a measure, and by how much."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from cmjlab.results import Sentence


def aim_sentence(target: Mapping[Any, Any], declared: Mapping[str, float]) -> Sentence:
    """Return what is wanted of a measure, and by how much, for use within a sentence.

    Parameters
    ----------
    target : mapping
        A row of targets.csv: metric, wanted, amount.
    declared : mapping of metric to float
        Changes that matter, for a target without an amount.
    """
    metric, amount = str(target["metric"]), target["amount"]
    size = amount if amount == amount else declared.get(metric)
    key = f"target.aim_{target['wanted']}"
    return Sentence(key if size else f"{key}_open", metric, values={"amount": size})
