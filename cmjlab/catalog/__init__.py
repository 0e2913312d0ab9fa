"""The catalog: every metric, statistic and quality rule by key, with unit, words and source."""

from cmjlab.catalog.check_rules import CHECKS
from cmjlab.catalog.entries import (
    SCOPES,
    STATUS_LABELS,
    STATUSES,
    CheckRule,
    Metric,
    Statistic,
    reference_of,
)
from cmjlab.catalog.events import EVENT_LABELS, MOVABLE_EVENTS
from cmjlab.catalog.metrics import METRICS
from cmjlab.catalog.statistics import FORMER_NAMES, STATISTICS

__all__ = [
    "CHECKS",
    "EVENT_LABELS",
    "FORMER_NAMES",
    "METRICS",
    "MOVABLE_EVENTS",
    "SCOPES",
    "STATISTICS",
    "STATUSES",
    "STATUS_LABELS",
    "CheckRule",
    "Metric",
    "Statistic",
    "reference_of",
]
