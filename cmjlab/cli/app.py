"""The command ``cmjlab``: registers the commands of the other files of this room."""

from __future__ import annotations

import sys
from typing import Annotated

import typer

from cmjlab.cli import (
    analysis,
    audit,
    change,
    curves,
    day,
    files,
    folder,
    gather,
    glossary,
    link,
    planning,
    pool,
    replicate,
    review,
    season,
    share,
    squad,
    subgroups,
    survive,
    truth,
)

app = typer.Typer(
    name="cmjlab",
    help="Countermovement jumps on force plates: from raw force to a block report.",
    no_args_is_help=True,
    epilog="Begin with 'cmjlab demo FOLDER' to try it, or 'cmjlab new FOLDER' for a study of your own. 'cmjlab COMMAND --help' explains a command.",
    add_completion=False,
    pretty_exceptions_enable=False,
    rich_markup_mode=None,
)
for _room in (
    folder,
    gather,
    day,
    files,
    review,
    planning,
    subgroups,
    squad,
    change,
    curves,
    link,
    replicate,
    season,
    share,
    survive,
    audit,
    truth,
    pool,
    analysis,
    glossary,
):
    _room.register(app)


def _version(wanted: bool) -> None:
    if wanted:
        from cmjlab import __version__
        from cmjlab.keys import ENGINE

        typer.echo(f"cmjlab {__version__} (engine {ENGINE})")
        raise typer.Exit


@app.callback()
def _common(
    version: Annotated[
        bool, typer.Option("--version", callback=_version, is_eager=True, help="Print the version.")
    ] = False,
) -> None:
    """Countermovement jumps on force plates: from raw force to a block report."""


def run() -> None:
    """Run the command line; text that a terminal cannot show is escaped, never an error."""
    for stream in (sys.stdout, sys.stderr):
        if hasattr(stream, "reconfigure"):
            stream.reconfigure(errors="backslashreplace")
    app()
