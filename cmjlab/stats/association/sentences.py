"""Sentences of an association, written from its rows."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np

from cmjlab.stats.common.measures import measure_label

_KINDS = {
    "correlation_repeated": "within athletes, sessions taken out",
    "correlation_change": "of changes",
    "correlation_with_change": "of that value with the change",
    "correlation_oldham": "of the change",
}


def association_sentences(rows: Sequence[dict[str, Any]]) -> tuple[str, ...]:
    """Return one sentence per correlation, intervals first read."""
    out = []
    for row in rows:
        if row.get("method", "").startswith("published") or not np.isfinite(
            row.get("estimate", np.nan)
        ):
            continue
        kind = _KINDS.get(row["statistic"], f"in {row.get('session', '')}")
        place = (
            f", {row['session']}"
            if row["statistic"] != "correlation" and row.get("session")
            else ""
        )
        other = str(row["contrast"]).replace("_", " ")
        out.append(
            f"{measure_label(row['metric'])} {other}: correlation {kind}{place}"
            f" {_number(row['estimate'])} ({100 * row['level']:g} % interval {_number(row['ci_low'])} to"
            f" {_number(row['ci_high'])}, {row['n']} athletes): {_says(row)}."
        )
    return tuple(out)


def _says(row: dict[str, Any]) -> str:
    if row["ci_low"] > 0:
        return "the interval holds only positive values"
    if row["ci_high"] < 0:
        return "the interval holds only negative values"
    return "direction not known from these athletes"


def _number(value: float) -> str:
    text = f"{value:.2f}"
    return text.lstrip("-") if float(text) == 0 else text.replace("-", "−")
