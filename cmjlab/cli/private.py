"""Names of athletes: private, read only when a command is asked for them."""

from __future__ import annotations

from typing import TYPE_CHECKING, Annotated

import typer

from cmjlab.cli import say

if TYPE_CHECKING:
    from cmjlab.study.study import Study

Names = Annotated[bool, typer.Option("--names", help="Show the names of names.csv, not only ids.")]


def names_of(study: Study) -> dict[str, str]:
    """Return the private names; they are read only when asked for."""
    from cmjlab.report.build.choices import read_names

    found = read_names(study)
    if not found:
        say.line("note: no names.csv, or no rows in it: ids only.")
    return found
