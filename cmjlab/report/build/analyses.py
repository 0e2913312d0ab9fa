"""Every analysis of a block, run once: the report, the notebooks and the command line share it.

Nothing is computed here; the analyses come from ``cmjlab.stats``. What cannot be computed is
kept with its reason, so that a page can say so instead of leaving a hole.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any

import pandas as pd

from cmjlab.errors import CmjlabError, StatsError
from cmjlab.results import Result, Sentence
from cmjlab.study.analyses.defaults import grouped, has_groups, report_metrics
from cmjlab.study.folder.participation import as_shared

if TYPE_CHECKING:
    from cmjlab.study.study import Study


__all__ = [
    "Analyses", "Step", "analyse", "change_results", "grouped", "has_groups", "report_metrics",
]  # fmt: skip


@dataclass(frozen=True)
class Step:
    """How far a long task is, for a progress callback."""

    done: int
    total: int
    what: str


@dataclass(frozen=True)
class Analyses:
    """Tables and results of one study.

    Attributes
    ----------
    jumps, checks, sessions : pandas.DataFrame
    flow, provenance : dict
        As the study gives them.
    metrics : tuple of str
        Measures of the report that have values, the primary one first.
    results : mapping of str to Result
        "reliability", "change_within", "change_between", "change_individual",
        "height_and_mass" where possible, "targets" where the study states any, "follow" where
        it has weeks of monitoring.
    reasons : mapping of str to Sentence or str
        For every result that is missing (and every measure left out), why.
    """

    jumps: pd.DataFrame
    checks: pd.DataFrame
    sessions: pd.DataFrame
    flow: dict[str, Any]
    provenance: dict[str, Any]
    metrics: tuple[str, ...]
    results: dict[str, Result] = field(default_factory=dict)
    reasons: dict[str, Sentence | str] = field(default_factory=dict)

    def result(self, name: str) -> Result | None:
        """Return a result, or None when it is missing (see ``reasons``)."""
        return self.results.get(name)


def change_results(
    study: Study, metrics: Sequence[str] | None = None
) -> tuple[dict[str, Result], dict[str, Sentence | str]]:
    """Return the results of change over the block that the study allows, and why others are missing.

    Parameters
    ----------
    study : Study
    metrics : sequence of str, optional
        Default: the report's measures of the plan.

    Returns
    -------
    results : dict of str to Result
        "change_within", "change_between", "change_individual", "height_and_mass", "targets";
        those that cannot be had are left out.
    reasons : dict of str to Sentence or str
        Of those that are left out.

    Raises
    ------
    StatsError
        When none of them can be computed; the text gives the reasons.
    """
    sessions = study.sessions_table()
    names = tuple(metrics) if metrics else report_metrics(study.plan, sessions)[0]
    results: dict[str, Result] = {}
    reasons: dict[str, Sentence | str] = {}
    for name, run in _change_runs(study, sessions, names, results).items():
        _try(name, run, results, reasons)
    if not results:
        raise StatsError(
            "no change can be computed: " + "; ".join(dict.fromkeys(map(str, reasons.values())))
        )
    return results, reasons


def analyse(study: Study, *, progress: Callable[[Any], None] | None = None) -> Analyses:
    """Measure a study and run every analysis of the report.

    Parameters
    ----------
    study : Study
    progress : callable, optional
        Called with objects that have ``done``, ``total`` and ``what``.
    """
    study.reread()
    study.measure(progress=progress)
    jumps = study.jumps_at_load()
    sessions = study.sessions_table()
    metrics, reasons = report_metrics(study.plan, sessions)
    results: dict[str, Result] = {}
    runs = {"reliability": lambda: study.reliability(metrics or None)}
    runs |= _change_runs(study, sessions, metrics, results)
    if study.settings.monitoring:
        runs["follow"] = study.follow
    for number, (name, run) in enumerate(runs.items()):
        if progress is not None:
            progress(Step(number, len(runs), name.replace("_", " ")))
        _try(name, run, results, reasons)
    shared = study.shared_names.frame  # a file may be named after a person
    flow = {name: shared(table) for name, table in study.flow().items()}
    flow["missing"] = as_shared(flow["missing"])
    tables = shared(jumps), shared(study.checks), sessions
    return Analyses(*tables, flow, study.provenance(), metrics, results, reasons)


def _try(
    name: str,
    run: Callable[[], Result],
    results: dict[str, Result],
    reasons: dict[str, Sentence | str],
) -> None:
    try:
        results[name] = run()
    except CmjlabError as error:
        reasons[name] = str(error)


def _change_runs(
    study: Study, sessions: pd.DataFrame, metrics: tuple[str, ...], results: dict[str, Result]
) -> dict[str, Callable[[], Result]]:
    """Return the analyses of change as functions still to be called, in order."""
    from cmjlab.stats.individual.monitor import height_and_mass

    names = list(metrics) or None

    def individual() -> Result:
        return study.individuals(names, reliability=results.get("reliability"))

    runs = {
        "change_within": lambda: study.change_within(names),
        "change_between": lambda: study.change_between(names, details=True),
        "change_individual": individual,
    }
    if {"jump_height_m", "body_mass_kg"} <= set(sessions.columns):
        runs["height_and_mass"] = lambda: height_and_mass(
            sessions, before=study.before, after=study.after, level=study.plan.level
        )
    if len(study.targets):
        runs["targets"] = study.change_targets
    return runs
