"""The command share: a copy of a study that can be given away."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from cmjlab.cli import say
from cmjlab.cli.opening import Results, measured
from cmjlab.cli.pace import progress

#: Rows of the table of rare combinations that are printed; the others are counted.
_SHOWN = 12


def register(app: typer.Typer) -> None:
    """Add the command of this file."""
    app.command(short_help="A copy to be given away: other ids and dates, no free text.")(share)


def share(
    study: Annotated[Path, typer.Argument(help="The study folder.", show_default=False)],
    out: Annotated[
        Path, typer.Argument(help="Folder of the copy; new or empty.", show_default=False)
    ],
    licence: Annotated[
        str,
        typer.Option(help="Terms of the copy: an SPDX id, e.g. CC-BY-NC-4.0, or LicenseRef-NAME."),
    ] = "",
    key: Annotated[
        Path | None,
        typer.Option(help="File that says who is who; default: OUT.key.csv beside the copy."),
    ] = None,
    keep: Annotated[
        list[str] | None,
        typer.Option(
            help="A column that goes along as it is: column or table.column; 'title'; repeat for more."
        ),
    ] = None,
    age_bands: Annotated[
        bool, typer.Option("--age-bands", help="Bands of ages in place of years of birth.")
    ] = False,
    results: Results = None,
) -> None:
    """Write a copy of a study for others: the analysis runs from it and gives the same numbers.

    Athletes get random ids, dates move (intervals and weekdays stay), force files are written anew
    from their numbers, free text and columns of your own stay at home unless --keep names them.
    """
    with say.plain_errors():
        from cmjlab.share.licences import read_licence
        from cmjlab.share.share import share_study

        read_licence(licence)  # asked before anything takes time
        opened = measured(study, results)
        with progress("writing") as step:
            made = share_study(
                opened, out, licence=licence, key=key, keep=keep or (), age_bands=age_bands,
                progress=step,
            )  # fmt: skip
        say.line(f"copy: {made.folder}")
        say.line(f"key:  {made.key}")
        say.line()
        if len(made.left_out):
            say.line("Left out (--keep COLUMN takes a column along):")
            say.table(made.left_out)
            say.line()
        if len(made.small_cells):
            say.line("Who could be recognised:")
            say.table(made.small_cells.head(_SHOWN))
            if len(made.small_cells) > _SHOWN:
                say.line(f"… and {len(made.small_cells) - _SHOWN} more")
            say.line()
        for sentence in made.sentences:
            say.line(f"- {sentence}")
        say.line()
        say.line(say.CAUTION)
