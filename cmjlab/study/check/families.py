"""Check of the metrics that a plan names: none of them twice under another name."""

from __future__ import annotations

from cmjlab.plan import Plan
from cmjlab.stats.common.multiplicity import family_of
from cmjlab.study.folder.problems import Problems


def check_families(plan: Plan, problems: Problems) -> None:
    """Add a warning for every further metric that holds the same information as one before it."""
    first: dict[str, str] = {}
    named = [m for m in (plan.primary_metric, *plan.report_metrics) if isinstance(m, str)]
    for metric in dict.fromkeys(named):
        other = first.setdefault(family_of(metric), metric)
        if other != metric:
            problems.add(
                "warn", "same_information", where=("study.toml", "", "plan.report_metrics"),
                found=f"{other} and {metric}",
                expected="one metric of each kind: these two hold the same information",
                remedy=f"Leave {metric} out of report_metrics, or put it in the place of {other}.",
            )  # fmt: skip
