"""Commands on a study folder: new, demo, simulate, gather, check, today."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from cmjlab.cli import say

StudyFolder = Annotated[Path, typer.Argument(help="The study folder.", show_default=False)]


def register(app: typer.Typer) -> None:
    """Add the commands of this file."""
    app.command()(new)
    app.command()(demo)
    app.command()(gather)
    app.command()(check)
    app.command()(today)


def new(
    folder: Annotated[Path, typer.Argument(help="Folder to make.", show_default=False)],
    title: Annotated[str, typer.Option(help="Title of the study.")] = "",
    sessions: Annotated[
        str, typer.Option(help="Sessions in order with roles, e.g. base1:baseline,post:post.")
    ] = "base1:baseline, base2:baseline, post:post",
    athletes: Annotated[int, typer.Option(help="Athletes in the squad.", min=2)] = 20,
    groups: Annotated[int, typer.Option(help="Training groups, control included.", min=1)] = 2,
) -> None:
    """Make a study folder: study.toml and every table with a filled example line."""
    with say.plain_errors():
        from cmjlab.cli.planning import expected_precision
        from cmjlab.study.create import create_study, sessions_from_text, template_toml

        chosen = sessions_from_text(sessions) if sessions else ()
        create_study(folder, settings=template_toml(title or folder.name, chosen))
        say.line(f"made {folder}")
        say.line(f"next: copy recordings into {folder / 'recordings'}, fill in athletes.csv, then")
        say.line(f"      cmjlab check {folder}")
        baselines = max(1, sum(s["role"] == "baseline" for s in chosen))
        size = max(2, athletes // groups)
        say.line(expected_precision((size, size) if groups > 1 else (size,), baselines))


def demo(
    folder: Annotated[Path, typer.Argument(help="Folder to make.", show_default=False)],
    seed: Annotated[int, typer.Option(help="Seed of the invented data.")] = 2026,
    mini: Annotated[bool, typer.Option(help="Six athletes and two sessions only.")] = False,
) -> None:
    """Write the invented demo study: raw recordings, tables and the truth behind them."""
    with say.plain_errors():
        from cmjlab.study.demo import write_demo

        with say.progress("writing") as step:
            write_demo(folder, seed=seed, mini=mini, progress=step)
        say.line(f"wrote the invented demo study to {folder}")


def gather(
    heap: Annotated[Path, typer.Argument(help="Folder with files of any name.")],
    study: StudyFolder,
    dry_run: Annotated[bool, typer.Option("--dry-run", help="Only show the draft.")] = False,
) -> None:
    """Draft recordings.csv for files of any name; originals are never renamed."""
    with say.plain_errors():
        from cmjlab.study.gather import gather as draft

        found = draft(heap, study, dry_run=dry_run)
        say.table(found.table)
        for text in found.unplaced:
            say.line(f"not placed: {text}")
        if found.understood:
            say.line(f"{found.understood} files need no row: their own name says everything")
        say.line("nothing was written" if dry_run else f"wrote {study / 'recordings.csv'}")


def check(study: StudyFolder) -> None:
    """List all problems of a study folder at once; exit code 1 if any is a fail."""
    with say.plain_errors():
        from cmjlab.study.check import check_study

        problems = check_study(study)
    if problems.empty:
        say.line("no problems found")
        return
    say.table(problems, ["severity", "file", "row", "column", "found", "expected", "remedy"])
    counts = problems["severity"].value_counts()
    say.line("  ".join(f"{name}: {counts.get(name, 0)}" for name in ("fail", "warn", "note")))
    if counts.get("fail", 0):
        raise typer.Exit(1)


def today(
    study: StudyFolder,
    session: Annotated[str, typer.Option(help="Session of today.")],
    sheet: Annotated[bool, typer.Option(help="Print the run sheet for before the test.")] = False,
) -> None:
    """Show who has jumped, who must jump again and why, while athletes jump."""
    with say.plain_errors():
        from cmjlab.study.study import Study
        from cmjlab.study.today import today as look

        state = look(Study.open(study), session)
        if sheet:
            say.table(state.run_sheet)
            return
        say.table(state.athletes)
        for text in state.lines():
            say.line(text)
        say.line(say.CAUTION)


def measure_study(folder: Path) -> None:
    """Measure every recording of a study and write the jumps table."""
    from cmjlab.study.export import write_results
    from cmjlab.study.study import Study

    study = Study.open(folder)
    with say.progress("measuring") as step:
        write_results(study, progress=step)
    table = study.measure()
    accepted = int(table["accepted"].fillna(False).sum())
    say.line(f"{len(table)} jumps of {table['athlete'].nunique()} athletes, {accepted} accepted")
    failed = table[table["error"].notna() & (table["error"] != "")]
    for row in failed.itertuples():
        say.line(f"not read: {row.file}: {row.error}")
    say.line(f"written to {study.results}")
