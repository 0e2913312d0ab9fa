"""Reference of metrics, statistics and quality rules, made from the catalog that computes with them."""

from __future__ import annotations

from pathlib import Path

from cmjlab.catalog import CHECKS, METRICS, STATISTICS
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
from cmjlab.units import shown_unit
from making.layout import write
from making.reference import slug

#: Families of statistics, in the order of a block: key of the page -> entries.
FAMILIES = {
    "reliability": RELIABILITY,
    "subgroups": SUBGROUPS,
    "change": CHANGE,
    "mixed": MIXED,
    "loads": LOADS,
    "season": SEASON,
    "curves": CURVES,
    "specifications": SPECIFICATIONS,
    "scrutiny": SCRUTINY,
    "replication": REPLICATION,
}
#: Phases in order of time; a page each.
PHASES = (
    "whole jump", "weighing", "unweighting", "braking", "propulsion", "flight", "landing", "limbs",
)  # fmt: skip


def make(source: Path) -> None:
    """Write a page per phase, per family of statistics, and one for the quality rules."""
    by_phase = {p: [m for m in METRICS.values() if m.phase == p] for p in PHASES}
    if sum(map(len, by_phase.values())) != len(METRICS):
        raise SystemExit("a metric has a phase without a page: add it to PHASES")
    if sum(map(len, FAMILIES.values())) != len(STATISTICS):
        raise SystemExit("a statistic stands in a family without a page: add it to FAMILIES")
    for phase, metrics in by_phase.items():
        write(
            source, f"reference/metrics-{slug(phase)}.md", "metrics.md.j2",
            phase=phase, metrics=metrics, shown_unit=shown_unit, page_of=page_of,
        )  # fmt: skip
    for family, statistics in FAMILIES.items():
        write(
            source, f"reference/statistics-{family}.md", "statistics.md.j2",
            family=family, statistics=statistics, everything=STATISTICS,
        )  # fmt: skip
    write(source, "reference/quality-rules.md", "rules.md.j2", rules=list(CHECKS.values()))
    write(
        source, "reference/index.md", "reference.md.j2",
        phases={p: (slug(p), len(m)) for p, m in by_phase.items()},
        families={f: len(s) for f, s in FAMILIES.items()}, rules=len(CHECKS),
    )  # fmt: skip


def page_of(key: str) -> str:
    """Return the page on which a metric stands."""
    return f"metrics-{slug(METRICS[key].phase)}.md"
