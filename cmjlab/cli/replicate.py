"""The command replicate: a published table beside a study."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from cmjlab.cli import say
from cmjlab.cli.opening import Results, measured
from cmjlab.cli.shown import write_result

if TYPE_CHECKING:
    from cmjlab.results import Result


def register(app: typer.Typer) -> None:
    """Add the command of this file."""
    app.command(short_help="Are the numbers of a published table found here, too?")(replicate)


def replicate(
    study: Annotated[
        Path | None, typer.Argument(help="The study folder.", show_default=False)
    ] = None,
    paper: Annotated[
        Path | None,
        typer.Argument(help="The table of the paper, .csv or .xlsx.", show_default=False),
    ] = None,
    template: Annotated[
        Path | None, typer.Option(help="Write the empty table to this file, and nothing else.")
    ] = None,
    margin: Annotated[
        list[str] | None,
        typer.Option(help="Difference that does not matter, as jump_height_m=0.015; repeat."),
    ] = None,
    ratio: Annotated[float, typer.Option(help="Factor of spreads that counts as the same.")] = 1.25,
    icc: Annotated[float, typer.Option(help="Difference of ICCs that does not matter.")] = 0.1,
    results: Results = None,
) -> None:
    """Set the numbers of a published table beside this study: replicated, not, or cannot tell.

    Write the empty table with --template FILE, fill in a row for each published number, and run
    the command with study and table. Both numbers have an error; the rule is printed below.
    """
    with say.plain_errors():
        from cmjlab.errors import ArgumentError
        from cmjlab.scrutiny.paper.compare import compare_paper
        from cmjlab.scrutiny.paper.table import paper_template

        if template is not None:
            say.line(f"template: {paper_template(template)}")
            return
        if study is None or paper is None:
            raise ArgumentError(
                "STUDY and PAPER.csv are needed; 'cmjlab replicate --template paper.csv' writes the"
                " empty table."
            )
        opened = measured(study, results)
        result = compare_paper(opened, paper, margin=_margins(margin), ratio=ratio, icc=icc)
        for sentence in result.sentences:
            say.line(str(sentence))
        say.line()
        for note in result.notes:
            say.line(f"note: {note.text}")
        say.line()
        say.line(f"table: {write_result(result, opened, 'replication')}")
        say.line(f"figure: {_figure(result, opened.results)}")
        say.line(say.CAUTION)


def _margins(typed: list[str] | None) -> dict[str, float] | None:
    """Return the margins that were typed as metric=number."""
    from cmjlab.errors import ArgumentError

    out = {}
    for text in typed or ():
        name, _, number = text.partition("=")
        try:
            out[name.strip()] = float(number)
        except ValueError:
            raise ArgumentError(
                f"--margin: found {text!r}; write it as jump_height_m=0.015, in the unit of the table."
            ) from None
    return out or None


def _figure(result: Result, folder: Path) -> Path:
    from cmjlab.plots.style import save_figure
    from cmjlab.safe_names import file_in

    path = file_in(folder, "replication.svg")
    save_figure(result.plot(), path)
    return path
