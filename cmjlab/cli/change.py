"""The command that tells what changed: the targets of the block first, then groups and athletes."""

from __future__ import annotations

from typing import TYPE_CHECKING, Annotated

import typer

from cmjlab.cli import say
from cmjlab.cli.opening import HERE, Results, StudyPath, measured
from cmjlab.cli.shown import Metrics, metrics_meant, show_result, write_result

if TYPE_CHECKING:
    from cmjlab.results import Result
    from cmjlab.study.study import Study

#: What is printed of each result after the targets; everything else is in the tables on disk.
_SHOWN = {
    "change_within": ("mean_change", "next_athlete_change"),
    "change_between": (
        "change_difference",
        "adjusted_difference",
        "drift_expected",
        "change_beyond_drift",
    ),
    "change_individual": (),
    "height_and_mass": (),
}
_OF_ATHLETES = ("individual_change", "individual_change_own", "shrunken_change")


def register(app: typer.Typer) -> None:
    """Add the command of this file."""
    app.command(short_help="What changed: targets, groups, differences, each athlete.")(change)


def change(
    source: StudyPath = HERE,
    metric: Metrics = None,
    athletes: Annotated[
        bool, typer.Option("--athletes", help="Print the change of each athlete too.")
    ] = False,
    results: Results = None,
) -> None:
    """Change over the block: what it was for, within and between groups, for each athlete.

    The targets of targets.csv are answered first, each by its own measure.
    """
    with say.plain_errors():
        from cmjlab.report.build.analyses import change_results

        study = measured(source, results)
        chosen = metrics_meant(metric, study)
        found, reasons = change_results(study, chosen)
        paths = [write_result(result, study, name) for name, result in found.items()]
        _targets(study, found.get("targets"), reasons.get("targets"), chosen)
        wanted = chosen or [study.plan.primary_metric]
        for name, statistics in _SHOWN.items():
            if name in found:
                of_athletes = athletes and name == "change_individual"
                show_result(found[name], _OF_ATHLETES if of_athletes else statistics, wanted)
            elif name in reasons:
                say.line(f"no {name.replace('_', ' ')}: {reasons[name]}")
        say.line(say.CAUTION)
        say.line(f"tables: {', '.join(p.name for p in paths)} in {say.named(study.results)}")
        if not metric:
            say.line(
                "Printed: the targets and the primary metric. All metrics stand in the tables;"
                ' --metric prints another by its words, e.g. --metric "RSImod"; --athletes prints'
                " the change of each athlete."
            )


def _targets(study: Study, result: Result | None, reason: object, chosen: list[str] | None) -> None:
    """Print the answers to the study's targets, or why there are none."""
    if not len(study.targets):
        say.line(
            "no targets: write targets.csv (subgroup, metric, wanted, amount, why) and each"
            " subgroup's emphasis is answered here, by its own measure."
        )
    elif result is None:
        say.line(f"targets: not answered: {reason}")
    else:
        say.line("Targets of the block:")
        show_result(result, (), chosen)
