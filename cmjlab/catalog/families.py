"""Metrics that hold the same information count as one."""

from __future__ import annotations

from cmjlab.catalog.metrics import METRICS


def family_of(metric: str) -> str:
    """Return the metric that stands for all metrics holding the same information."""
    seen = {metric}
    while metric in METRICS and METRICS[metric].same_as and METRICS[metric].same_as not in seen:
        metric = METRICS[metric].same_as
        seen.add(metric)
    return metric
