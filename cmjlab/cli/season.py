"""The command follow: athletes from week to week against their own stable weeks."""

from __future__ import annotations

from typing import Annotated

import typer

from cmjlab.catalog import METRICS
from cmjlab.cli import say
from cmjlab.cli.names import find_metric
from cmjlab.cli.opening import HERE, Results, StudyPath, measured


def register(app: typer.Typer) -> None:
    """Add the command of this file."""
    app.command(short_help="Athletes week by week against their own stable weeks.")(follow)


def follow(
    study: StudyPath = HERE,
    metric: Annotated[
        list[str] | None, typer.Option(help="A measure to follow; repeat for more.")
    ] = None,
    looks: Annotated[
        int, typer.Option(help="Weeks that the season will have, those to come included.")
    ] = 12,
    returning: Annotated[
        list[str] | None,
        typer.Option(help="An athlete who returns; default: who does by participation.csv."),
    ] = None,
    people: Annotated[
        bool, typer.Option("--names", help="Show the names of names.csv on the page.")
    ] = False,
    results: Results = None,
) -> None:
    """Follow weeks of monitoring: an alarm for a week, a conclusion for the season.

    Own levels and the noise come from sessions of role baseline, and from those that
    sessions.csv declares stable; never from weeks of training.
    """
    with say.plain_errors():
        from cmjlab.files.table import write_table
        from cmjlab.report.blocks.season_table import week_table
        from cmjlab.report.build.choices import read_names
        from cmjlab.report.sheets.season import write_season_page
        from cmjlab.safe_names import file_in
        from cmjlab.stats.season.charts import FollowSettings

        opened = measured(study, results)
        table = opened.sessions_table()
        known = [*METRICS, *(str(c) for c in table if c not in METRICS)]
        usual = opened.plan.report_metrics
        wanted = [find_metric(m, known, usual) for m in metric] if metric else None
        found = opened.follow(wanted, settings=FollowSettings(looks=looks))
        for name in found.settings["metrics"][:1]:
            say.table(week_table(found, str(name)))
            say.line()
        for sentence in found.sentences:
            say.line(f"- {sentence}")
        for note in found.notes:
            say.line(f"note: {note}")
        opened.results.mkdir(parents=True, exist_ok=True)
        path = file_in(opened.results, "follow.csv")
        write_table(found.points["weeks"], path)
        say.line(f"table: {path}")
        names = read_names(opened) if people else None
        if names == {}:
            say.line("note: no names.csv, or no rows in it: ids only.")
        page = write_season_page(opened, found, athletes_back=returning, names=names)
        say.line(f"page: {page}")
        say.line()
        say.line(say.CAUTION)
