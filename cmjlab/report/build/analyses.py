"""Every analysis of a block, run once: the report, the notebooks and the command line share it.

Nothing is computed here; the analyses come from ``cmjlab.stats``. What cannot be computed is
kept with its reason, so that a page can say so instead of leaving a hole.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from contextlib import suppress
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any

import pandas as pd

from cmjlab.errors import CmjlabError, StatsError
from cmjlab.plan import Plan
from cmjlab.results import Result, Sentence
from cmjlab.study.folder.participation import as_shared

if TYPE_CHECKING:
    from cmjlab.study.study import Study


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


def report_metrics(
    plan: Plan, sessions: pd.DataFrame
) -> tuple[tuple[str, ...], dict[str, Sentence | str]]:
    """Return the report's measures that have values, primary first, and why others are left out."""
    wanted = dict.fromkeys((plan.primary_metric, *plan.report_metrics))
    kept, reasons = [], dict[str, Sentence | str]()
    for name in wanted:
        if name not in sessions:
            reasons[name] = Sentence("missing.no_column", name)
        elif not sessions[name].notna().any():
            reasons[name] = Sentence("missing.no_value", name)
        else:
            kept.append(name)
    return tuple(kept), reasons


def has_groups(sessions: pd.DataFrame) -> bool:
    """Return whether there are at least two named groups."""
    names = sessions["group"].dropna().astype(str) if "group" in sessions else pd.Series(dtype=str)
    return names[names != ""].nunique() > 1


def grouped(sessions: pd.DataFrame) -> pd.DataFrame:
    """Return the rows of athletes with a group; groups of one athlete only stay in."""
    return sessions[sessions["group"].notna() & (sessions["group"].astype(str) != "")]


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
    study.measure(progress=progress)
    jumps = study.jumps_at_load()
    sessions = study.sessions_table()
    metrics, reasons = report_metrics(study.plan, sessions)
    results: dict[str, Result] = {}
    runs = {"reliability": lambda: _reliability(study, sessions, metrics, jumps)}
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


def _reliability(
    study: Study, sessions: pd.DataFrame, metrics: tuple[str, ...], jumps: pd.DataFrame | None
) -> Result:
    from cmjlab.stats.reliability.reliability import reliability

    if not metrics:
        raise StatsError("no measure of the report has a value")
    use = study.sessions.loc[study.sessions["role"] == "baseline", "session"].astype(str)
    present = [s for s in use if s in set(sessions["session"].astype(str))]
    if len(present) < 2:
        raise StatsError(
            f"{len(present)} session(s) with role baseline; two without training in between are needed"
        )
    return reliability(
        sessions,
        list(metrics),
        use=present,
        level=study.plan.level,
        change_that_matters=study.plan.change_that_matters or None,
        jumps=jumps,
    )


def _need_two_sessions(study: Study, metrics: Sequence[str]) -> None:
    if not metrics:
        raise StatsError("no measure of the report has a value")
    if not study.before or not study.after:
        missing = "before" if not study.before else "after"
        raise StatsError(
            f"no session {missing} the block: give one the role"
            f" {'baseline' if missing == 'before' else 'post'}, or name it in [plan]"
        )


def _change_runs(
    study: Study, sessions: pd.DataFrame, metrics: tuple[str, ...], results: dict[str, Result]
) -> dict[str, Callable[[], Result]]:
    """Return the analyses of change as functions still to be called, in order."""
    from cmjlab.stats.change.change import change_between, change_within
    from cmjlab.stats.change.plan import apply_plan
    from cmjlab.stats.individual.individual import change_individual
    from cmjlab.stats.individual.monitor import height_and_mass

    plan, before, after = study.plan, study.before, study.after
    control = plan.control_group or None
    names = list(metrics)

    def within() -> Result:
        _need_two_sessions(study, names)
        table, group = (grouped(sessions), "group") if has_groups(sessions) else (sessions, None)
        result = change_within(
            table, names, before=before, after=after, group=group, level=plan.level
        )
        return apply_plan(result, plan, probabilities=False)

    def between() -> Result:
        _need_two_sessions(study, names)
        if not has_groups(sessions):
            raise StatsError("fewer than two groups in athletes.csv: nothing to compare")
        result = change_between(
            grouped(sessions), names, before=before, after=after,
            assignment=plan.assignment, control=control, level=plan.level,
        ).with_details()  # fmt: skip
        return apply_plan(result, plan, probabilities=False)

    def individual() -> Result:
        _need_two_sessions(study, names)
        noise = results.get("reliability") or _reliability(
            study, sessions, metrics, study.jumps_at_load()
        )
        return change_individual(
            sessions, names, before=before, after=after,
            reliability=noise, control=control, level=plan.level,
        )  # fmt: skip

    runs = {"change_within": within, "change_between": between, "change_individual": individual}
    if {"jump_height_m", "body_mass_kg"} <= set(sessions.columns):
        runs["height_and_mass"] = lambda: height_and_mass(
            sessions, before=before, after=after, level=plan.level
        )
    if len(study.targets):
        runs["targets"] = lambda: _targets(study, sessions, results.get("reliability"))
    return runs


def _targets(study: Study, sessions: pd.DataFrame, noise: Result | None) -> Result:
    """Return the answers to the study's targets; athletes are counted where noise is known."""
    from cmjlab.stats.targets.targets import change_targets

    _need_two_sessions(study, ["targets"])
    metrics = [m for m in dict.fromkeys(study.targets["metric"].astype(str)) if m in sessions]
    own = noise
    with suppress(CmjlabError):  # of measures that the report does not show, too
        own = _reliability(study, sessions, tuple(metrics), None)
    return change_targets(
        grouped(sessions), study.targets, study.plan,
        before=study.before, after=study.after, reliability=own,
    )  # fmt: skip
