"""Metrics that hold the same information count as one."""

from __future__ import annotations

from cmjlab.catalog.metrics import METRICS


def family_of(metric: str) -> str:
    """Return the metric that stands for all metrics holding the same information."""
    return (METRICS[metric].same_as if metric in METRICS else "") or metric
