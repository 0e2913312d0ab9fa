"""The command curves: where in the movement force, power or velocity changed."""

from __future__ import annotations

from typing import Annotated

import typer

from cmjlab.cli import say
from cmjlab.cli.opening import HERE, Results, StudyPath, measured
from cmjlab.cli.shown import show_result, write_result

_SHOWN = ("curve_largest_t", "curve_stretch", "curve_typical_error")


def register(app: typer.Typer) -> None:
    """Add the command of this file."""
    app.command(short_help="Where in the movement force, power or velocity changed.")(curves)


def curves(
    source: StudyPath = HERE,
    quantity: Annotated[
        str,
        typer.Option(
            help="force_per_kg, force, velocity, displacement, acceleration, power or power_per_kg."
        ),
    ] = "force_per_kg",
    before: Annotated[
        str | None, typer.Option(help="Session before the block; default: the plan's.")
    ] = None,
    after: Annotated[
        str | None, typer.Option(help="Session after it; default: the plan's.")
    ] = None,
    figure: Annotated[
        bool, typer.Option("--figure", help="Draw the first comparison too (PDF and 300 dpi PNG).")
    ] = False,
    results: Results = None,
) -> None:
    """Whole curves before and after a block, by group, with bands that hold for the whole curve.

    Each phase of each jump is stretched to one width by itself, so that 60 to 80 % of braking is
    the same place for everybody. Each athlete is read against the noise of the baselines.
    """
    with say.plain_errors():
        study = measured(source, results)
        result = study.compare_curves(quantity, before=before, after=after)
        show_result(result, _SHOWN, None)
        say.line(f"table: {write_result(result, study, f'curves_{quantity}')}")
        if figure:
            from cmjlab.plots.curves import curves_figure
            from cmjlab.plots.style import save_all

            written = save_all({f"curves_{quantity}": curves_figure(result)}, study.results)
            say.line(f"figure: {', '.join(p.name for p in written)} in {say.named(study.results)}")
        say.line(say.CAUTION)
