"""Sentences of a comparison between groups."""

from __future__ import annotations

from typing import Any

from cmjlab.stats.change.design import Contrast
from cmjlab.stats.change.pairs import Pairs, Prepared
from cmjlab.stats.common.estimate_rows import Row
from cmjlab.stats.common.wording import difference_direction, interval_text, name_of, signed


def _find(rows: list[Row], statistic: str, contrast: str) -> Row | None:
    """Return the first (default) row of a statistic and contrast."""
    for row in rows:
        if row["statistic"] == statistic and row.get("contrast") == contrast:
            return row
    return None


def _value(row: Row, unit: str) -> str:
    if "estimate" not in row:
        return str(row["text"])
    size = signed(row["estimate"], unit)
    if "ci_low" not in row:
        return f"{size} ({row['text']})"
    return f"{size} ({interval_text(row['ci_low'], row['ci_high'], unit, row['level'])})"


def between_sentences(
    rows: list[Row],
    pairs: Pairs,
    contrasts: list[Contrast],
    leading: str,
    prepared: Prepared,
) -> list[str]:
    """Return one sentence group per contrast."""
    out = []
    for first, second in contrasts:
        name = f"{first} - {second}"
        adjusted = _find(rows, "adjusted_difference", name)
        change = _find(rows, "change_difference", name)
        counts = " v ".join(str(int((pairs.group == g).sum())) for g in (first, second))
        start = (
            f"{name_of(pairs.metric)}, {prepared.before} to {prepared.after}, {first} minus {second}"
            f" (n = {counts}):"
        )
        assert adjusted is not None
        assert change is not None
        unit = change["unit"]
        out.append(f"{start} {_body(adjusted, change, unit, leading, (first, second))}")
    return out


def _body(adjusted: Row, change: Row, unit: str, leading: str, names: Contrast) -> str:
    equal_start = f"at equal baseline the difference is {_value(adjusted, unit)}"
    changes = f"the difference of the changes is {_value(change, unit)}"
    if leading == "adjusted_difference":
        return f"{equal_start}. {_open(adjusted, names)}".strip()
    if leading == "change_difference":
        return f"{changes}. {_open(change, names)}".strip()
    return (
        f"{changes}; {equal_start}. The groups were not formed at random, so these answer different"
        " questions and neither stands for the effect of the training."
    )


def _open(row: dict[str, Any], names: Contrast) -> str:
    if "ci_low" not in row:
        return ""
    return difference_direction(row["ci_low"], row["ci_high"], *names)
