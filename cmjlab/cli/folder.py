"""Commands on a study folder: new, demo, check."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from cmjlab.cli import say
from cmjlab.cli.opening import HERE, StudyPath, open_study
from cmjlab.cli.pace import progress
from cmjlab.cli.planning import expected_precision


def register(app: typer.Typer) -> None:
    """Add the commands of this file."""
    app.command(short_help="Make a study folder, with an example line in every table.")(new)
    app.command(short_help="Write the invented demo study, to try everything on.")(demo)
    app.command(short_help="List all problems of a study at once, with what to do.")(check)


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
        from cmjlab.study.folder.create import create_study, sessions_from_text, template_toml

        chosen = sessions_from_text(sessions) if sessions else ()
        settings = template_toml(title or folder.resolve().name, chosen)
        create_study(folder, settings=settings)
        _next_steps(folder, [s["session"] for s in chosen] or ["base1", "base2", "post"])
        baselines = max(1, sum(s["role"] == "baseline" for s in chosen))
        size = max(2, athletes // groups)
        say.line()
        say.line(expected_precision((size, size) if groups > 1 else (size,), baselines))


def _next_steps(folder: Path, sessions: list[str]) -> None:
    """Print what to do with a new study folder, in order."""
    place = say.named(folder)
    say.line(f"made {place}. Next:")
    steps = (
        f"open study.toml: sessions ({', '.join(sessions)}) with dates, groups, the change that matters",
        "open athletes.csv: one row per athlete with id and group (lines that begin with # are examples)",
        f"copy recordings into {say.named(folder / 'recordings')}, named like"
        f" sub-A07_ses-{sessions[0]}_run-1.csv;",
        f"   files of any other name: cmjlab gather FOLDER_WITH_FILES {place}",
        f"cmjlab check {place}        all problems at once, with what to do",
        f"cmjlab reliability {place}  after the baselines: which measure to believe",
        f"cmjlab report {place}       after the block: the report",
    )
    number = 0
    for text in steps:
        number += not text.startswith(" ")
        say.line(f"  {text}" if text.startswith(" ") else f"  {number}. {text}")


def demo(
    folder: Annotated[Path, typer.Argument(help="Folder to make.", show_default=False)],
    seed: Annotated[int, typer.Option(help="Seed of the invented data.")] = 2026,
    mini: Annotated[bool, typer.Option(help="Six athletes and two sessions only.")] = False,
) -> None:
    """Write the invented demo study: raw recordings, tables and the truth behind them."""
    with say.plain_errors():
        from cmjlab.study.demo.demo import write_demo

        with progress("writing") as step:
            write_demo(folder, seed=seed, mini=mini, progress=step)
        say.line(f"wrote the invented demo study to {folder}")


def check(
    study: StudyPath = HERE,
    every: Annotated[bool, typer.Option("--all", help="Write out every problem.")] = False,
) -> None:
    """List all problems of a study folder at once; exit code 1 if any is a fail."""
    with say.plain_errors():
        from cmjlab.study.check_study import check_study

        problems = check_study(study)
        counts = problems["severity"].value_counts()
        if problems.empty:
            say.line("no problems found")
        else:
            say.problems(problems, every)
            counted = (f"{name}: {counts.get(name, 0)}" for name in ("fail", "warn", "note"))
            say.line("  ".join(counted))
        if counts.get("fail", 0):
            say.line(
                "Solve what is marked fail first: no result stands before. Look at each warning."
            )
            raise typer.Exit(1)
        _still_missing(study)


def _still_missing(folder: Path) -> None:
    """Print what is not wrong, but will be missed later."""
    from cmjlab.study.check.still_missing import still_missing
    from cmjlab.study.study import Study

    missing = still_missing(Study.open(folder))
    if len(missing):
        say.line("Nothing wrong, but missed later:")
        say.problems(missing)


def measure_study(
    folder: str | Path, results: Path | None = None, cluster: str | None = None
) -> None:
    """Measure every recording of a study and write the jumps table."""
    from cmjlab.study.export import write_results

    study = open_study(folder, results)
    with progress("measuring") as step:
        write_results(study, progress=step, cluster=cluster)
    table = study.measure()
    accepted = int(table["accepted"].fillna(False).sum())
    say.line(f"{len(table)} jumps of {table['athlete'].nunique()} athletes, {accepted} accepted")
    failed = table[table["error"].notna() & (table["error"] != "")]
    reasons: dict[str, list[str]] = {}
    for file, error in failed[["file", "error"]].drop_duplicates().itertuples(index=False):
        reasons.setdefault(error.removeprefix(f"{file}: "), []).append(file)
    for error, files in reasons.items():
        more = f" and {len(files) - 3} more" if len(files) > 3 else ""
        say.line(f"not read: {', '.join(files[:3])}{more}: {error}")
    say.line(f"written to {say.named(study.results)}")
    if (len(failed) or accepted < len(table)) and isinstance(folder, Path):
        say.line(f"'cmjlab check {say.named(folder)}' tells what to do about each problem.")
