"""STATISTICS: every kind of estimate, gathered from the files of their rooms."""

from __future__ import annotations

from cmjlab.catalog.entries import Statistic
from cmjlab.catalog.statistics_change import CHANGE
from cmjlab.catalog.statistics_curves import CURVES
from cmjlab.catalog.statistics_loads import LOADS
from cmjlab.catalog.statistics_mixed import MIXED
from cmjlab.catalog.statistics_reliability import RELIABILITY
from cmjlab.catalog.statistics_replication import REPLICATION
from cmjlab.catalog.statistics_scrutiny import SCRUTINY
from cmjlab.catalog.statistics_season import SEASON
from cmjlab.catalog.statistics_specifications import SPECIFICATIONS
from cmjlab.catalog.statistics_subgroups import SUBGROUPS

#: Keys that a reader of rows may still ask by, and what they became.
FORMER_NAMES = {"hedges_g": ("hedges_g_within", "hedges_g_between")}

STATISTICS: dict[str, Statistic] = {
    s.key: s
    for s in (
        *RELIABILITY,
        *CHANGE,
        *MIXED,
        *SUBGROUPS,
        *LOADS,
        *SEASON,
        *CURVES,
        *SPECIFICATIONS,
        *SCRUTINY,
        *REPLICATION,
    )
}
