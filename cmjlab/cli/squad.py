"""The command squad: the squad at one glance, as a page."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from cmjlab.cli import say
from cmjlab.cli.opening import HERE, Results, StudyPath, measured


def register(app: typer.Typer) -> None:
    """Add the command of this file."""
    app.command(short_help="The squad at one glance: one page, a row per athlete.")(squad)


def squad(
    study: StudyPath = HERE,
    out: Annotated[
        Path | None, typer.Option(help="File to write; default: results/squad.html.")
    ] = None,
    people: Annotated[
        bool, typer.Option("--names", help="Names of names.csv beside the ids.")
    ] = False,
    decimal: Annotated[str, typer.Option(help="Decimal sign of the reader: . or ,")] = ".",
    results: Results = None,
) -> None:
    """Show a squad in the session that decides: who stands where, how certain, how changed.

    The page holds two scatter plots with the cuts of the rules and the noise of a test, and a
    row per athlete with subgroup, certainty, percentiles and the change against the own noise.
    Values of other athletes come from reference.csv of the study, where you filled it in.
    """
    with say.plain_errors():
        from cmjlab.report.build.choices import Choices
        from cmjlab.report.squad_page import write_squad_page

        opened = measured(study, results)
        page = write_squad_page(opened, out, choices=Choices(names=people, decimal=decimal))
        say.line(f"squad: {page}")
        say.line(f"table: {page.with_suffix('.csv')}")
        say.line()
        say.line(say.CAUTION)
