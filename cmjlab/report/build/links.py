"""Links of a study's ratings and court data with jump metrics: command and report share it."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

import pandas as pd

from cmjlab.catalog import METRICS
from cmjlab.errors import StatsError
from cmjlab.results import Result
from cmjlab.stats.association.links import link_measures
from cmjlab.study.decide.sessions_table import measures_wide

if TYPE_CHECKING:
    from cmjlab.study.study import Study

#: Part of the names of strength measures: they have a section of their own.
_STRENGTH = "1rm"


def court_measures(study: Study) -> list[str]:
    """Return the measures of a study other than strength and what the plate measures too."""
    wide = measures_wide(study.measures)
    return [
        c for c in map(str, wide.columns)
        if c not in ("athlete", "session", *METRICS) and _STRENGTH not in c
        and pd.api.types.is_numeric_dtype(wide[c])
    ]  # fmt: skip


def study_links(study: Study, metrics: Sequence[str] = (), measures: Sequence[str] = ()) -> Result:
    """Return how measures and jump metrics go together, in level and over the block.

    Parameters
    ----------
    study : Study
    metrics : sequence of str
        Default: the report's measures that have values.
    measures : sequence of str
        Default: every measure of measures.csv but strength.

    Raises
    ------
    StatsError
        The study has no such measure.
    """
    table = study.sessions_table()
    left = list(measures) or court_measures(study)
    if not left:
        raise StatsError(
            f"{study.title}: no rating or court measure to link: write them into measures.csv"
            " (athlete, session, measure, value, unit), e.g. coach_rating or attendance."
        )
    wanted = list(metrics) or list(
        dict.fromkeys((study.plan.primary_metric, *study.plan.report_metrics))
    )
    right = [m for m in wanted if m in table and table[m].notna().any()]
    if not right:
        raise StatsError(f"{study.title}: no value of {', '.join(wanted)}; name another metric.")
    there = set(table["session"].astype(str))
    pair = (study.before, study.after)
    both = pair if all(pair) and set(pair) <= there else None
    return link_measures(table, left, right, pair=both, level=study.plan.level)
