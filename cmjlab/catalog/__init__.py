"""The catalog: every metric, statistic and quality rule by key, with unit, words and source."""

from cmjlab.catalog.check_rules import CHECKS
from cmjlab.catalog.entries import SCOPES, STATUSES, CheckRule, Metric, Statistic, reference_of
from cmjlab.catalog.metrics import METRICS
from cmjlab.catalog.statistics import STATISTICS

__all__ = [
    "CHECKS",
    "METRICS",
    "SCOPES",
    "STATISTICS",
    "STATUSES",
    "CheckRule",
    "Metric",
    "Statistic",
    "reference_of",
]
