"""The figures of a study by name: ``study.plot("squad")`` is drawn here."""

from __future__ import annotations

from typing import TYPE_CHECKING

from cmjlab.checks import one_of
from cmjlab.errors import StatsError
from cmjlab.plots.choose import plot_result
from cmjlab.plots.style import Picture
from cmjlab.study.analyses.defaults import grouped, has_groups

if TYPE_CHECKING:
    from cmjlab.study.study import Study

#: Figures of one result of the study: name -> method of the study, and whether it shows one measure.
OF_A_RESULT = {
    "noise": ("reliability", False),
    "sessions": ("reliability", True),
    "agreement": ("reliability", True),
    "jumps_needed": ("jumps_needed", True),
    "within": ("change_within", True),
    "between": ("change_between", True),
    "individuals": ("individuals", True),
}
NAMES = ("squad", "overview", *OF_A_RESULT, "placement", "strength")


def plot_study(
    study: Study, figure: str = "squad", metric: str | None = None, *, session: str | None = None
) -> Picture:
    """Return a figure of a study; see :meth:`cmjlab.Study.plot`."""
    name = one_of("figure", figure, NAMES)
    if name == "squad":
        return _squad(study)
    if name == "overview":
        return _overview(study, metric, session)
    if name == "placement":
        return plot_result(study.subgroup_athletes())
    if name == "strength":
        return _strength(study)
    method, one = OF_A_RESULT[name]
    measure = metric or study.plan.primary_metric
    result = getattr(study, method)(measure if one else metric)
    chosen = (
        study.plan.change_that_matters or None if name not in ("sessions", "agreement") else None
    )
    return plot_result(result, name, metric=measure if one else None, change_that_matters=chosen)


def _squad(study: Study) -> Picture:
    """Return two scatter plots with the noise of a test and the cuts of the rules."""
    from cmjlab.plots.squad import squad_scatter
    from cmjlab.report.build.squad import study_squad

    squad = study_squad(study)
    if not squad.pairs:
        raise StatsError("squad: nobody has both values of a scatter plot.")
    return squad_scatter(
        squad.table, squad.pairs, errors=squad.places.settings["typical_errors"],
        cuts=squad.cuts, line=squad.line, order=study.groups,
    )  # fmt: skip


def _overview(study: Study, metric: str | None, session: str | None) -> Picture:
    """Return the distributions of the squad in one session."""
    from cmjlab.plots.overview import MOST_METRICS, squad_overview

    table = study.sessions_table()
    table = grouped(table) if has_groups(table) else table.drop(columns="group", errors="ignore")
    if table.empty:
        raise StatsError("overview: the study has no accepted jump yet.")
    wanted = [metric] if metric else [m for m in study.plan.report_metrics if m in table]
    chosen = session or str(table["session"].min())
    return squad_overview(table, wanted[:MOST_METRICS], session=chosen)


def _strength(study: Study) -> Picture:
    """Return jump height over relative strength with the line of the squad and the cuts."""
    from cmjlab.plots.squad import relation_figure
    from cmjlab.report.build.subgroups import study_subgroups

    found = study_subgroups(study, only=("strength", "placement"))
    if "strength" not in found.results:
        raise StatsError(f"strength: {found.reasons['strength']}")
    placement = found.results.get("placement")
    first = found.sessions[found.sessions["session"].astype(str) == found.session]
    groups = dict(zip(first["athlete"].astype(str), first["group"].astype(str), strict=True))
    cuts = None if placement is None else placement.points["cuts"]
    return relation_figure(found.results["strength"], groups=groups, order=study.groups, cuts=cuts)
