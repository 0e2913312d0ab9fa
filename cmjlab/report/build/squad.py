"""The squad of a study at one glance, analysed once: report, page, command and notebook share it.

Nothing is computed here; what cannot be had is kept with its reason.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import pandas as pd

from cmjlab.errors import CmjlabError, StatsError
from cmjlab.report.build.subgroups import (
    StudySubgroups,
    declared_errors,
    reference_of,
    study_subgroups,
)
from cmjlab.results import Result
from cmjlab.stats.subgroups.squad import SQUAD_METRICS, squad_places

if TYPE_CHECKING:
    from cmjlab.study.study import Study

#: Measure across and up of the two scatter plots.
PAIRS = (
    ("countermovement_depth_m", "time_to_takeoff_s"),
    ("relative_strength", "jump_height_m"),
)


@dataclass(frozen=True)
class StudySquad:
    """The squad of one study.

    Attributes
    ----------
    study : Study
    groups : StudySubgroups
        Placements and their certainty, where there are rules.
    places : Result
        Values, percentiles and likely ranges.
    changes : Result or None
        Change of each athlete over the block with its interval, where the study has one.
    """

    study: Study
    groups: StudySubgroups
    places: Result
    changes: Result | None = None

    @property
    def session(self) -> str:
        """The session that is shown."""
        return str(self.places.settings["session"])

    @property
    def metrics(self) -> list[str]:
        """Measures that are shown."""
        return list(self.places.settings["metrics"])

    @property
    def table(self) -> pd.DataFrame:
        """One row per athlete: athlete, group (the subgroup), certainty, and the measures."""
        frame = self.places.points["squad"]
        wide = frame.pivot(index="athlete", columns="metric", values="value")
        first = frame.drop_duplicates("athlete").set_index("athlete")["group"]
        out = wide.reindex(first.index).assign(group=first)
        out["certainty"] = float("nan")
        placement = self.groups.results.get("placement")
        if placement is not None:
            people = placement.points["placements"].set_index("athlete")
            out["group"] = people["subgroup"].reindex(out.index).fillna("")
            out["certainty"] = people["probability"].reindex(out.index)
        return out.reset_index()

    @property
    def pairs(self) -> list[tuple[str, str]]:
        """The scatter plots for which at least one athlete has both values."""
        table = self.table
        return [
            p for p in PAIRS
            if set(p) <= set(table) and table[list(p)].notna().all(axis=1).any()
        ]  # fmt: skip

    @property
    def line(self) -> pd.DataFrame | None:
        """The straight line of height on strength with its interval, where there is one."""
        strength = self.groups.results.get("strength")
        if strength is None:
            return None
        settings = strength.settings
        return strength.points["line"].assign(
            x_metric=settings["metric"], y_metric=settings["outcome"]
        )

    @property
    def cuts(self) -> pd.DataFrame | None:
        """Cuts of the rules with their values, None without rules."""
        placement = self.groups.results.get("placement")
        return None if placement is None else placement.points["cuts"]


def study_squad(
    study: Study, *, groups: StudySubgroups | None = None, changes: Result | None = None
) -> StudySquad:
    """Return the squad of a study in the session that decides the subgroups.

    Parameters
    ----------
    study : Study
    groups : StudySubgroups, optional
        When they were analysed already.
    changes : Result, optional
        From :func:`cmjlab.change_individual`; analysed anew when None and the study has a block.

    Raises
    ------
    StatsError
        The study has no session with values.
    """
    found = groups or study_subgroups(study, only=("strength", "placement"))
    table = found.sessions
    metrics = [m for m in SQUAD_METRICS if m in table and table[m].notna().any()]
    if not metrics:
        raise StatsError(f"{study.title}: no athlete has a value of {', '.join(SQUAD_METRICS)}.")
    places = squad_places(
        table, metrics, session=found.session, reliability=declared_errors(study, table),
        reference=reference_of(study, metrics), level=study.plan.level,
    )  # fmt: skip
    return StudySquad(study, found, places, changes or _changes(study))


def _changes(study: Study) -> Result | None:
    from cmjlab.report.build.analyses import change_results

    try:
        return change_results(study, [study.plan.primary_metric])[0].get("change_individual")
    except CmjlabError:
        return None
