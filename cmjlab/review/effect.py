"""What a moved event does to a jump: measured again, and compared metric by metric."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING

import pandas as pd

from cmjlab.catalog import EVENT_LABELS, METRICS, MOVABLE_EVENTS
from cmjlab.checks import one_of
from cmjlab.errors import ArgumentError
from cmjlab.jump.measure import measure
from cmjlab.jump_types import Jump
from cmjlab.units import show

if TYPE_CHECKING:
    from cmjlab.study.study import Study


def fixed_by_hand(study: Study, file: str, jump: int) -> dict[str, float]:
    """Return the events of a jump that a person fixed: event -> seconds on the file's clock."""
    return dict(study.decided.moved.get(file, {}).get(jump, {}))


def remeasured(jump: Jump, events: Mapping[str, float]) -> Jump:
    """Return the same recording measured again with these events fixed (none: as the rules do)."""
    return measure(jump.recording, jump.method, events=events or None)


def refuse_wrong_order(jump: Jump, event: str) -> None:
    """Raise ArgumentError when a fixed event is not between its neighbours."""
    at = [(e, jump.events[e]) for e in MOVABLE_EVENTS if math.isfinite(jump.events[e])]
    for (first, a), (second, b) in zip(at, at[1:], strict=False):
        if a > b + 1e-9 and event in (first, second):
            raise ArgumentError(
                f"time_s: {EVENT_LABELS[event]} would be at {jump.events[event]:.4f} s, but"
                f" {EVENT_LABELS[first]} ({a:.4f} s) must come before {EVENT_LABELS[second]} ({b:.4f} s)."
            )


def compare_metrics(
    study: Study, before: Jump, after: Jump, metrics: Sequence[str] | None
) -> pd.DataFrame:
    """Return metric, label, unit, before, after, difference of two measurements of one jump."""
    names = list(metrics) if metrics is not None else effect_metrics(study)
    for name in names:
        one_of("metrics", name, tuple(METRICS))
    rows = [
        {
            "metric": name,
            "label": METRICS[name].label,
            "unit": METRICS[name].unit,
            "before": float(before.metrics[name]),
            "after": float(after.metrics[name]),
            "difference": float(after.metrics[name]) - float(before.metrics[name]),
        }
        for name in names
    ]
    columns = ["metric", "label", "unit", "before", "after", "difference"]
    return pd.DataFrame(rows, columns=columns)


def effect_metrics(study: Study) -> list[str]:
    """Return the metrics that an effect is shown on: the plan's, primary first."""
    wanted = dict.fromkeys((study.plan.primary_metric, *study.plan.report_metrics))
    return [m for m in wanted if m in METRICS] or ["jump_height_m"]


def effect_in_words(effect: pd.DataFrame) -> list[tuple[str, str, str, str]]:
    """Return an effect as a person reads it: label, before, after, difference with its unit."""
    out = []
    for row in effect.to_dict("records"):
        unit = str(row["unit"])
        before, after = (show(row[c], unit, extra_decimals=1) for c in ("before", "after"))
        change = show(row["difference"], unit, extra_decimals=1)
        sign = "+" if row["difference"] > 0 and any(c in "123456789" for c in change) else ""
        out.append((str(row["label"]), before, after, (sign + change).replace("-", "−")))
    return out
