"""The command glossary: every metric, statistic and quality rule on one page."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from cmjlab.cli import say


def register(app: typer.Typer) -> None:
    """Add the commands of this file."""
    app.command()(glossary)


def glossary(
    out: Annotated[Path, typer.Argument(help="File to write, .html or .md.")] = Path(
        "glossary.html"
    ),
) -> None:
    """Every metric, statistic and rule, explained on one page."""
    with say.plain_errors():
        from cmjlab.report.render.glossary import write_glossary

        say.line(f"glossary: {write_glossary(out)}")
