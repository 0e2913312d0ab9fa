"""The command gather: files of any name placed into a study, with one summary."""

from __future__ import annotations

import re
from collections import Counter
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from cmjlab.cli import say
from cmjlab.cli.opening import StudyPath

if TYPE_CHECKING:
    import pandas as pd

    from cmjlab.study.folder.gather import Draft, Stated
    from cmjlab.words.catalog import Words

#: Days of a session that are written out.
_DAYS = 3


def register(app: typer.Typer) -> None:
    """Add the command of this file."""
    app.command(short_help="Place recordings with any file names into a study.")(gather)


def gather(
    heap: Annotated[Path, typer.Argument(help="Folder with files of any name.")],
    study: StudyPath,
    dry_run: Annotated[bool, typer.Option("--dry-run", help="Only show the draft.")] = False,
    session: Annotated[
        list[str] | None,
        typer.Option(help="A word of the names, or a day, is this session: PRE=base1; repeat."),
    ] = None,
    athlete: Annotated[
        list[str] | None,
        typer.Option(help="A word of the names is this athlete: 'Example Mira=A07'; repeat."),
    ] = None,
    dates: Annotated[
        str, typer.Option(help="Order in dates: dmy, mdy or ymd; 26 then means 2026.")
    ] = "",
    every: Annotated[bool, typer.Option("--all", help="Write out every file.")] = False,
) -> None:
    """Draft recordings.csv, and an empty roster, for files of any name; originals stay as they are."""
    with say.plain_errors():
        from cmjlab.study.folder.gather import gather as draft
        from cmjlab.words.catalog import read_words

        stated = _stated(session or [], athlete or [], dates)
        found = draft(heap, study, dry_run=dry_run, stated=stated)
        words = read_words(study / "words.toml")
        _summary(found, words, every)
        _left_over(found, words, study, every)
        _ending(found, words, (heap, study), dry_run)


def _stated(sessions: list[str], athletes: list[str], dates: str) -> Stated:
    """Return the answers of the command line, or say how one is written."""
    from cmjlab.errors import ArgumentError
    from cmjlab.study.folder.gather import Stated
    from cmjlab.study.folder.heap_dates import ORDERS

    if dates and dates not in ORDERS:
        listed = ", ".join(f"{k} ({v})" for k, v in ORDERS.items())
        raise ArgumentError(f"--dates: found {dates!r}, allowed are {listed}.")
    pairs: dict[str, dict[str, str]] = {"session": {}, "athlete": {}}
    for name, texts in (("session", sessions), ("athlete", athletes)):
        for text in texts:
            word, sign, value = (p.strip() for p in text.rpartition("="))
            if not (word and sign and value):
                raise ArgumentError(f"--{name}: found {text!r}; write WORD={name.upper()}.")
            pairs[name][word] = value
    return Stated(pairs["session"], pairs["athlete"], dates)


def _summary(found: Draft, words: Words, every: bool) -> None:
    """Print what was placed: every file when asked, else one row a session."""
    table = found.table
    if len(table):
        say.table(table.drop(columns=["start", "stop"]) if every else _by_session(table, words))
        how = Counter(part for text in table["how"] for part in str(text).split(", "))
        parts = [words.say("gather.rests_one", how=h, n=n) for h, n in how.items()]
        say.line(words.say("gather.rests_on", what="; ".join(parts)))
        days = table[table["date"] != ""].groupby("session", sort=False)["date"].nunique()
        several = [f"{s} ({n})" for s, n in days.items() if n > 1]
        if several:
            say.line(words.say("gather.several_days", sessions=several))
    if found.understood:
        say.line(words.say("gather.understood", n=found.understood))
    if found.people.ids:
        say.line(words.say("gather.roster", n=len(found.people.ids), ids=found.people.ids))
        if found.people.names:
            say.line(words.say("gather.roster_names", n=len(found.people.names)))


def _by_session(table: pd.DataFrame, words: Words) -> pd.DataFrame:
    import pandas as pd

    rows = []
    for session, part in table.groupby("session", sort=False):
        days = sorted(d for d in part["date"].unique() if d)
        text = ", ".join(days[:_DAYS]) + (" …" if len(days) > _DAYS else "")
        rows.append((session, len(part), part["athlete"].nunique(), text))
    names = [words.say(f"gather.{n}") for n in ("session", "files", "athletes", "days")]
    return pd.DataFrame(rows, columns=names)


def _left_over(found: Draft, words: Words, study: Path, every: bool) -> None:
    """Print files without a place, one for each reason, and what is asked."""
    by_reason: dict[str, list[str]] = {}
    for text in found.unplaced:
        reason = re.sub(r"\d{4}-\d{2}-\d{2}", "…", text.rpartition(": ")[2])
        by_reason.setdefault(reason, []).append(text)
    for texts in by_reason.values():
        for text in texts if every else texts[:1]:
            say.line(words.say("gather.not_placed", what=text))
        if len(texts) > 1 and not every:
            say.line(words.say("gather.not_placed_more", n=len(texts) - 1))
    for question in found.questions:
        text = words.say(f"gather.{question.code}", **question.values)
        say.line(words.say("gather.asked", question=text))
    if found.unplaced:
        table = say.named(study / "recordings.csv")
        say.line(words.say("gather.left_over", table=table))


def _ending(found: Draft, words: Words, places: tuple[Path, Path], dry_run: bool) -> None:
    heap, study = places
    rows, table = len(found.table), say.named(study / "recordings.csv")
    if found.blocked:
        say.line(words.say("gather.waits"))
    elif not rows:
        if not found.unplaced and not found.understood:
            say.line(words.say("gather.no_files", folder=say.named(heap)))
        say.line(words.say("gather.nothing"))
    elif dry_run:
        say.line(words.say("gather.dry", n=rows, table=table))
    else:
        say.line(words.say("gather.written", n=rows, table=table))
        if found.people.ids:
            say.line(words.say("gather.roster_written"))
        say.line(f"cmjlab check {say.named(study)}")
