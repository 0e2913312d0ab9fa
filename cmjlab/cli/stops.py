"""What commands say when something in a study cannot be right: each thing, what to do, exit code 1."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

import typer

from cmjlab.cli import say

if TYPE_CHECKING:
    from cmjlab.study.study import Study


def stop_message(stops: Sequence[str]) -> None:
    """Print what cannot be right and leave with exit code 1; nothing when all is well.

    Parameters
    ----------
    stops : sequence of str
        As page one of the report says them.
    """
    if not stops:
        return
    from cmjlab.words.catalog import read_words

    words = read_words()
    say.line(words.count("stopped.message", len(stops)), err=True)
    for text in stops:
        say.line(f"fail  {text}", err=True)
    say.line(words.say("stopped.message_effect"), err=True)
    raise typer.Exit(1)


def warn_of_stops(study: Study) -> None:
    """Print what cannot be right in a study before a command prints its results."""
    from cmjlab.report.build.stops import find_stops
    from cmjlab.words.catalog import read_words

    words = read_words(study.folder / "words.toml")
    for text in find_stops(study).sentences(words):
        say.line(f"fail  {text}")
