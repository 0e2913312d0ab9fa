"""The command pool: which metrics of two methods or two plates may stand in one table."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from cmjlab.cli import say
from cmjlab.cli.method_set import method_with
from cmjlab.cli.opening import HERE, Results, StudyPath, measured
from cmjlab.cli.shown import Metrics, metrics_meant, show_result, write_result

if TYPE_CHECKING:
    from cmjlab.study.study import Study

#: What is printed; everything else is in the table on disk.
SHOWN = ("pool_bias", "pool_slope", "conversion_error", "pool_error_plain", "pool_error_converted")


def register(app: typer.Typer) -> None:
    """Add the command of this file."""
    app.command(short_help="Which metrics of two methods or plates may be pooled, and how.")(pool)


def pool(
    study: StudyPath = HERE,
    setting: Annotated[
        list[str] | None,
        typer.Option(
            "--set",
            help="A Method setting of the second, e.g. --set onset_rule=percent; --set preset=NAME.",
        ),
    ] = None,
    method: Annotated[
        Path | None,
        typer.Option(
            help="A TOML file with the section [method] of the other lab, e.g. its study.toml."
        ),
    ] = None,
    other: Annotated[
        Path | None,
        typer.Option(
            help="The same jumps on other plates: a study folder, or a table with a row per jump."
        ),
    ] = None,
    metric: Metrics = None,
    allowed: Annotated[
        float, typer.Option(help="Percent of the typical error's variance that pooling may add.")
    ] = 10.0,
    results: Results = None,
) -> None:
    """Tell which metrics can be pooled as they are, which after conversion, and which cannot.

    The second is the other method (--set, --method), by which the study's own files are measured too,
    or the same jumps on other plates (--other). The study's own numbers are the first. The table
    is kept as pool.csv.
    """
    with say.plain_errors():
        from cmjlab.scrutiny.pool.metrics import pool_metrics
        from cmjlab.scrutiny.pool.rule import PoolRule

        rule = PoolRule(allowed_percent=allowed)
        opened = measured(study, results)
        second = _second(opened, setting or [], method, other)
        names = metrics_meant(metric, opened)
        result = pool_metrics(opened, metrics=names, rule=rule, **second)
        show_result(result, SHOWN, names)
        say.line(f"table: {write_result(result, opened, 'pool')}")
        say.line(say.CAUTION)


def _second(
    study: Study, settings: list[str], method: Path | None, other: Path | None
) -> dict[str, Any]:
    """Return the second of the two: a method, or a study or table."""
    from cmjlab.errors import ArgumentError
    from cmjlab.files.table import read_table
    from cmjlab.study.folder.one_recording import method_in

    if (other is not None) == bool(settings or method):
        raise ArgumentError(
            "name the second: another method (--set NAME=VALUE, or --method FILE), or the same jumps on"
            " other plates (--other FOLDER_OR_TABLE), not both."
        )
    if other is not None:
        return {"second": measured(other) if other.is_dir() else read_table(other)}
    return {"method": method_with(method_in(method) if method else study.method, settings)}
