"""What the analyses of a study start from: its measures, its groups, its sessions."""

from __future__ import annotations

from collections.abc import Sequence

import pandas as pd

from cmjlab import checks
from cmjlab.errors import StatsError
from cmjlab.plan import Plan
from cmjlab.results import Sentence
from cmjlab.study.folder.study_folder import StudyFolder

#: One measure, several, or None for those of the plan.
Measures = str | Sequence[str] | None


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


def baselines_with_values(study: StudyFolder, sessions: pd.DataFrame) -> list[str]:
    """Return the sessions with role baseline that the sessions table has."""
    named = study.sessions.loc[study.sessions["role"] == "baseline", "session"].astype(str)
    there = set(sessions["session"].astype(str))
    return [s for s in named if s in there]


def baselines_tested(study: StudyFolder, sessions: pd.DataFrame) -> list[str]:
    """Return the sessions with role baseline that have a value; two are needed.

    Raises
    ------
    StatsError
        There are fewer than two.
    """
    present = baselines_with_values(study, sessions)
    if len(present) < 2:
        raise StatsError(
            f"{len(present)} session(s) with role baseline; two without training in between are needed"
        )
    return present


def measures_of(study: StudyFolder, sessions: pd.DataFrame, metrics: Measures) -> list[str]:
    """Return the measures asked for, else those of the plan that have values."""
    if metrics is not None:
        return checks.names("metrics", metrics)
    names, _ = report_metrics(study.plan, sessions)
    if not names:
        raise StatsError("no measure of the report has a value")
    return list(names)


def pair_of(study: StudyFolder, before: str | None, after: str | None) -> tuple[str, str]:
    """Return the sessions asked for, else those of the plan."""
    first, last = before or study.before, after or study.after
    if not first or not last:
        missing = "before" if not first else "after"
        raise StatsError(
            f"no session {missing} the block: give one the role"
            f" {'baseline' if missing == 'before' else 'post'}, or name it in [plan]"
        )
    return first, last
