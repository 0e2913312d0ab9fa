"""The command audit: whether the results of a study follow from its raw files."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from cmjlab.cli import say
from cmjlab.cli.opening import Results, open_study


def register(app: typer.Typer) -> None:
    """Add the command of this file."""
    app.command(short_help="Do the results follow from the raw files? Exit code 1 if not.")(audit)


def audit(
    study: Annotated[Path, typer.Argument(help="The study folder.", show_default=False)],
    share: Annotated[float, typer.Option(help="Part of the jumps that is measured again.")] = 0.1,
    seed: Annotated[
        int | None, typer.Option(help="Of the draw of these jumps; default: a new one.")
    ] = None,
    report: Annotated[
        Path | None, typer.Option(help="Page of the report; default: the newest of the results.")
    ] = None,
    results: Results = None,
) -> None:
    """Read, measure and compute again, compare with what was written, and say what does not follow.

    The page is printed and kept as audit.txt beside the results.
    """
    with say.plain_errors():
        from cmjlab.audit.audit import audit_study
        from cmjlab.files.atomic_write import atomic_write

        opened = open_study(study, results)
        found = audit_study(opened, share=share, seed=seed, report=report)
        page = found.page()
        say.line(page.rstrip("\n"))
        atomic_write(Path(opened.results) / "audit.txt", page)
        if not found.follows:
            raise typer.Exit(1)
