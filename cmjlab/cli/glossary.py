"""The command glossary: every metric, statistic and quality rule on one page, or found by words."""

from __future__ import annotations

import re
import shutil
import textwrap
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from cmjlab.cli import say

if TYPE_CHECKING:
    import pandas as pd

#: Entries that are printed, and the widest line: longer ones are hard to read.
_PRINTED, _WIDEST = 10, 110


def register(app: typer.Typer) -> None:
    """Add the commands of this file."""
    app.command()(glossary)


def glossary(
    words: Annotated[
        list[str] | None,
        typer.Argument(help="Words to look up, or a file to write, .html or .md."),
    ] = None,
) -> None:
    """Explain metrics, statistics and rules; find them by words.

    `cmjlab glossary` writes the page glossary.html; `cmjlab glossary "eccentric duration"` prints
    what these words find.
    """
    with say.plain_errors():
        asked = " ".join(words or ["glossary.html"])
        if _is_file(asked):
            from cmjlab.report.render.glossary import write_glossary

            say.line(f"glossary: {write_glossary(Path(asked))}")
        else:
            _look_up(asked)


def _is_file(text: str) -> bool:
    """Return whether a file is named: it has an ending, as words never do."""
    return re.fullmatch(r"\.[A-Za-z]+", Path(text).suffix) is not None


def _look_up(asked: str) -> None:
    from cmjlab.catalog.search import glossary as look_up

    found = look_up(asked) if asked.strip() else None
    if found is None or found.empty:
        say.line(
            f"nothing found for {asked!r}. Try fewer words, or the quantity alone (duration, force,"
            " velocity, impulse); without words the command writes all entries on a page."
        )
        return
    _print(found.head(_PRINTED))
    if len(found) > _PRINTED:
        say.line(f"and {len(found) - _PRINTED} more that fit less well; more words narrow it down")


def _print(found: pd.DataFrame) -> None:
    """Print entries: kind and name in aligned columns, the words for it and its meaning beside."""
    kinds, keys = (found[c].str.len().max() for c in ("kind", "key"))
    indent = " " * (kinds + keys + 4)
    width = min(shutil.get_terminal_size().columns, _WIDEST)
    beside = width - len(indent) >= 30
    for row in found.itertuples(index=False):
        unit = f" ({row.unit})" if row.unit not in ("", "metric") else ""
        head = f"{row.kind.ljust(kinds)}  {row.key.ljust(keys)}"
        start = indent if beside else "    "
        lines = [
            part
            for text in (f"{row.label}{unit}", row.meaning)
            for part in textwrap.wrap(text, width, initial_indent=start, subsequent_indent=start)
        ]
        if beside:
            lines[0] = f"{head}  {lines[0].strip()}"
        else:
            lines.insert(0, head.rstrip())
        for text in lines:
            say.line(text)
