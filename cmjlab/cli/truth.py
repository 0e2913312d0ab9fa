"""The command truth: how true a lab's own numbers are."""

from __future__ import annotations

from typing import Annotated

import typer

from cmjlab.cli import say
from cmjlab.cli.opening import HERE, Results, StudyPath, measured
from cmjlab.cli.shown import Metrics, metrics_meant, show_result, write_result

#: What is printed; everything else is in the table on disk.
SHOWN = ("instrument_bias", "instrument_sd", "instrument_share", "biology_sd")


def register(app: typer.Typer) -> None:
    """Add the command of this file."""
    app.command(short_help="How true this lab's own numbers are, and their share of the noise.")(
        truth
    )


def truth(
    study: StudyPath = HERE,
    metric: Metrics = None,
    seed: Annotated[int, typer.Option(help="Of the simulation; the same gives the same.")] = 0,
    results: Results = None,
) -> None:
    """Bias and spread of this lab's numbers against exact truth, and their share of the typical error.

    Rate, plate noise, sway and protocol are read from the study's own recordings; jumps like the
    squad's are simulated under them and measured by the study's method. The table is kept as
    truth.csv, the figure as truth.png.
    """
    with say.plain_errors():
        from cmjlab.plots.choose import plot_result
        from cmjlab.plots.style import save_figure
        from cmjlab.scrutiny.lab.page import lab_truth

        opened = measured(study, results)
        names = metrics_meant(metric, opened)
        result = lab_truth(opened, names, seed=seed)
        show_result(result, SHOWN, names)
        say.line(f"table: {write_result(result, opened, 'truth')}")
        picture = opened.results / "truth.png"
        save_figure(plot_result(result), picture)
        say.line(f"figure: {picture}")
        say.line(say.CAUTION)
