"""The command link: do ratings and court data go with the jumps."""

from __future__ import annotations

from typing import Annotated

import typer

from cmjlab.cli import say
from cmjlab.cli.opening import HERE, Results, StudyPath, measured
from cmjlab.cli.shown import Metrics, metrics_meant, write_result

Measures = Annotated[
    list[str] | None,
    typer.Option("--measure", help="A column of measures.csv with its unit; repeat for several."),
]
_COLUMNS = ["measure", "metric", "kind", "stratum", "n", "r", "low", "high"]


def register(app: typer.Typer) -> None:
    """Add the command of this file."""
    app.command(short_help="Do coach ratings and court data go with the jumps?")(link)


def link(
    source: StudyPath = HERE,
    measure: Measures = None,
    metric: Metrics = None,
    results: Results = None,
) -> None:
    """Correlations of ratings, match figures and attendance with jump metrics.

    In level over athletes, and in change over the block, each with its interval. The measures
    come from measures.csv; strength is asked about by the command subgroups.
    """
    with say.plain_errors():
        from cmjlab.checks import suggestion
        from cmjlab.errors import StatsError
        from cmjlab.report.build.links import court_measures, study_links

        study = measured(source, results)
        known = [str(c) for c in study.sessions_table().columns]
        for name in measure or ():
            if name not in known:
                there = ", ".join(court_measures(study)) or "none"
                raise StatsError(
                    f"measure: there is no {name!r}; ratings and court measures are {there}."
                    f"{suggestion(name, known)}"
                )
        result = study_links(study, metrics_meant(metric, study) or (), measure or ())
        for sentence in result.sentences:
            say.line(str(sentence))
        for note in result.notes:
            say.line(f"note: {note.text}")
        say.line()
        shown = result.points["links"].rename(columns={"estimate": "r"})
        for column in ("r", "low", "high"):
            shown[column] = [f"{v:.2f}" if v == v else "–" for v in shown[column]]
        say.table(shown, _COLUMNS)
        say.line()
        say.line(f"table: {write_result(result, study, 'links')}")
        say.line(say.CAUTION)
