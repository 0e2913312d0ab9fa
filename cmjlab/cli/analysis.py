"""Commands that analyse: reliability, report, notebooks."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from cmjlab.cli import say
from cmjlab.cli.opening import HERE, Results, StudyPath, measured, open_study
from cmjlab.cli.pace import progress
from cmjlab.cli.shown import Metrics, metrics_meant, show_result, write_result
from cmjlab.cli.stops import stop_message

if TYPE_CHECKING:
    from cmjlab.study.study import Study

Source = Annotated[
    Path, typer.Argument(help="A study folder, or a table of values.", show_default=False)
]

#: What is printed; everything else is in the tables on disk.
RELIABILITY = (
    "typical_error",
    "typical_error_percent",
    "icc_a1",
    "icc_c1",
    "session_change",
    "smallest_detectable_change",
)


def register(app: typer.Typer) -> None:
    """Add the commands of this file."""
    app.command(short_help="Which measure to believe: typical error, ICC, CV.")(reliability)
    app.command(short_help="The block report: one HTML file, its tables in a folder beside it.")(
        report
    )
    app.command(short_help="Run the notebooks on a study, or copy them to work on.")(notebooks)


def reliability(source: Source, metric: Metrics = None, results: Results = None) -> None:
    """Test-retest reliability of a study's baselines, or of a table of values.

    A table (.csv or .xlsx) has one row per athlete and session: the columns athlete, session and
    one column per measure. A session in a column of its own must become rows first.
    """
    with say.plain_errors():
        import cmjlab as cj

        if source.is_dir():
            study = measured(source, results)
            chosen = metrics_meant(metric, study)
            result = cj.reliability(
                study.sessions_table(),
                chosen or list(study.plan.report_metrics),
                change_that_matters=study.plan.change_that_matters,
                level=study.plan.level,
            )
            say.line(f"table: {write_result(result, study, 'reliability')}")
        else:
            from cmjlab.files.table import read_table

            chosen = metric
            result = cj.reliability(read_table(source), metric)
        show_result(result, RELIABILITY, chosen)
        say.line(say.CAUTION)


def report(
    study: StudyPath = HERE,
    out: Annotated[Path | None, typer.Option(help="Where to write; default: results/.")] = None,
    draft: Annotated[
        bool, typer.Option(help="From what is there, listing what is missing.")
    ] = False,
    form: Annotated[
        bool | None,
        typer.Option(
            "--full/--paper",
            help="Everything, else about a dozen pages; or methods, results and table of a paper.",
            show_default=False,
        ),
    ] = None,
    people: Annotated[
        bool | None,
        typer.Option(
            "--names/--names-everywhere",
            help="Names of names.csv in tables of people; or in sentences and the workbook too.",
            show_default=False,
        ),
    ] = None,
    decimal: Annotated[str, typer.Option(help="Decimal sign of the reader: . or ,")] = ".",
    figures: Annotated[
        bool, typer.Option("--figures", help="Figures for a paper too (PDF and 300 dpi PNG).")
    ] = False,
) -> None:
    """Write the block report: one page for coaches and what stands behind it.

    The tables (CSV and a workbook) lie beside it, in the folder of its name with _files at the end.

    --out may be a folder, or a file ending in .html, .docx or .pdf. --paper writes methods,
    results and a table as text for a paper instead, as paper.html.
    """
    if form is False:
        _paper(study, out, decimal)
        return
    with say.plain_errors():
        from cmjlab.report.build.choices import Choices
        from cmjlab.report.gather import gather
        from cmjlab.report.write import write_data

        opened, choices = (
            _open_for_report(study, out),
            Choices(bool(form), bool(people), decimal, people is False),
        )
        with progress("report") as step:
            data = gather(opened, progress=step, draft=draft, choices=choices)
        path = write_data(data, out or opened.results)
        say.line(f"report: {path}")
        if people is not None and not data.with_names:
            say.line("note: no names.csv, or no rows in it: ids only.")
        if figures:
            from cmjlab.plots.style import save_all

            written = save_all(data.figures, path.parent / "figures")
            say.line(f"figures: {len(written)} files in {path.parent / 'figures'}")
        stop_message(data.stops)


def _paper(folder: Path, out: Path | None, decimal: str) -> None:
    """Write methods, results and table of a paper."""
    with say.plain_errors():
        from cmjlab.report.build.choices import Choices
        from cmjlab.report.paper_page import paper_page, write_paper

        opened = _open_for_report(folder, out)
        with progress("paper") as step:
            data = paper_page(opened, progress=step, choices=Choices(decimal=decimal))
        page = write_paper(data, out or opened.results)
        say.line(f"paper: {page}")
        say.line(f"numbers: {page.with_suffix('.csv')}")
        say.line("note: a draft; the page lists what only you can write.")
        stop_message(data.stops)


def _open_for_report(folder: Path, out: Path | None) -> Study:
    """Open a study; in a folder that cannot be written to, what is kept goes to ``out`` too."""
    from cmjlab.errors import StudyError
    from cmjlab.study.store.cached import can_write

    opened = open_study(folder)
    if can_write(opened.results):
        return opened
    if out is None:
        raise StudyError(
            f"{opened.results}: cannot be written to. Name another place, e.g."
            f" 'cmjlab report {say.named(folder)} --out my_report'."
        )
    place = out.parent if out.suffix else out
    return open_study(folder, place)


def notebooks(
    study: StudyPath = HERE,
    copy: Annotated[
        Path | None,
        typer.Option(help="Write copies to edit into this new folder; nothing is run."),
    ] = None,
    answers: Annotated[
        bool, typer.Option("--answers", help="The teacher's set: solutions below the exercises.")
    ] = False,
    only: Annotated[str, typer.Option(help="Numbers of notebooks, e.g. 02,04,06.")] = "",
    set_: Annotated[
        list[str] | None,
        typer.Option("--set", help="NAME=VALUE of a parameter, e.g. level=0.9; repeat as needed."),
    ] = None,
    results: Results = None,
) -> None:
    """Run the notebooks on a study, in order, and write an index page; or copy them to edit.

    --set changes a parameter in every notebook that has it: metric, before, after, level, groups
    (with commas) and those of single notebooks. An unknown name is answered with the list.

    02 reliability, 04 block change and 06 block report are for work, the others for learning.
    """
    with say.plain_errors():
        from cmjlab.report.notebooks.copy import copy_notebooks
        from cmjlab.report.notebooks.declared import declared_in, read_settings, users_of
        from cmjlab.report.notebooks.files import choose_notebooks
        from cmjlab.report.notebooks.run import run_notebooks

        chosen = [n for n in only.replace(",", " ").split() if n] or None
        have = declared_in(choose_notebooks(chosen))
        settings = read_settings(set_ or [], have)
        for name, numbers in users_of(settings, have).items():
            say.line(f"{name} = {settings[name]!r}: {numbers}")
        if copy is not None:
            opened = _study_of_copies(study)
            written = copy_notebooks(copy, opened, answers=answers, only=chosen, settings=settings)
            say.line(f"{len(written)} notebooks to edit: {say.named(copy)}")
            say.line(f"open them: jupyter lab {say.named(copy)}")
            return
        opened = measured(study, results)
        with progress("notebooks") as step:
            path = run_notebooks(
                opened, only=chosen, answers=answers, settings=settings, progress=step
            )
        say.line(f"notebooks: {say.named(path)} (opens in a browser)")


def _study_of_copies(folder: Path) -> Study | None:
    """Return the study that copies work on; None, the demo study, when none is named."""
    from cmjlab.study.study import Study

    if folder == HERE and not (folder / "study.toml").is_file():
        say.line("no study named: the copies work on the invented demo study")
        return None
    return Study.open(folder)
