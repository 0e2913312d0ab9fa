"""The command survive: does the answer to each target survive another way to analyse it."""

from __future__ import annotations

from typing import Annotated

import typer

from cmjlab.cli import say
from cmjlab.cli.opening import HERE, Results, StudyPath, measured
from cmjlab.cli.pace import progress


def register(app: typer.Typer) -> None:
    """Add the command of this file."""
    app.command(short_help="Does each answer survive every other way to analyse it?")(survive)


def survive(
    study: StudyPath = HERE,
    choose: Annotated[
        list[str] | None,
        typer.Option(
            "--choice",
            help="Levels to try of one choice, e.g. onset=fit,sd_5 or filter=none; repeat for more.",
        ),
    ] = None,
    deals: Annotated[int, typer.Option(help="Deals of the joint test; 0: no test.")] = 999,
    seed: Annotated[int, typer.Option(help="Start of the random deals.")] = 0,
    workers: Annotated[str, typer.Option(help="Processes: a number, or auto.")] = "auto",
    results: Results = None,
) -> None:
    """Answer each target in every way that a reviewer would defend, from the raw recordings.

    The report shows what was found until something in the study changes. Takes minutes: every
    recording is measured by some two hundred ways.
    """
    with say.plain_errors():
        from cmjlab.files.table import write_table
        from cmjlab.plots.style import save_all
        from cmjlab.safe_names import file_in, safe_name
        from cmjlab.scrutiny.methods.sensitivity import method_sensitivity

        opened = measured(study, results)
        count = int(workers) if workers.isdigit() else workers
        with progress("all ways") as step:
            result = method_sensitivity(
                opened, _choices(choose), deals=deals, seed=seed, keep=True, workers=count,
                progress=step,
            )  # fmt: skip
        for sentence in result.sentences:
            say.line(str(sentence))
        for note in result.notes:
            say.line(f"note: {note.text}")
        say.line()
        opened.results.mkdir(parents=True, exist_ok=True)
        for name, table in (
            ("survive", result.table),
            ("survive_analyses", result.points["specifications"]),
        ):
            path = file_in(opened.results, f"{name}.csv")
            write_table(table, path)
            say.line(f"table: {path}")
        figures = {
            safe_name(f"{t['subgroup']}_{t['metric']}"): result.plot(
                metric=t["metric"], group=t["subgroup"]
            )
            for t in result.points["targets"].to_dict("records")
        }
        for path in save_all(figures, opened.results / "survive", formats=("png",)):
            if path.suffix == ".png":
                say.line(f"figure: {path}")
        say.line(say.CAUTION)


def _choices(typed: list[str] | None) -> dict[str, list[str]] | None:
    """Return choices as a person typed them; what does not fit is refused with an example."""
    from cmjlab.errors import ArgumentError

    out: dict[str, list[str]] = {}
    for text in typed or ():
        name, sign, levels = text.partition("=")
        if not sign or not levels.strip():
            raise ArgumentError(f"--choice: found {text!r}; write it as onset=fit,sd_5.")
        out[name.strip()] = [level.strip() for level in levels.split(",") if level.strip()]
    return out or None
